"""Coupling stem and plug: the stem held where the connector must be made, travel and seat load proven.

The held lift. The actuator is stroked alone and the slack worked out; the stem is held so that the slack ends
up on the closed side; hands go in under the guard's own mode, in which nothing is corrected; then the air is
let down slowly and the strokes that follow tell how the connector was made, and name what went wrong.
"""

from collections.abc import Generator
from dataclasses import dataclass, field, replace

from rig.analysis.coupling import (
    LEAST_SLACK_M,
    USUAL_SLACK_M,
    Alone,
    Connected,
    Proof,
    Rated,
    Verdict,
    hold_height_m,
    judge_coupling,
)
from rig.analysis.result import Estimate
from rig.analysis.samples import Sensors
from rig.procedure.couple_words import CANNOT, NO, NOT_HOME, NOT_MADE, NOT_UNCOUPLED, CoupleWords
from rig.procedure.full_strokes import FullStrokes, Strokes
from rig.procedure.guided import BACK, Code, Guided, Large, Prompt, Step, Stop
from rig.procedure.hold import INCH, Hold, HoldPlan
from rig.procedure.quick_look import vented
from rig.procedure.ramp import PSI
from rig.procedure.watch import Stroke
from rig.profile.model import Action, Profile
from rig.units import UNIT_SETS, Dimension, UnitSet
from safety.signals import Demand, Reading

PROOF_CYCLES = 3
DOWN_PA_PER_S, UP_PA_PER_S = 1.0 * PSI, 2.0 * PSI
SETTLED_M = 0.025 * INCH  # a soft seat gives way by less; assumption
OTHER_STROKE_M = INCH / 32  # a stroke this far from the profile's is said
STEADY_S = 1.5
STAYS_SHARE = 0.03  # of rated travel


@dataclass(frozen=True, slots=True)
class Coupling:
    """What came of it. `why`: why it ended early; empty where it came to its proof."""

    proof: Proof | None
    why: str
    slack_m: float | None
    travel_m: Estimate | None
    held_m: float | None  # height at which the connector was made
    mark_met: bool | None
    strokes: FullStrokes | None
    remarks: tuple[str, ...] = ()

    @property
    def right(self) -> bool:
        return not self.why and self.proof is not None and self.proof.verdict is Verdict.RIGHT


@dataclass
class Couple(Guided):
    """`run` is the procedure for a valve that is uncoupled. `missing`: what the stand lacks, in words;
    `isolating_valve`: whether it has one at the casing, which is shut by hand."""

    stroke: Stroke = field(init=False)
    profile: Profile = field(kw_only=True)
    sensors: Sensors = field(kw_only=True)
    highest_pa: float = field(kw_only=True)
    units: UnitSet = field(default=UNIT_SETS["psi"], kw_only=True)
    missing: tuple[str, ...] = field(default=(), kw_only=True)
    isolating_valve: bool = field(default=False, kw_only=True)

    def __post_init__(self) -> None:
        p = self.profile
        self.stroke = Stroke(p.rated_travel_m)
        self.words = CoupleWords(self.units, p.action, self.missing)
        self.rated = Rated(p.action, p.rated_travel_m, p.travel_surplus_m, p.area_m2, p.needed_seat_load_n)
        self.alone: Alone | None = None
        self.alone_strokes: FullStrokes | None = None
        self.strokes: FullStrokes | None = None
        self.proof: Proof | None = None
        self.held_m: float | None = None
        self.mark_met: bool | None = None
        self.remarks: list[str] = []
        self._hold: Hold | None = None

    def run(self, start: str = "") -> Code[Coupling]:
        why = ""
        try:
            yield from self.walk(self.steps(), start)
        except Stop as stop:
            why = str(stop)
            self.remark(why)
        return Coupling(
            self.proof,
            why,
            None if self.alone is None else self.alone.slack_m(self.profile.rated_travel_m),
            None if self.strokes is None else self.strokes.estimate("travel"),
            self.held_m,
            self.mark_met,
            self.strokes,
            tuple(self.remarks),
        )

    def steps(self) -> tuple[Step, ...]:
        home = "push the plug home"
        return (
            Step("make ready", self._ready),
            Step("stroke the actuator alone", self._stroke_alone),
            Step(home, self._plug_home, back_is_safe=True),
            Step("hold the stem", self._hold_stem, again_from=home),
            Step("make the connector", self._connect, again_from=home),
            Step("let the pressure down", self._let_down, again_from="prove it"),
            Step("prove it", self._prove),
            Step("look at the mark", self._look_at_mark),
        )

    # -- what is known -------------------------------------------------------------------------------

    @property
    def slope_pa_per_m(self) -> float:
        """Rate over area, measured where it was, else the profile's."""
        measured = None if self.alone is None else self.alone.pa_per_m
        rated = self.profile.expected_rate_n_per_m / self.profile.area_m2
        return rated if measured is None else measured.value

    @property
    def closes_with_air(self) -> bool:
        return self.profile.action is Action.AIR_TO_CLOSE

    def alone_profile(self) -> Profile:
        """The profile of the actuator alone: its own stroke, its lower end without the slack's share."""
        p = self.profile
        stroke = p.actuator_stroke_m or p.rated_travel_m + USUAL_SLACK_M
        slope = (p.bench_upper_pa - p.bench_lower_pa) / p.rated_travel_m
        below = 0.0 if self.closes_with_air else slope * max(0.0, stroke - p.rated_travel_m)
        lower = max(0.5 * PSI, p.bench_lower_pa - below)
        return replace(p, rated_travel_m=stroke, bench_lower_pa=lower, bench_upper_pa=lower + slope * stroke)

    # -- steps ---------------------------------------------------------------------------------------

    def _ready(self) -> Code[str | None]:
        if (yield from self.prompt(self.words.ready(), self._pressure)) == NO:
            raise Stop(NOT_UNCOUPLED)
        return None

    def _stroke_alone(self) -> Code[str | None]:
        """One stroke of the actuator alone; ends the procedure where it leaves no slack."""
        self.stroke.rest_m = None
        strokes = Strokes(self.alone_profile(), self.sensors, self.stroke, self.highest_pa)
        seen = yield from self.machine(strokes.run())
        stroke_m = seen.estimate("travel")
        if stroke_m is None or self.stroke.rest_m is None:
            raise Stop(self.words.not_read(seen.why("travel") or "the stem position was not live at rest"))
        self.alone_strokes = seen
        self.alone = Alone(
            stroke_m,
            seen.estimate("spring_only_lower"),
            seen.estimate("friction"),
            _over(seen.estimate("spring_rate"), self.profile.area_m2),
        )
        self._tell_alone(stroke_m)
        return None

    def _plug_home(self) -> Code[str | None]:
        assert self.alone is not None, "the actuator was stroked before"
        slack = self.alone.slack_m(self.profile.rated_travel_m)
        key = yield from self.prompt(self.words.plug_home(slack), self._pressure)
        if key == BACK:
            return BACK
        if key == NO:
            raise Stop(NOT_HOME)
        return None

    def _hold_stem(self) -> Code[str | None]:
        plan = self._hold_plan()
        self._hold = None
        hold = Hold(self.stroke, plan)
        held = yield from self.machine(hold.reach())
        if not held.reached:
            self._too_early()
            raise Stop(self.words.not_held(held.why))
        self._hold = hold
        hop = held.hop_m if held.hop_m > plan.tolerance_m else 0.0
        self.remember("height held [m]", held.travel_m, self.words.held(held.travel_m, hop))
        return None

    def _connect(self) -> Code[str | None]:
        """Hands in, connector, jam nuts, scale, hands out. What is not done here is tried from the hold."""
        hold = self._hold
        assert hold is not None, "the stem is held"
        large = self._place(hold)
        if (yield from self.prompt(self.words.hands_in(hold.demand, large), self._watch)) == NO:
            raise Stop(NOT_MADE)
        for prompt in (self.words.connect, self.words.lock_nuts, self.words.shift_scale):
            if (yield from self.prompt(prompt(hold.demand, large), self._watch)) == CANNOT:
                return "hold the stem"
        if self.isolating_valve:
            yield from self.prompt(self.words.open_valve(hold.demand, large), self._watch)
        self.held_m = hold.travel_m
        self.remember("height when connected [m]", self.held_m, self.words.connected(self.held_m))
        off = hold.off()
        if off is not None:
            self._say(self.words.made_off_place(off))
        return None

    def _let_down(self) -> Code[str | None]:
        """Slowly, then vented. An air-to-open stem that goes on falling had its plug off the seat."""
        hold, self._hold = self._hold, None
        before_m = self.stroke.travel_m
        if hold is not None:
            yield from self.machine(self._ramp(0.0, DOWN_PA_PER_S, "let the pressure down"))
        if not (yield from self.machine(vented(self.stroke, "let the pressure down"))):
            raise Stop(self.words.not_vented(self.stroke.pressure_pa))
        fell_m = before_m - self.stroke.travel_m
        if hold is not None and not self.closes_with_air and fell_m > SETTLED_M:
            self._say(self.words.settled(fell_m))
        return None

    def _prove(self) -> Code[str | None]:
        strokes = Strokes(self.profile, self.sensors, self.stroke, self.highest_pa, cycles=PROOF_CYCLES)
        seen = yield from self.machine(strokes.run())
        self.strokes = seen
        travel = seen.estimate("travel")
        after = Connected(
            travel,
            seen.estimate("spring_only_lower"),
            seen.estimate("friction"),
            seen.estimate("seat_load"),
            seen.tops if self.closes_with_air else seen.rests,
        )
        self.proof = judge_coupling(self.rated, self.alone, after)
        self.remarks += [self.words.told(self.proof, travel)]
        self.remember("coupling", self.proof.verdict.value, self.words.told(self.proof, travel))
        if self.proof.verdict is not Verdict.RIGHT:
            raise Stop(self.words.wrong(self.proof.verdict))
        return None

    def _look_at_mark(self) -> Code[str | None]:
        hold = Demand(0.0, 0.0, "look at the closed mark", vent=True)
        if self.closes_with_air:
            top_pa = min(self.highest_pa, self.profile.bench_upper_pa + 2.0 * PSI)
            yield from self.machine(self._ramp(top_pa, UP_PA_PER_S, "close it"))
            hold = Demand(top_pa, UP_PA_PER_S, "look at the closed mark")
        key = yield from self.prompt(self.words.closed_mark(hold))
        self.mark_met = key != NO
        if not self.mark_met:
            self._say(self.words.mark_missed())
        if self.closes_with_air:
            yield from self.machine(self._ramp(0.0, UP_PA_PER_S, "let the pressure down"))
            yield from self.machine(vented(self.stroke, "let the pressure down"))
        return None

    # -- parts of steps ------------------------------------------------------------------------------

    def _too_early(self) -> None:
        """A stem that moved alone and now stays at rest is held by what it is clamped to. Raises Stop."""
        if self.stroke.share < STAYS_SHARE:
            self.proof = Proof(Verdict.TOO_EARLY)
            raise Stop(self.words.wrong(Verdict.TOO_EARLY))

    def _hold_plan(self) -> HoldPlan:
        alone, area = self.alone, self.profile.area_m2
        assert alone is not None, "the actuator was stroked before"
        half_band = 0.0 if alone.friction_n is None else alone.friction_n.value / area
        lower = self.alone_profile().bench_lower_pa
        spring = lower if alone.spring_only_pa is None else alone.spring_only_pa.value
        return HoldPlan(
            target_m=hold_height_m(self.profile.action, alone.stroke_m.value, self.rated.aim_m),
            gain_m_per_pa=1.0 / self.slope_pa_per_m,
            half_band_pa=half_band,
            lift_off_pa=spring + half_band,
            highest_pa=self.highest_pa,
        )

    def _ramp(self, pressure_pa: float, rate: float, stage: str) -> Generator[Demand, Reading, None]:
        """Ask for a pressure until casing and stem have come to rest there."""
        demand, began_s = Demand(pressure_pa, rate, stage), None
        way_s = abs(pressure_pa - self.stroke.pressure_pa) / rate
        while True:
            reading = yield demand
            self.stroke.see(reading)
            began_s = reading.time_s if began_s is None else began_s
            waited_s = reading.time_s - began_s
            still = self.stroke.stem_steady and self.stroke.pressure.steady(0.05 * PSI)
            if waited_s > way_s + STEADY_S and (still or waited_s > way_s + 20.0):
                return

    def _place(self, hold: Hold) -> Large:
        return Large(
            "actuator stem above its stop",
            Dimension.LENGTH,
            hold.travel_m,
            hold.plan.target_m,
            hold.plan.tolerance_m,
        )

    def _watch(self, prompt: Prompt) -> Prompt:
        """The place renewed; what has moved is said, and never corrected with hands in."""
        hold = self._hold
        assert hold is not None, "the stem is held"
        off = hold.off()
        caution = prompt.caution if off is None else f"{self.words.drifted(off)} {prompt.caution}"
        return replace(prompt, large=self._place(hold), caution=caution)

    def _pressure(self, prompt: Prompt) -> Prompt:
        large = prompt.large
        return replace(prompt, large=None if large is None else replace(large, value=self.stroke.pressure_pa))

    def see(self, reading: Reading) -> None:
        super().see(reading)
        if self._hold is not None:
            self._hold.see(reading)

    # -- telling -------------------------------------------------------------------------------------

    def _tell_alone(self, stroke_m: Estimate) -> None:
        p, told = self.profile, self.profile.actuator_stroke_m
        slack = stroke_m.value - p.rated_travel_m
        self.remember("actuator stroke [m]", stroke_m.value, self.words.alone(stroke_m, slack))
        if told is not None and abs(told - stroke_m.value) > OTHER_STROKE_M:
            self._say(self.words.other_stroke(stroke_m.value, told))
        if slack <= 0.5 * p.travel_surplus_m + 2.0 * stroke_m.standard_uncertainty:
            raise Stop(self.words.no_slack(stroke_m.value, p.rated_travel_m))
        if slack < LEAST_SLACK_M:
            self._say(self.words.little_slack(slack))

    def _say(self, text: str) -> None:
        self.remarks.append(text)
        self.remark(text)


def _over(estimate: Estimate | None, area_m2: float) -> Estimate | None:
    if estimate is None:
        return None
    return Estimate(estimate.value / area_m2, estimate.standard_uncertainty / area_m2)
