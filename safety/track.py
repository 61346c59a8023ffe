"""What the guard remembers of a signal: enough to tell level and trend from noise, in a few floats."""

from dataclasses import dataclass, replace
from math import isfinite, nan

# Two first-order filters. A ramp of slope r leaves them r * 0.75 s apart; noise of 0.15 psi at 50 scans/s
# leaves 0.03 psi in the quick one and 0.05 psi/s in the rate.
QUICK_S, SLOW_S = 0.25, 1.0
# The lower of two lags a rise by one scan, and no single spike gets into it.
RECENT = 2


@dataclass(frozen=True, slots=True)
class Track:
    """Latest believable value, two filtered ones, and the last step between believable values."""

    time_s: float = nan  # of the latest believable value
    latest: float = nan
    quick: float = nan
    slow: float = nan
    step: float = 0.0  # to the latest value from the one before
    step_s: float = 0.0  # time between the two
    recent: tuple[float, ...] = ()  # the last values measured, the latest last

    @property
    def known(self) -> bool:
        return isfinite(self.latest)

    @property
    def lowest(self) -> float:
        """Of the last few values; nan where there are fewer. What it has reached, the signal has reached."""
        return min(self.recent) if len(self.recent) == RECENT else nan

    @property
    def rate(self) -> float:
        """Slope [1/s]: a ramp lags each filter by its time constant."""
        return (self.quick - self.slow) / (SLOW_S - QUICK_S)

    def see(self, value: float, time_s: float) -> "Track":
        """A believable value measured at `time_s`, which is never taken for earlier than the latest."""
        if not self.known:
            return Track(time_s, value, value, value, recent=(value,))
        passed_s = max(0.0, time_s - self.time_s)
        return Track(
            time_s,
            value,
            self.quick + (value - self.quick) * passed_s / (QUICK_S + passed_s),
            self.slow + (value - self.slow) * passed_s / (SLOW_S + passed_s),
            value - self.latest,
            passed_s,
            # A gateway that repeats itself has measured nothing.
            (*self.recent, value)[-RECENT:] if passed_s > 0.0 else self.recent,
        )

    def unseen(self) -> "Track":
        """No believable value in this scan: everything stays, but there was no step."""
        return self if self.step == 0.0 else replace(self, step=0.0, step_s=0.0)


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment to measure progress from."""

    time_s: float
    pressure_pa: float
    position_m: float
    output_pa: float
