"""The bench check: vent and take the zero, then stroke the valve up and down and vent again.

With a planner there is one stroke at full speed first, which is not measured (cycle 0): packing takes its
set, and it tells where the corners are and how noisy the readings. After every cycle the ramp is laid out
anew from what was found. With a judge there are no more cycles than it takes to be certain.

Plain sequential code: every `yield` asks for a demand and receives the next reading. It knows no stand,
no clock and no screen; time is the reading's.
"""

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, field

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO, Samples
from rig.procedure.learned import learned_plan
from rig.procedure.planner import Planner
from rig.procedure.ramp import PSI, TOP_S, RampPlan
from rig.procedure.rows import Rows
from rig.procedure.watch import Stroke, Window
from rig.profile.model import Action, Profile
from rig.units import UNIT_SETS, Dimension, UnitSet
from safety.signals import Demand, Reading

Steps = Generator[Demand, Reading, None]
# Why no more cycles are needed, after those so far; empty: go on.
Judge = Callable[[Samples, int], str]

ZERO_S = 6.0  # its noise is in every pressure of the check
SEATED_S = 1.5  # held just past the reseat, so that the level of the resting stem is known
GONE_PA = 0.25 * PSI  # with the casing open to the room, this much is zero error, not air
TOP_STEADY_PA = 0.2 * PSI  # the stem stands on its stop: a big casing may still be filling
REST_LIMIT_S, TOP_LIMIT_S, RAMP_LIMIT_S = 90.0, 20.0, 400.0
LEFT_REST_SHARE = 0.08  # of rated travel: a seat gives way by 3 % at most, so the stem has surely moved
FEWEST_CYCLES = 2  # measured, before a judge is asked: one cycle shows no scatter

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
    planner: Planner | None = None  # lays the ramp out anew after each cycle
    judge: Judge | None = None
    remarks: list[str] = field(default_factory=list)
    ended: str = ""  # why there were no more cycles
    rows: Rows = field(default_factory=Rows)  # kept only for a planner or a judge

    def __post_init__(self) -> None:
        self.stroke = Stroke(self.profile.rated_travel_m)
        self._cycle = 0
        self._conditioning = False
        self._share_done = 0.0  # of the present cycle
        self._output_pa = 0.0  # what the guard lets out, as far as it is known here
        self._started_s: float | None = None
        self._now_s = 0.0

    def run(self) -> Generator[Demand, Reading, list[str]]:
        yield from self._take_zero()
        if self.planner is not None:
            yield from self._condition(self.planner)
        for cycle in range(1, self.cycles + 1):
            self._cycle = cycle
            yield from self._stroke()
            if self._certain(cycle):
                return self.remarks
            if self.planner is not None and cycle < self.cycles:
                self.plan = learned_plan(self.planner, self.rows.samples(), self.plan)
        cycles = "the one cycle" if self.cycles == 1 else f"all {self.cycles} cycles"
        self.ended = f"{cycles} asked for were run"
        return self.remarks

    def _condition(self, planner: Planner) -> Steps:
        """One stroke at full speed, not measured."""
        self._conditioning = True
        yield from self._stroke()
        self._conditioning = False
        self.plan = learned_plan(planner, self.rows.samples(), self.plan)

    def _stroke(self) -> Steps:
        yield from self._rise()
        yield from self._top()
        yield from self._return()
        yield from self._rest()

    def _certain(self, cycle: int) -> bool:
        if self.judge is None or cycle < FEWEST_CYCLES or cycle == self.cycles:
            return False
        self.ended = self.judge(self.rows.samples(), cycle)
        return bool(self.ended)

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
            if lift_pa is None and (stroke.share > LEFT_REST_SHARE or stroke.sets_off(self._slope)):
                lift_pa = stroke.pressure_pa
            if self._past_end(lift_pa is not None and stroke.share > 0.5):
                return
            if self._too_long(began, "rising"):
                return
            self._share_done = 0.45 * min(1.0, stroke.pressure_pa / plan.expected_top_pa)
            yield from self._ride(plan.highest_pa, self._rising_rate(lift_pa), RISE)
        self._remark_unfinished(lift_pa)

    def _top(self) -> Steps:
        """Hold what is there until pressure and stem are steady: travel is read from this plateau."""
        stroke, began = self.stroke, self._now_s
        hold_pa = min(stroke.pressure_pa, self.plan.highest_pa)
        stroke.pressure.clear()
        stroke.motion.restart()
        while self._now_s - began < TOP_LIMIT_S:
            yield from self._ask(hold_pa, self.plan.fast_pa_per_s, TOP)
            still = stroke.stem_steady and stroke.pressure.steady(TOP_STEADY_PA)
            if self._now_s - began > TOP_S and still:
                break
        self._share_done = 0.5

    def _return(self) -> Steps:
        stroke = self.stroke
        began, top_m, top_pa = self._now_s, stroke.travel_m, stroke.pressure_pa
        fall_pa: float | None = None
        stroke.end_look()
        while stroke.pressure_pa > 0.1 * PSI:
            left = stroke.travel_m < top_m - LEFT_REST_SHARE * stroke.rated_travel_m
            if fall_pa is None and (left or stroke.sets_off(self._slope)):
                fall_pa = stroke.pressure_pa
            if self._past_end(fall_pa is not None and stroke.share < 0.5):
                yield from self._stay(SEATED_S, RETURN)
                return
            if self._too_long(began, "returning"):
                return
            self._share_done = 0.5 + 0.45 * (1.0 - stroke.pressure_pa / max(top_pa, 1.0))
            yield from self._ride(0.0, self._returning_rate(fall_pa), RETURN)

    def _rest(self) -> Steps:
        self._share_done = 0.96
        yield from self._vented(REST, 1.0)

    # -- parts of stages -------------------------------------------------------------------------

    def _rising_rate(self, lift_pa: float | None) -> float:
        plan, stroke = self.plan, self.stroke
        if self._conditioning:
            return plan.fast_pa_per_s
        return plan.rising_rate(self._cycle, self._output_pa, stroke.pressure_pa, lift_pa, stroke.share)

    def _returning_rate(self, fall_pa: float | None) -> float:
        plan, stroke = self.plan, self.stroke
        if self._conditioning:
            return plan.fast_pa_per_s
        return plan.returning_rate(self._cycle, self._output_pa, stroke.pressure_pa, fall_pa, stroke.share)

    @property
    def _slope(self) -> float:
        """Travel over pressure of a sliding stem by the profile [m/Pa]."""
        profile = self.profile
        return profile.rated_travel_m / (profile.bench_upper_pa - profile.bench_lower_pa)

    def _ride(self, goal_pa: float, rate: float, stage: str) -> Steps:
        """Towards the goal; the output waits where the casing is too far behind it."""
        lead = self.plan.lead_pa(rate)
        pressure, output = self.stroke.pressure_pa, self._output_pa
        if goal_pa > pressure:
            asked = min(goal_pa, max(output, pressure + lead))
        else:
            asked = max(goal_pa, min(output, pressure - lead))
        yield from self._ask(asked, rate, stage)

    def _past_end(self, far_enough: bool) -> bool:
        """The stem has come to its stop and the pressure has gone on by `past_stop_pa` since."""
        stroke = self.stroke
        if far_enough and not stroke.looking_for_end:
            stroke.look_for_end(self._slope, self.plan.past_stop_pa)
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
        self.stroke.motion.restart()
        self._share_done = share

    def _stay(self, seconds: float, stage: str) -> Steps:
        """Hold what is there: the casing catches up as the stem comes to rest, and little is seen of it."""
        began, hold_pa = self._now_s, self.stroke.pressure_pa
        while self._now_s - began < seconds:
            yield from self._ask(hold_pa, self.plan.fast_pa_per_s, stage)

    def _too_long(self, began_s: float, what: str) -> bool:
        limit_s = max(RAMP_LIMIT_S, 2.0 * self.plan.highest_pa / self.plan.slow_pa_per_s)
        if self._now_s - began_s <= limit_s:
            return False
        self.remarks.append(f"{self._name}: {what} took more than {limit_s:.0f} s and was ended.")
        return True

    def _remark_unfinished(self, lift_pa: float | None) -> None:
        moved = "never left its rest" if lift_pa is None else "was still moving"
        highest = self.units.text(Dimension.PRESSURE, self.plan.highest_pa)
        self.remarks.append(f"{self._name}: the stem {moved} at the highest pressure allowed ({highest}).")

    @property
    def _name(self) -> str:
        return f"Cycle {self._cycle}" if self._cycle else "Conditioning stroke"

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
        self._keep_track(reading, 0.0 if vent else pressure_pa, math.inf if vent else rate)
        if self.planner is not None or self.judge is not None:
            self.rows.keep(Demand(pressure_pa, rate, stage), reading, self._cycle)
        return reading

    def _keep_track(self, reading: Reading, towards_pa: float, rate: float) -> None:
        """Of time, stroke and output: the read-back, or reckoned from what was asked."""
        passed_s = reading.time_s - self._now_s if self._started_s is not None else 0.0
        if self._started_s is None:
            self._started_s = reading.time_s
        self._now_s = reading.time_s
        self.stroke.see(reading)
        if reading.output.good:
            self._output_pa = reading.output.value
        elif rate < math.inf:
            step = rate * passed_s
            self._output_pa += max(-step, min(step, towards_pa - self._output_pa))
        else:
            self._output_pa = towards_pa

    def _watch_for(self, stage: str) -> str:
        watch = WATCH[stage]
        if stage == RISE and self.profile.action is Action.AIR_TO_CLOSE:
            watch = "Watch the stem: the plug should go to its seat smoothly. Listen for leaks at the casing."
        return f"At full speed, not measured. {watch}" if self._conditioning else watch

    def _progress(self) -> float:
        """Share done, by expected time; cycles that turn out not to be needed are still counted."""
        first_s = self.plan.expected_conditioning_s if self.planner is not None else 0.0
        each_s = self.plan.expected_cycle_s
        whole_s = first_s + self.cycles * each_s
        if self._cycle == 0:
            return self._share_done * first_s / whole_s if self._conditioning else 0.0
        return min(1.0, (first_s + (self._cycle - 1 + self._share_done) * each_s) / whole_s)

    def _remaining_s(self) -> float:
        """From the pace so far once a cycle is done, from the plan before that [s]."""
        progress = self._progress()
        if self._started_s is None or self._cycle < 2:
            return self.expected_s * (1.0 - progress)
        return (self._now_s - self._started_s) * (1.0 - progress) / progress

    @property
    def expected_s(self) -> float:
        """All of it, where the air can follow [s]."""
        first_s = self.plan.expected_conditioning_s if self.planner is not None else 0.0
        return ZERO_S + 1.5 + first_s + self.cycles * self.plan.expected_cycle_s
