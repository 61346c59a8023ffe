"""The ramp of a bench check, planned from the profile: fast where nothing happens, slow at the corners."""

from dataclasses import dataclass

from rig.profile.model import Profile

PSI = 6894.757  # Pa; the amounts below are round numbers in psi (rig.units checks the factor)

# A corner is fitted over some psi on both sides of it; that much is ridden slowly.
BESIDE_CORNER_PA = 1.5 * PSI
# How far to go on past the stop and past the seat, so that both sides of the corner are seen.
PAST_STOP_PA = 1.5 * PSI
# Corner error from lag grows with the rate; 1 psi/s is the rate at which the estimators were scored.
SLOWEST_PA_PER_S, FASTEST_SLOW_PA_PER_S = 0.25 * PSI, 1.0 * PSI
FASTEST_PA_PER_S = 4.0 * PSI
SLOW_SHARE_OF_SPAN_PER_S = 0.05  # a span of 20 psi is ridden at 1 psi/s
FAST_OVER_SLOW = 3.0


@dataclass(frozen=True, slots=True)
class RampPlan:
    """Pressures [Pa gauge] and rates [Pa/s] of one cycle, along the stroke coordinate."""

    slow_pa_per_s: float
    fast_pa_per_s: float
    slow_from_pa: float  # rising: ride slowly from here, well below the expected lift-off
    beside_corner_pa: float  # slow for this much past a corner
    past_stop_pa: float  # ride on for this much after the stem stopped
    upper_slow_pa: float  # rising: slow again from here, below the expected full travel
    highest_pa: float  # never asked beyond this
    expected_top_pa: float

    @property
    def expected_cycle_s(self) -> float:
        """Rough duration of one cycle [s], for the progress display only."""
        slow_up = (
            2 * self.beside_corner_pa
            + self.past_stop_pa
            + max(0.0, self.expected_top_pa - self.upper_slow_pa - self.past_stop_pa)
        )
        fast_up = max(0.0, self.expected_top_pa - slow_up)
        up = slow_up / self.slow_pa_per_s + fast_up / self.fast_pa_per_s
        return 2.0 * up + 8.0


def plan_ramp(profile: Profile, highest_pa: float, fastest_pa_per_s: float = FASTEST_PA_PER_S) -> RampPlan:
    """Plan one cycle. `highest_pa` is the lowest of the caps that apply [Pa]."""
    lower, upper = profile.bench_lower_pa, profile.bench_upper_pa
    slow = min(
        max(SLOW_SHARE_OF_SPAN_PER_S * (upper - lower), SLOWEST_PA_PER_S),
        FASTEST_SLOW_PA_PER_S,
        fastest_pa_per_s,
    )
    fast = min(FAST_OVER_SLOW * slow, FASTEST_PA_PER_S, fastest_pa_per_s)
    beside = min(BESIDE_CORNER_PA, 0.15 * (upper - lower))
    below_lower = profile.lower_tolerance.minus + beside
    below_upper = profile.upper_tolerance.minus + beside
    return RampPlan(
        slow_pa_per_s=slow,
        fast_pa_per_s=fast,
        slow_from_pa=max(0.0, lower - below_lower),
        beside_corner_pa=beside,
        past_stop_pa=min(PAST_STOP_PA, 0.15 * (upper - lower)),
        upper_slow_pa=upper - below_upper,
        highest_pa=highest_pa,
        expected_top_pa=upper + min(PAST_STOP_PA, 0.15 * (upper - lower)),
    )
