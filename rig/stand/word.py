"""A person's word that hands are out, from one process to the one that scans, and how Ctrl-C gives it.

It has a signal of its own: a system that shuts down, or `kill`, speaks for nobody's hands.
"""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType, TracebackType
from typing import Any, Self

WORD: int | None = getattr(signal, "SIGUSR1", None)  # None: this system has no signals to spare


def give_word(process: int) -> bool:
    """Tell that process that hands are out; whether it could be told."""
    if WORD is None:
        return False
    with suppress(OSError):
        os.kill(process, WORD)
        return True
    return False


@contextmanager
def deaf_to_word() -> Iterator[None]:
    """For a process that holds a stand and no hands: unheeded, the signal would end it."""
    if WORD is None:
        yield
        return
    before = signal.signal(WORD, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(WORD, before)


class Presses:
    """While open, Ctrl-C is counted instead of raised. Without effect outside the main thread."""

    def __init__(self) -> None:
        self.count = 0
        self._before: Any = None

    def __enter__(self) -> Self:
        with suppress(ValueError):  # another thread, in which no interrupt can land either
            self._before = signal.signal(signal.SIGINT, self._press)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)

    def _press(self, number: int, frame: FrameType | None) -> None:
        self.count += 1
