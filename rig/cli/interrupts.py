"""Ctrl-C as an order to the guard: once vents in order, twice makes the outputs safe at once."""

import os
import signal
from types import FrameType, TracebackType
from typing import Any, Self

from safety.state import PersonEvent

STREAMS = (1, 2)  # standard output and error


class Interrupts:
    """While open, SIGINT, SIGTERM and SIGHUP (a closed terminal) become orders instead of exceptions.

    What would be shown on a terminal that is gone goes nowhere from then on: the run is ended in order, and
    its result and sheet are saved, instead of failing at the first line.
    """

    def __init__(self) -> None:
        self.presses = 0
        self._terminals = [stream for stream in STREAMS if _is_terminal(stream)]
        self._told = 0
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Self:
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None:
                self._before[number] = signal.signal(number, self._press)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def order(self) -> PersonEvent | None:
        """The order not yet given, each once."""
        if self._told >= min(self.presses, 2):
            return None
        self._told = min(self.presses, 2)
        return PersonEvent.SAFE_NOW if self.presses >= 2 else PersonEvent.STOP

    def _press(self, number: int, frame: FrameType | None) -> None:
        if number != getattr(signal, "SIGHUP", None):
            self.presses += 1
            return
        # A terminal that is closed may send it more than once: nobody has pressed twice.
        self.presses = max(1, self.presses)
        self._leave_terminals()

    def _leave_terminals(self) -> None:
        """Only those that are gone: SIGHUP may come from elsewhere."""
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for stream in self._terminals:
            if not _is_terminal(stream):
                os.dup2(nowhere, stream)
        os.close(nowhere)


def _is_terminal(stream: int) -> bool:
    try:
        return os.isatty(stream)
    except OSError:
        return False
