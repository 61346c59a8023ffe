"""Single keys from the terminal, without waiting for them."""

import contextlib
import os
import sys
from types import TracebackType
from typing import Self


class Keys:
    """While open, `pressed` gives the next key, if there is one; Ctrl-C stays a signal.

    Raises OSError from `__enter__` where there is no keyboard (`at_keyboard` tells before).
    """

    def __init__(self) -> None:
        self._close: contextlib.ExitStack = contextlib.ExitStack()

    def __enter__(self) -> Self:
        if sys.platform != "win32":
            import termios
            import tty

            keyboard = sys.stdin.fileno()
            before = termios.tcgetattr(keyboard)
            self._close.callback(termios.tcsetattr, keyboard, termios.TCSADRAIN, before)
            tty.setcbreak(keyboard)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close.close()

    def pressed(self) -> str | None:
        if sys.platform == "win32":
            import msvcrt

            return msvcrt.getwch().lower() if msvcrt.kbhit() else None
        import select

        ready, _, _ = select.select([sys.stdin], [], [], 0.0)
        if not ready:
            return None
        key = os.read(sys.stdin.fileno(), 1)
        return key.decode("ascii", errors="ignore").lower() or None


def at_keyboard() -> bool:
    return sys.stdin.isatty()
