"""Single keys from a terminal, on a pseudo-terminal of the test's own."""

import os
import sys

import pytest

from rig.cli.keys import Keys


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_keys_come_one_by_one_without_return_and_the_terminal_is_put_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import pty
    import termios

    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r", closefd=True) as keyboard:
        monkeypatch.setattr(sys, "stdin", keyboard)
        before = termios.tcgetattr(theirs)
        with Keys() as keys:
            assert keys.pressed() is None
            os.write(ours, b"dN")
            assert [keys.pressed(), keys.pressed(), keys.pressed()] == ["d", "n", None]
        assert termios.tcgetattr(theirs) == before
    os.close(ours)
