"""An instant actuator for tests of procedures: pressure follows the demand, friction is a play operator."""

from dataclasses import dataclass

from safety.signals import Demand, Health, Reading, Signal


@dataclass
class QuasiStaticValve:
    """Travel from a spring line with a friction band [SI]; the transmitter may be reversed and offset."""

    lower_pa: float = 100_000.0  # spring only
    upper_pa: float = 200_000.0
    travel_m: float = 0.03
    half_band_pa: float = 5_000.0
    sense: int = 1
    offset_m: float = 0.0
    jammed: bool = False
    scans_per_s: float = 50.0

    def __post_init__(self) -> None:
        self.scan, self.pressure_pa, self.line_pa = 0, 0.0, self.lower_pa

    def answer(self, demand: Demand | None) -> Reading:
        step = 1.0 / self.scans_per_s
        if demand is not None:
            if demand.vent:
                self.pressure_pa *= 0.9
            else:
                change = demand.rate_pa_per_s * step
                gap = demand.pressure_pa - self.pressure_pa
                self.pressure_pa += max(-change, min(change, gap))
        self._move()
        self.scan += 1
        now = self.scan * step
        share = (self.line_pa - self.lower_pa) / (self.upper_pa - self.lower_pa)
        position = self.offset_m + self.sense * share * self.travel_m
        return Reading(
            scan=self.scan,
            time_s=now,
            pressure=Signal(self.pressure_pa, Health.GOOD, now),
            position=Signal(position, Health.GOOD, now),
        )

    def _move(self) -> None:
        if self.jammed:
            return
        line = max(
            self.pressure_pa - self.half_band_pa, min(self.pressure_pa + self.half_band_pa, self.line_pa)
        )
        self.line_pa = max(self.lower_pa, min(self.upper_pa, line))
