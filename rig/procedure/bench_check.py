"""The bench check: vent and take the zero, then stroke the valve up and down and vent again.

Plain sequential code: every `yield` asks for a demand and receives the next reading. It knows no stand,
no clock and no screen; time is the reading's.
"""

from collections.abc import Generator
from dataclasses import dataclass, field

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO
from rig.procedure.ramp import PSI, RampPlan
from rig.procedure.watch import Stroke, Window
from rig.profile.model import Action, Profile
from rig.units import UNIT_SETS, Dimension, UnitSet
from safety.signals import Demand, Reading

Steps = Generator[Demand, Reading, None]

ZERO_S = 3.0
GONE_PA = 0.25 * PSI  # with the casing open to the room, this much is zero error, not air
REST_LIMIT_S, TOP_LIMIT_S, RAMP_LIMIT_S = 90.0, 20.0, 400.0
# Every second cycle slides at this share of the speed between the corners: what drag adds to friction shows
# in the difference (rig/analysis/drag.py), and values can be told for a stem that moves very slowly.
SECOND_SPEED = 1.0 / 3.0
LEFT_REST_SHARE = 0.02  # of rated travel: the stem has certainly moved
NEAR_END_SHARE = 0.12  # slow down this close to either end

WATCH = {
    ZERO: "Hands clear. The stem must stand still while the zero is taken.",
    RISE: "Watch the stem: it should lift smoothly, without hops. Listen for leaks at the casing.",
    TOP: "Look at the travel scale: the pointer should meet the mark at the end of travel.",
    RETURN: "Watch the stem go back without hanging. Keep hands out of the yoke.",
    REST: "The casing is venting: noise at the vent. Stay clear until the pressure is gone.",
}


@dataclass
class BenchCheck:
    """One run of the check; `remarks` collects what did not go as planned, in plain words."""

    profile: Profile
    plan: RampPlan
    cycles: int = 3
    units: UnitSet = UNIT_SETS["psi"]  # of the remarks
    remarks: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.stroke = Stroke(self.profile.rated_travel_m)
        self._cycle = 0
        self._share_done = 0.0  # of the present cycle
        self._started_s: float | None = None
        self._now_s = 0.0

    def run(self) -> Generator[Demand, Reading, list[str]]:
        yield from self._take_zero()
        for cycle in range(1, self.cycles + 1):
            self._cycle = cycle
            yield from self._rise()
            yield from self._top()
            yield from self._return()
            yield from self._rest()
        return self.remarks

    # -- stages ----------------------------------------------------------------------------------

    def _take_zero(self) -> Steps:
        """Vented and still, for `ZERO_S`; the rest position follows from it."""
        yield from self._vented(ZERO, 0.0)
        start = self._now_s
        rest = Window(ZERO_S)
        while self._now_s - start < ZERO_S:
            reading = yield from self._ask(0.0, 0.0, ZERO, vent=True)
            if reading.position.good:
                rest.add(reading.position.time_s, reading.position.value)
        if rest.full:
            self.stroke.rest_m = rest.mean
        else:
            self.remarks.append("The stem position was not live while the zero was taken.")

    def _rise(self) -> Steps:
        plan, stroke = self.plan, self.stroke
        began = self._now_s
        lift_pa: float | None = None
        stroke.end_look()
        while stroke.pressure_pa < plan.highest_pa - 0.1 * PSI:
            if lift_pa is None and stroke.share > LEFT_REST_SHARE:
                lift_pa = stroke.pressure_pa
            if self._past_end(lift_pa is not None and stroke.share > 0.5):
                return
            if self._too_long(began, "rising"):
                return
            self._share_done = 0.45 * min(1.0, stroke.pressure_pa / plan.expected_top_pa)
            yield from self._ask(plan.highest_pa, self._rising_rate(lift_pa), RISE)
        self._remark_unfinished(lift_pa)

    def _top(self) -> Steps:
        """Hold what is there until pressure and stem are steady: travel is read from this plateau."""
        hold_pa = min(self.stroke.pressure_pa, self.plan.highest_pa)
        yield from self._settle(hold_pa, TOP, TOP_LIMIT_S)
        self._share_done = 0.5

    def _return(self) -> Steps:
        stroke = self.stroke
        began, top_m, top_pa = self._now_s, stroke.travel_m, stroke.pressure_pa
        fall_pa: float | None = None
        stroke.end_look()
        while stroke.pressure_pa > 0.1 * PSI:
            if fall_pa is None and stroke.travel_m < top_m - LEFT_REST_SHARE * stroke.rated_travel_m:
                fall_pa = stroke.pressure_pa
            if self._past_end(fall_pa is not None and stroke.share < 0.5):
                return
            if self._too_long(began, "returning"):
                return
            self._share_done = 0.5 + 0.45 * (1.0 - stroke.pressure_pa / max(top_pa, 1.0))
            yield from self._ask(0.0, self._returning_rate(fall_pa), RETURN)

    def _rest(self) -> Steps:
        self._share_done = 0.96
        yield from self._vented(REST, 1.0)

    # -- parts of stages -------------------------------------------------------------------------

    def _rising_rate(self, lift_pa: float | None) -> float:
        plan, p = self.plan, self.stroke.pressure_pa
        if lift_pa is None:
            return plan.fast_pa_per_s if p < plan.slow_from_pa else plan.slow_pa_per_s
        beside_lift = p < lift_pa + plan.beside_corner_pa
        near_end = p > plan.upper_slow_pa or self.stroke.share > 1.0 - NEAR_END_SHARE
        return plan.slow_pa_per_s if beside_lift or near_end else self._sliding_rate

    def _returning_rate(self, fall_pa: float | None) -> float:
        plan = self.plan
        beside_fall = fall_pa is None or self.stroke.pressure_pa > fall_pa - plan.beside_corner_pa
        near_seat = self.stroke.share < NEAR_END_SHARE
        return plan.slow_pa_per_s if beside_fall or near_seat else self._sliding_rate

    @property
    def _sliding_rate(self) -> float:
        """Between the corners [Pa/s]; never slower than beside them."""
        fast = self.plan.fast_pa_per_s
        return fast if self._cycle % 2 else max(SECOND_SPEED * fast, self.plan.slow_pa_per_s)

    def _past_end(self, far_enough: bool) -> bool:
        """The stem has come to its stop and the pressure has gone on by `past_stop_pa` since."""
        stroke, profile = self.stroke, self.profile
        if far_enough and not stroke.looking_for_end:
            span_pa = profile.bench_upper_pa - profile.bench_lower_pa
            stroke.look_for_end(profile.rated_travel_m / span_pa, self.plan.past_stop_pa)
        return far_enough and stroke.end_reached

    def _steady(self) -> bool:
        return self.stroke.stem_steady and self.stroke.pressure.steady(0.05 * PSI)

    def _vented(self, stage: str, share: float) -> Steps:
        """Vent until the pressure is gone and the stem is still."""
        reading = yield from self._ask(0.0, 0.0, stage, vent=True)
        began = self._now_s
        while not (self._steady() and self.stroke.pressure_pa < GONE_PA):
            if self._now_s - began > REST_LIMIT_S:
                left = self.units.text(Dimension.PRESSURE, reading.pressure.value)
                self.remarks.append(
                    f"After {REST_LIMIT_S:.0f} s of venting the casing still shows {left}: "
                    "is the vent clear, is the zero right?"
                )
                break
            reading = yield from self._ask(0.0, 0.0, stage, vent=True)
        self._share_done = share

    def _settle(self, hold_pa: float, stage: str, limit_s: float) -> Steps:
        began = self._now_s
        self.stroke.pressure.clear()
        while self._now_s - began < limit_s:
            yield from self._ask(hold_pa, self.plan.fast_pa_per_s, stage)
            if self._now_s - began > 2.0 and self._steady():
                return

    def _too_long(self, began_s: float, what: str) -> bool:
        if self._now_s - began_s <= RAMP_LIMIT_S:
            return False
        self.remarks.append(f"Cycle {self._cycle}: {what} took more than {RAMP_LIMIT_S:.0f} s and was ended.")
        return True

    def _remark_unfinished(self, lift_pa: float | None) -> None:
        moved = "never left its rest" if lift_pa is None else "was still moving"
        highest = self.units.text(Dimension.PRESSURE, self.plan.highest_pa)
        self.remarks.append(
            f"Cycle {self._cycle}: the stem {moved} at the highest pressure allowed ({highest})."
        )

    def _ask(
        self, pressure_pa: float, rate: float, stage: str, vent: bool = False
    ) -> Generator[Demand, Reading, Reading]:
        reading = yield Demand(
            pressure_pa=pressure_pa,
            rate_pa_per_s=rate,
            stage=stage,
            cycle=self._cycle,
            vent=vent,
            watch_for=self._watch_for(stage),
            progress=self._progress(),
            remaining_s=self._remaining_s(),
        )
        self._now_s = reading.time_s
        if self._started_s is None:
            self._started_s = reading.time_s
        self.stroke.see(reading)
        return reading

    def _watch_for(self, stage: str) -> str:
        if stage == RISE and self.profile.action is Action.AIR_TO_CLOSE:
            return "Watch the stem: the plug should go to its seat smoothly. Listen for leaks at the casing."
        return WATCH[stage]

    def _progress(self) -> float:
        done = max(0, self._cycle - 1) + (self._share_done if self._cycle else 0.0)
        return min(1.0, done / self.cycles)

    def _remaining_s(self) -> float:
        """From the pace so far once a cycle is done, from the plan before that [s]."""
        progress = self._progress()
        if self._started_s is None or progress * self.cycles < 1.0:
            return self.plan.expected_cycle_s * self.cycles * (1.0 - progress)
        return (self._now_s - self._started_s) * (1.0 - progress) / progress
