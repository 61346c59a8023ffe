"""How the stand's time follows the wire: so many times real time, or one scan period a scan."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from rig.stand.model import Table
from simulator.device import Device
from simulator.wire.pdu import covers


class Pace(Protocol):
    """Called before each request is answered."""

    def before(self, stand: Device, unit: int, pdu: bytes) -> None: ...


class Still:
    """The wire moves no time: whoever holds the stand calls `advance`."""

    def before(self, stand: Device, unit: int, pdu: bytes) -> None:
        """Nothing passes."""


@dataclass
class RealTime:
    """The plant follows `speed` times the clock, brought up to now whenever it is asked something."""

    speed: float = 1.0
    clock: Callable[[], float] = time.monotonic
    _began: float | None = field(default=None, init=False)

    def before(self, stand: Device, unit: int, pdu: bytes) -> None:
        now = self.clock()
        if self._began is None:
            self._began = now - stand.time_s / self.speed
        stand.advance((now - self._began) * self.speed)


@dataclass
class LockStep:
    """One scan period passes whenever a read covers the casing pressure (else the stem position)."""

    period_s: float | None = None  # None: the stand file's scan rate
    _time_s: float | None = field(default=None, init=False)

    def before(self, stand: Device, unit: int, pdu: bytes) -> None:
        if not self.is_scan(stand, unit, pdu):
            return
        period = self.period_s or 1.0 / stand.stand.scans_per_s
        start = stand.time_s if self._time_s is None else max(self._time_s, stand.time_s)
        self._time_s = start + period
        stand.advance(self._time_s)

    @staticmethod
    def is_scan(stand: Device, unit: int, pdu: bytes) -> bool:
        """Whether this request is the one that every scan contains once."""
        channel = stand.stand.casing_pressure or stand.stand.stem_position
        if stand.stand.modules[channel.module].unit != unit:
            return False
        table: Table = channel.table
        return covers(pdu, table, channel.address)
