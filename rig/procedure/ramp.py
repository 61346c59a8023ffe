"""The ramp of one cycle: fast where nothing happens, slow beside the corners. planner.py lays it out."""

from dataclasses import dataclass

PSI = 6894.757  # Pa; the amounts below are round numbers in psi (rig.units checks the factor)

TOP_S, VENT_S = 1.5, 1.5  # what holding and venting take at least
AFTER_LIFT_PA = 1.0 * PSI  # a first hop comes within this
BEHIND_S = 0.8  # the casing is behind the output by about this; assumption, for the expected time only
LEAD_S, LEAD_PA = 2.0, 0.5 * PSI  # the output waits when the casing is farther behind than this


@dataclass(frozen=True, slots=True)
class Places:
    """Where an earlier cycle found the corners [Pa gauge, as the transmitter reads]."""

    lift_pa: float
    full_pa: float
    fall_pa: float
    reseat_pa: float


@dataclass(frozen=True, slots=True)
class RampPlan:
    """Pressures [Pa gauge] and rates [Pa/s] of one cycle, along the stroke coordinate."""

    slow_pa_per_s: float
    fast_pa_per_s: float
    slow_from_pa: float  # rising: ride slowly from here, well below the expected lift-off
    beside_corner_pa: float  # slow for this much of the sliding stem beside a corner
    past_stop_pa: float  # ride on for this much after the stem stopped
    upper_slow_pa: float  # rising: slow again from here, below the expected full travel
    highest_pa: float  # never asked beyond this
    expected_top_pa: float
    first_pa_per_s: float  # between the corners
    lift_pa_per_s: float  # about lift-off: a stem that would stick glides off at a higher speed
    second_pa_per_s: float  # the same in every second cycle, so that drag is told from friction
    before_corner_pa: float = 1.5 * PSI  # slow for this much of the resting stem before a corner
    near_end_share: float = (
        0.12  # of rated travel: slow this close to either end while `places` are not known
    )
    slide_pa_per_s: float | None = None  # what the casing makes of the fast speed while the stem slides
    places: Places | None = None
    leaving_u_pa: float = (
        0.0  # expected standard uncertainty of lift-off and return, but for the transmitters
    )
    meeting_u_pa: float = 0.0  # ... of full travel and reseat
    friction_u_pa: float = 0.0  # of the half band, from what speed adds to it
    wanted_u_pa: float = 0.0  # the same as it was wanted

    @property
    def corner_u_pa(self) -> float:
        """Expected standard uncertainty of the worse kind of corner, but for the transmitters [Pa]."""
        return max(self.leaving_u_pa, self.meeting_u_pa)

    def sliding_rate(self, cycle: int) -> float:
        """Between the corners [Pa/s]."""
        return self.first_pa_per_s if cycle % 2 else self.second_pa_per_s

    def rising_rate(
        self, cycle: int, output_pa: float, pressure_pa: float, lift_pa: float | None, share: float
    ) -> float:
        """Speed of the rise now [Pa/s].

        The casing follows the output some time later: it is the output that must slow down ahead of a corner.
        `lift_pa`: where the stem has been seen to move, None until then; `share` of rated travel.
        """
        if lift_pa is None:
            return self.fast_pa_per_s if output_pa < self.slow_from_pa else self.lift_pa_per_s
        known = self.places
        lift_pa = max(lift_pa, known.lift_pa if known else 0.0)
        if pressure_pa < lift_pa + AFTER_LIFT_PA:
            return self.lift_pa_per_s
        beside_lift = lift_pa + self.beside_corner_pa
        near_end = output_pa > self.upper_slow_pa or (known is None and share > 1.0 - self.near_end_share)
        slow = pressure_pa < beside_lift or near_end
        return self.slow_pa_per_s if slow else self.sliding_rate(cycle)

    def returning_rate(
        self, cycle: int, output_pa: float, pressure_pa: float, fall_pa: float | None, share: float
    ) -> float:
        """Speed of the return now [Pa/s]; `fall_pa`: where the stem has been seen to leave its end."""
        known = self.places
        if known is None:
            slow = (
                fall_pa is None
                or pressure_pa > fall_pa - self.beside_corner_pa
                or share < self.near_end_share
            )
            return self.slow_pa_per_s if slow else self.sliding_rate(cycle)
        if fall_pa is None:
            return (
                self.fast_pa_per_s
                if output_pa > known.fall_pa + self.before_corner_pa
                else self.slow_pa_per_s
            )
        beside_fall = pressure_pa > min(fall_pa, known.fall_pa) - self.beside_corner_pa
        near_rest = output_pa < known.reseat_pa + self.beside_corner_pa
        return self.slow_pa_per_s if beside_fall or near_rest else self.sliding_rate(cycle)

    def lead_pa(self, rate_pa_per_s: float) -> float:
        """How far the output may be ahead of the casing at this speed."""
        return LEAD_S * rate_pa_per_s + LEAD_PA

    @property
    def expected_cycle_s(self) -> float:
        """Duration of one cycle [s] where the air can follow: mean of both speeds."""
        fast = self.slide_pa_per_s or self.first_pa_per_s
        return 0.5 * (self.cycle_s(fast) + self.cycle_s(min(fast, self.second_pa_per_s)))

    @property
    def expected_conditioning_s(self) -> float:
        """Duration of one stroke at full speed [s] where the air can follow."""
        return (
            2.0
            * (self.expected_top_pa / self.fast_pa_per_s + BEHIND_S + self.past_stop_pa / self.fast_pa_per_s)
            + TOP_S
            + VENT_S
        )

    def cycle_s(self, sliding_pa_per_s: float) -> float:
        """Duration of a cycle that slides at this speed [s] where the air can follow."""
        slow_up = self.expected_top_pa - self.upper_slow_pa
        slow_up += self.before_corner_pa + self.beside_corner_pa
        approach = self.slow_from_pa / self.fast_pa_per_s
        about_lift = self.before_corner_pa + AFTER_LIFT_PA
        approach += about_lift * (1.0 / self.lift_pa_per_s - 1.0 / self.slow_pa_per_s)
        slide = max(0.0, self.expected_top_pa - self.slow_from_pa - slow_up)
        up = approach + slow_up / self.slow_pa_per_s + slide / sliding_pa_per_s + BEHIND_S
        slow_down = (
            2.0 * self.beside_corner_pa + self.past_stop_pa + (self.before_corner_pa if self.places else 0.0)
        )
        rest = max(0.0, self.expected_top_pa - self.slow_from_pa - slow_down)
        down = slow_down / self.slow_pa_per_s + rest / sliding_pa_per_s + BEHIND_S
        return up + down + TOP_S + VENT_S
