"""What the guard remembers of a signal: enough to tell level and trend from noise, in a few floats."""

from dataclasses import dataclass
from math import isfinite, nan

# Two first-order filters. A ramp of slope r leaves them r * 0.75 s apart; noise of 0.15 psi at 50 scans/s
# leaves 0.03 psi in the quick one and 0.05 psi/s in the rate.
QUICK_S, SLOW_S = 0.25, 1.0


@dataclass(frozen=True, slots=True)
class Track:
    """Latest believable value, two filtered ones, and the last step between believable values."""

    latest: float = nan
    quick: float = nan
    slow: float = nan
    step: float = 0.0  # to the latest value from the one before
    step_s: float = 0.0  # time between the two

    @property
    def known(self) -> bool:
        return isfinite(self.latest)

    @property
    def rate(self) -> float:
        """Slope [1/s]: a ramp lags each filter by its time constant."""
        return (self.quick - self.slow) / (SLOW_S - QUICK_S)

    def see(self, value: float, since_s: float) -> "Track":
        """`value` came `since_s` [s] after the latest one."""
        if not self.known:
            return Track(value, value, value)
        return Track(
            latest=value,
            quick=self.quick + (value - self.quick) * since_s / (QUICK_S + since_s),
            slow=self.slow + (value - self.slow) * since_s / (SLOW_S + since_s),
            step=value - self.latest,
            step_s=since_s,
        )


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment to measure progress from."""

    time_s: float
    pressure_pa: float
    position_m: float
    output_pa: float
