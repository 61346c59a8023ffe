"""Whose time the scan runs by: the machine's, none at all, or a paced one for the demonstration."""

import time
from collections.abc import Callable
from typing import Protocol


class Clock(Protocol):
    """Time of the run [s], 0 at its start."""

    def now(self) -> float: ...

    def wait_until(self, time_s: float) -> float:
        """Return at `time_s`, or at once when that has passed; how late it is then [s]."""


def machine_s() -> float:
    """The machine's time [s] since some start, never set back. It goes on while the machine sleeps where the
    system has CLOCK_BOOTTIME (Linux, clock_gettime(2)); elsewhere it may or may not."""
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()


class MonotonicClock:
    """The machine's clock: after a sleep of the machine it is later, and the slot waited for is late."""

    def __init__(self) -> None:
        self._start_s = machine_s()

    def now(self) -> float:
        return machine_s() - self._start_s

    def wait_until(self, time_s: float) -> float:
        while (ahead_s := time_s - self.now()) > 0.0:
            time.sleep(ahead_s)
        return max(0.0, self.now() - time_s)


class VirtualClock:
    """Time that passes only when it is waited for; `advance(seconds)` takes the stand along."""

    def __init__(self, advance: Callable[[float], None] | None = None) -> None:
        self._now_s = 0.0
        self._advance = advance

    def now(self) -> float:
        return self._now_s

    def wait_until(self, time_s: float) -> float:
        passed_s = time_s - self._now_s
        if passed_s > 0.0:
            self._now_s = time_s
            if self._advance is not None:
                self._advance(passed_s)
        return 0.0


class PacedClock:
    """Virtual time held down to `speed` times the machine's.

    It moves only when it is waited for, so a machine that stalls stretches the run and loses nothing.
    Time lost to a stall is not caught up afterwards.
    """

    def __init__(self, speed: float, advance: Callable[[float], None] | None = None) -> None:
        """`advance(seconds)` takes a stand along that lives in this process. Raises ValueError unless
        `speed` is above zero."""
        if not speed > 0.0:
            raise ValueError(f"the speed of a paced clock must be above zero, not {speed}")
        self.speed = speed
        self._advance = advance
        self._now_s = 0.0
        self._real_s = time.monotonic()  # when `_now_s` was reached

    def now(self) -> float:
        return self._now_s

    def wait_until(self, time_s: float) -> float:
        passed_s = time_s - self._now_s
        if passed_s > 0.0:
            due_s = self._real_s + passed_s / self.speed
            ahead_s = due_s - time.monotonic()
            if ahead_s > 0.0:
                time.sleep(ahead_s)
            self._now_s = time_s
            self._real_s = max(due_s, time.monotonic())
            if self._advance is not None:
                self._advance(passed_s)
        return 0.0
