"""Lays out the fastest ramp that reaches a wanted uncertainty, from profile and what is known of the stand.

Four things bound the speed beside a corner: noise (the scans on both lines, rig/analysis/ramp_rates.py), a
lag that is not known exactly, the distance between two scans, and the air. The air is not reckoned: the
output waits for a casing that is behind (`RampPlan.lead_pa`).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import hypot, sqrt

from rig.analysis.budget import RECTANGULAR
from rig.analysis.drag import CYCLE_SCATTER_PA
from rig.analysis.instruments import usual_drag, usual_lag
from rig.analysis.quantities import FLOOR_M
from rig.analysis.ramp_rates import ReadingNoise, Stretch, corner_sd, reading_noise, sampling_rate
from rig.analysis.samples import Sensors
from rig.procedure.ramp import PSI, Places, RampPlan
from rig.profile.model import Profile

SLOWEST_PA_PER_S, FASTEST_PA_PER_S = 0.25 * PSI, 5.0 * PSI
SPEEDS = 10  # tried beside the corners
GAP_PA, SLIDE_PA, REST_PA = 0.4 * PSI, 8.0 * PSI, 4.0 * PSI  # windows of rig/analysis/corner.py
BESIDE_PA = tuple(psi * PSI for psi in (2.0, 4.0, 6.0))  # tried: slow while sliding
BEFORE_PA = tuple(psi * PSI for psi in (1.2, 2.5))  # tried: slow while resting
PAST_PA = tuple(psi * PSI for psi in (1.5, 2.0, 3.0))  # tried: beyond the stop
MOST_SHARE = 0.15  # of the rated span, for each of them: a short span has no room for more
NEAR_END_SHARE, NEAR_END_ROOM = 0.12, 1.2  # of rated travel; of what is ridden slowly beside a corner
PLACE_PA = 0.3 * PSI  # how far a corner may be from where a fast stroke found it
HELD_S, HELD_PA = 0.75, 0.02 * PSI  # half of the hold at the top belongs to the way up, at one pressure
SLIDE_SHARE = 0.84  # of the stroke, on which friction is fitted (curve.py)
EXPECTED_SHARE = 0.6  # of the fast speed, that the casing follows while the stem slides; until it is seen
SECOND_SPEEDS = (1.0, 2.0 / 3.0, 1.0 / 2.0, 1.0 / 3.0)  # tried, of the fast one: slides of every second cycle
SLOWEST_INFERRED_PA_PER_S = 0.05 * PSI  # a large casing fills slowly, and nobody sees it
INFERRED_FAST = 1.0  # times slow: what the casing is behind on the fast part it has still not made up later
# Wanted where nobody says: the ramp adds a third of what the transmitters leave uncertain anyway, 5 % of the
# whole; or a twenty-fourth of the narrowest tolerance either way, 12 : 1 for the ramp alone.
SHARE_OF_FIXED, SHARE_OF_TOLERANCE = 1.0 / 3.0, 1.0 / 24.0
# Of the stem, as it leaves its rest: at a higher speed a stem that sticks in service glides, since friction
# does not fall with speed there. 0.5 psi/s on 20 psi over 1.125 in, at which sticking was scored.
STICK_M_PER_S = 0.7e-3
SLIDE_OVER_SLOW = 4.0  # a change of speed beyond this looks like a hop of the stem (stick.py)
FRICTION_OF_CORNER = 0.4  # a half band is small against a corner's pressure: wanted more exactly
NOISE_SHARE = 5e-4  # of span, until it has been seen at rest; assumption


@dataclass(frozen=True, slots=True)
class Seen:
    """What earlier strokes of this run told: standard deviations of a reading at rest, speed, places."""

    pressure_noise_pa: float
    travel_noise_m: float
    slide_pa_per_s: float | None = None  # of the casing while the stem slid as fast as the air lets it
    places: Places | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """One ramp that is tried: speeds [Pa/s] and stretches [Pa]."""

    slow: float
    fast: float
    asked: float  # while the stem slides
    slide: float  # what the casing makes of that
    second: float
    beside: float
    before: float
    past: float


@dataclass(frozen=True, slots=True)
class Planner:
    """`fastest_pa_per_s`: the guard's; `cycles` that the uncertainty is wanted after."""

    profile: Profile
    highest_pa: float
    fastest_pa_per_s: float = FASTEST_PA_PER_S
    sensors: Sensors | None = None
    scans_per_s: float = 50.0
    wanted_u_pa: float | None = None  # of a corner, transmitters included [standard]; None: see above
    cycles: int = 2

    # -- what is known beforehand ------------------------------------------------------------------

    @property
    def fixed_u_pa(self) -> float:
        """Standard uncertainty of a pressure that no ramp can mend [Pa]."""
        return self.sensors.pressure_accuracy_pa * RECTANGULAR if self.sensors else 0.0

    @property
    def inferred(self) -> bool:
        return self.sensors is not None and self.sensors.pressure_is_inferred

    def ramp_u_pa(self) -> float:
        """What the ramp may add [Pa, standard]. Raises ValueError where the transmitters alone are worse."""
        if self.wanted_u_pa is not None:
            if self.wanted_u_pa <= self.fixed_u_pa:
                raise ValueError("the transmitters alone leave more uncertain than is wanted")
            return sqrt(self.wanted_u_pa**2 - self.fixed_u_pa**2)
        lower, upper = self.profile.lower_tolerance, self.profile.upper_tolerance
        narrow = 0.5 * min(lower.minus + lower.plus, upper.minus + upper.plus)
        share = 1.0 if self.inferred else SHARE_OF_FIXED  # the I/P's lag takes minutes to get below its error
        return max(share * self.fixed_u_pa, SHARE_OF_TOLERANCE * narrow)

    @property
    def span_pa(self) -> float:
        return self.profile.bench_upper_pa - self.profile.bench_lower_pa

    @property
    def slope_m_per_pa(self) -> float:
        return self.profile.rated_travel_m / self.span_pa

    def _expected_noise(self) -> tuple[float, float]:
        sensors = self.sensors
        if sensors is None:
            return 0.03 * PSI, 25e-6
        return NOISE_SHARE * sensors.pressure_span_pa, NOISE_SHARE * sensors.position_span_m

    @property
    def _two_speeds_tell(self) -> bool:
        """Whether drag can be told from friction at all: without a casing transmitter all is filling."""
        return self.cycles > 1 and not self.inferred

    def _lag_u_s(self, trial: Trial, noise_pa: float) -> float:
        """u(tau) [s] after cycles whose slides were that far apart in speed, as drag.py tells it."""
        known = usual_lag(self.sensors, self.profile) if self.sensors else usual_drag(self.profile)
        before_s = known[1]
        apart = trial.slide - trial.second
        if not self._two_speeds_tell or apart <= 0.0:
            return before_s
        scans = 2.0 * SLIDE_SHARE * self.span_pa / trial.slide * self.scans_per_s
        told_s = sqrt(2.0 * (CYCLE_SCATTER_PA**2 + noise_pa**2 / scans)) / apart
        return before_s * told_s / hypot(before_s, told_s)

    # -- the plan ----------------------------------------------------------------------------------

    def plan(self, seen: Seen | None = None) -> RampPlan:
        """The fastest of the ramps tried that reaches the wanted uncertainty, else the surest.

        `seen` in earlier strokes of this run. Raises ValueError as `ramp_u_pa` does.
        """
        wanted = self.ramp_u_pa()
        seen = seen or Seen(*self._expected_noise())
        found = [self._laid_out(trial, seen, wanted) for trial in self._trials(seen)]

        def short(plan: RampPlan) -> float:
            """At most 1 where it reaches what is wanted."""
            friction_u_pa = plan.friction_u_pa / FRICTION_OF_CORNER if self._two_speeds_tell else 0.0
            return max(plan.corner_u_pa, friction_u_pa) / wanted

        reaching = [plan for plan in found if short(plan) <= 1.0]
        if reaching:
            return min(reaching, key=lambda plan: (plan.expected_cycle_s, plan.corner_u_pa))
        return min(found, key=short)

    def _trials(self, seen: Seen) -> Iterator[Trial]:
        top = min(self.fastest_pa_per_s, sampling_rate(self.scans_per_s), FASTEST_PA_PER_S)
        low = min(SLOWEST_INFERRED_PA_PER_S if self.inferred else SLOWEST_PA_PER_S, top)
        for step in range(SPEEDS):
            slow = low * (top / low) ** (step / (SPEEDS - 1))
            fast = min(self.fastest_pa_per_s, FASTEST_PA_PER_S)
            if self.inferred:
                fast = min(fast, INFERRED_FAST * slow)
            follows = fast if self.inferred else seen.slide_pa_per_s or EXPECTED_SHARE * fast
            air = min(fast, follows)
            slow = min(slow, air)
            slide = min(air, SLIDE_OVER_SLOW * slow)
            for share, beside, before, past in product(
                SECOND_SPEEDS if self._two_speeds_tell else (1.0,),
                self._room(BESIDE_PA),
                self._room(BEFORE_PA),
                self._room(PAST_PA),
            ):
                asked = max(fast, slow) if slide == air else slide
                yield Trial(slow, max(fast, slow), asked, slide, share * slide, beside, before, past)

    def _room(self, amounts: tuple[float, ...]) -> list[float]:
        return sorted({min(amount, MOST_SHARE * self.span_pa) for amount in amounts})

    def _laid_out(self, trial: Trial, seen: Seen, wanted: float) -> RampPlan:
        profile, places = self.profile, seen.places
        lift, full = profile.bench_lower_pa, profile.bench_upper_pa
        below_lift, below_full = profile.lower_tolerance.minus, profile.upper_tolerance.minus
        if places is not None:
            lift, full, below_lift, below_full = places.lift_pa, places.full_pa, PLACE_PA, PLACE_PA
        readings = reading_noise(seen.pressure_noise_pa, seen.travel_noise_m, self.slope_m_per_pa)
        leaving, meeting = self._corner_u(trial, readings)
        return RampPlan(
            slow_pa_per_s=trial.slow,
            fast_pa_per_s=trial.fast,
            slow_from_pa=max(0.0, lift - below_lift - trial.before),
            beside_corner_pa=trial.beside,
            past_stop_pa=trial.past,
            upper_slow_pa=full - below_full - trial.beside,
            highest_pa=self.highest_pa,
            expected_top_pa=min(full + trial.past, self.highest_pa),
            # Slower than the air lets it only where that is wanted: the output would wait for the casing.
            second_pa_per_s=trial.second if trial.second < trial.slide else trial.asked,
            first_pa_per_s=trial.asked,
            lift_pa_per_s=min(trial.slow, STICK_M_PER_S / self.slope_m_per_pa),
            before_corner_pa=trial.before,
            near_end_share=max(NEAR_END_SHARE, NEAR_END_ROOM * trial.beside / self.span_pa),
            slide_pa_per_s=trial.slide,
            places=places,
            leaving_u_pa=leaving,
            meeting_u_pa=meeting,
            friction_u_pa=sqrt(trial.slide * trial.second) * self._lag_u_s(trial, readings.slide_pa),
            wanted_u_pa=wanted,
        )

    def _corner_u(self, trial: Trial, readings: ReadingNoise) -> tuple[float, float]:
        """Standard uncertainty of a corner that the stem leaves, and of one that it meets [Pa]."""
        slow, before, past = trial.slow, trial.before, trial.past
        far = min(SLIDE_PA, 0.45 * self.span_pa)
        near = min(trial.beside, far)
        slide = [Stretch(GAP_PA, near, slow), Stretch(near, far, sqrt(trial.slide * trial.second))]
        leaving = [Stretch(GAP_PA, before, slow), Stretch(before, max(before, REST_PA), trial.fast)]
        meeting = [Stretch(GAP_PA, past - HELD_PA, slow), Stretch(past - HELD_PA, past, HELD_PA / HELD_S)]
        lag = slow * self._lag_u_s(trial, readings.slide_pa)
        floor = max(FLOOR_M.values()) / self.slope_m_per_pa

        def u(rest: list[Stretch]) -> float:
            sd = corner_sd(rest, slide, readings, self.scans_per_s)
            return sqrt(sd**2 / self.cycles + lag**2 + floor**2)

        return u(leaving), u(meeting)


def plan_ramp(profile: Profile, highest_pa: float, fastest_pa_per_s: float = FASTEST_PA_PER_S) -> RampPlan:
    """One cycle from the profile alone. `highest_pa` is the lowest of the caps that apply [Pa]."""
    return Planner(profile, highest_pa, fastest_pa_per_s).plan()
