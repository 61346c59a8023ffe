"""The scan's clock in the socket campaign: life's, times a speed, and it can be made to leap from outside.

A few numbers in a file that two processes map: the campaign writes the leap, the scan process says who it is
and when its time began.
"""

import mmap
import struct
import time
from pathlib import Path

from rig.stand.clock import machine_s

STARTED_S, LEAP_S, BUSY_S, SCAN_PROCESS, SPEED = range(5)  # what stands where
SLOTS = 8


class Slots:
    """Numbers shared through a file."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(bytes(8 * SLOTS))
        with path.open("r+b") as file:
            self._memory = mmap.mmap(file.fileno(), 8 * SLOTS)

    def __getitem__(self, slot: int) -> float:
        found: float = struct.unpack_from("<d", self._memory, 8 * slot)[0]
        return found

    def __setitem__(self, slot: int, value: float) -> None:
        struct.pack_into("<d", self._memory, 8 * slot, value)


class CampaignClock:
    """As `rig.stand.clock.MonotonicClock`, in the campaign's time."""

    def __init__(self, slots: Slots, process: int) -> None:
        self._slots = slots
        self._speed = slots[SPEED]
        self._start_s = slots[STARTED_S] = machine_s()
        slots[SCAN_PROCESS] = float(process)

    def now(self) -> float:
        return (machine_s() - self._start_s) * self._speed + self._slots[LEAP_S]

    def wait_until(self, time_s: float) -> float:
        ahead_s = time_s - self.now()
        if ahead_s > 0.0:
            time.sleep(ahead_s / self._speed)
        return max(0.0, self.now() - time_s)
