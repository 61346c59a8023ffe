"""Ctrl-C as an order: once to vent in order, twice to make the outputs safe, each given once."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from rig.cli.interrupts import Interrupts
from safety.state import PersonEvent

ROOT = Path(__file__).resolve().parents[2]


def test_nothing_is_ordered_while_nobody_presses() -> None:
    with Interrupts() as interrupts:
        assert interrupts.order() is None


def test_the_first_press_stops_in_order_and_the_second_makes_safe_each_once() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.STOP
        assert interrupts.order() is None
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.SAFE_NOW
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is None


def test_two_presses_within_one_scan_make_safe_at_once() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.SAFE_NOW
        assert interrupts.order() is None


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no SIGHUP")
def test_a_closed_terminal_stops_in_order() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGHUP)
        signal.raise_signal(signal.SIGHUP)  # as some do: nobody has pressed twice
        assert interrupts.order() is PersonEvent.STOP
        assert interrupts.order() is None
        signal.raise_signal(signal.SIGINT)
        assert interrupts.order() is PersonEvent.SAFE_NOW


def test_afterwards_the_signal_is_what_it_was() -> None:
    before = signal.getsignal(signal.SIGINT)
    with Interrupts():
        assert signal.getsignal(signal.SIGINT) != before
    assert signal.getsignal(signal.SIGINT) == before


CHILD = """
import signal, socket, sys
from rig.cli.interrupts import Interrupts

if __name__ == "__main__":
    woken, waker = socket.socketpair()
    waker.setblocking(False)
    signal.set_wakeup_fd(waker.fileno())
    with Interrupts() as interrupts:
        print("ready", flush=True)
        woken.recv(1)
        print("the result", flush=True)
    with open(sys.argv[1], "w") as told:
        told.write(str(interrupts.presses))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_a_program_whose_terminal_was_closed_goes_on_to_its_end(tmp_path: Path) -> None:
    """Without that, the first line shown afterwards fails, and no result and no sheet are saved."""
    import fcntl
    import pty
    import termios

    script, told = tmp_path / "child.py", tmp_path / "told"
    script.write_text(CHILD)
    ours, theirs = pty.openpty()

    def become_leader() -> None:
        os.setsid()
        fcntl.ioctl(theirs, termios.TIOCSCTTY, 0)

    child = subprocess.Popen(
        [sys.executable, str(script), str(told)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        preexec_fn=become_leader,
    )
    os.close(theirs)
    assert os.read(ours, 100).startswith(b"ready")
    os.close(ours)  # the terminal is closed: SIGHUP, and nothing can be written to it any more
    assert child.wait(60.0) == 0
    assert told.read_text() == "1"
