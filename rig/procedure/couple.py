"""Coupling stem and plug: the stem held where the connector must be made, travel and seat load proven.

Held lift: the actuator is stroked alone and the slack worked out; the stem is held so that the slack ends up
on the closed side. Top stop: the actuator is pressed on its own stop at the open side (by full air, or by its
spring where air closes) and the plug is lifted by the travel by hand. Short lift: in a hurry, without the
stroke alone, so that the seat load is not proven. In each hands go in under the guard's own mode, in which
nothing is corrected; then the air is let down slowly and the strokes that follow tell how the connector was
made, and name what went wrong.
"""

from collections.abc import Generator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from math import sqrt
from typing import Any

from rig.analysis.coupling import (
    LEAST_SLACK_M,
    ON_STOP_M,
    USUAL_SLACK_M,
    Alone,
    Connected,
    Proof,
    Rated,
    Verdict,
    Way,
    hold_height_m,
    judge_coupling,
    recommended,
)
from rig.analysis.result import Estimate
from rig.procedure.at_connector import STEADY_S, AtConnector
from rig.procedure.couple_words import CANNOT, NO, NOT_HOME, NOT_MADE, NOT_UNCOUPLED, CoupleWords
from rig.procedure.full_strokes import FullStrokes, Strokes
from rig.procedure.guided import BACK, Code, Large, Prompt, Step, Stop
from rig.procedure.hold import INCH, TOLERANCE_M, Hold, HoldPlan
from rig.procedure.quick_look import vented
from rig.procedure.ramp import PSI
from rig.procedure.watch import Window
from rig.profile.model import Action, Profile
from rig.units import Dimension
from safety.signals import Demand, Reading

PROOF_CYCLES = 3
DOWN_PA_PER_S, UP_PA_PER_S = 1.0 * PSI, 2.0 * PSI
SETTLED_M = 0.025 * INCH  # a soft seat gives way by less; assumption
OTHER_STROKE_M = INCH / 32  # a stroke this far from the profile's is said
PRESSED_PA = 3.0 * PSI  # above what reaches the own stop
SHORT_TOLERANCE_M = INCH / 64  # of a short lift
UNKNOWN_HALF_BAND_PA = 0.25 * PSI  # of an actuator that was not stroked alone; assumption
REST_S = 2.0
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
    way: Way
    strokes: FullStrokes | None
    remarks: tuple[str, ...] = ()

    @property
    def right(self) -> bool:
        return not self.why and self.proof is not None and self.proof.verdict is Verdict.RIGHT


@dataclass
class Couple(AtConnector):
    """`run` is the procedure for a valve that is uncoupled, by one `way`."""

    way: Way = field(default=Way.HELD_LIFT, kw_only=True)
    words: CoupleWords = field(init=False)

    def __post_init__(self) -> None:
        super().__post_init__()
        p = self.profile
        self.words = CoupleWords(self.units, p.action, self.way, self.missing)
        self.rated = Rated(p.action, p.rated_travel_m, p.travel_surplus_m, p.area_m2, p.needed_seat_load_n)
        self.alone: Alone | None = None
        self.alone_strokes: FullStrokes | None = None
        self.strokes: FullStrokes | None = None
        self.proof: Proof | None = None
        self.held_m: float | None = None
        self.held_pa: float | None = None  # demand, frozen
        self.mark_met: bool | None = None

    def run(self, start: str = "") -> Code[Coupling]:
        why = yield from self._to_the_end(start)
        return Coupling(
            self.proof,
            why,
            None if self.alone is None else self.alone.slack_m(self.profile.rated_travel_m),
            None if self.strokes is None else self.strokes.estimate("travel"),
            self.held_m,
            self.mark_met,
            self.way,
            self.strokes,
            tuple(self.remarks),
        )

    def kept(self) -> dict[str, Any]:
        return {
            "way": self.way.value,
            "alone": None if self.alone is None else asdict(self.alone),
            "rest": self.stroke.rest_m,
            "sense": self.stroke.sense,
            "held": self.held_m,
        }

    def take_up(self, kept: Mapping[str, Any]) -> None:
        """The actuator alone, where its stem rests, and the height at which the connector was made."""
        if kept["way"] != self.way.value:
            raise ValueError(f"was begun by {kept['way']}, not by {self.way.value}")
        if kept["alone"] is not None:
            told: dict[str, Any] = {
                name: value if value is None else Estimate(**value) for name, value in kept["alone"].items()
            }
            self.alone = Alone(**told)
        self.stroke.rest_m, self.stroke.sense = kept["rest"], int(kept["sense"])
        self.held_m = kept["held"]

    def steps(self) -> tuple[Step, ...]:
        home = "push the plug home"
        first = Step("stroke the actuator alone", self._stroke_alone)
        hold = Step("hold the stem", self._hold_stem, again_from=home)
        if self.way is Way.SHORT_LIFT:
            first = Step("find where the stem rests", self._find_rest)
        elif self.way is Way.TOP_STOP:
            hold = Step("hold the stem", self._go_to_stop, again_from=home)
        return (
            Step("make ready", self._ready),
            first,
            Step(home, self._plug_home, back_is_safe=True),
            hold,
            # Interrupted there it may be connected already: ask again, and take it apart where it is.
            Step("make the connector", self._connect, again_from="make ready"),
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

    @property
    def expected_stroke_m(self) -> float:
        """The actuator's own, measured where it was, else the profile's, else a usual one."""
        if self.alone is not None:
            return self.alone.stroke_m.value
        return self.profile.actuator_stroke_m or self.profile.rated_travel_m + USUAL_SLACK_M

    @property
    def lift_m(self) -> float:
        """How far the plug is to be off its seat when the connector is made."""
        return self.rated.aim_m if self.way is Way.TOP_STOP else 0.0

    def recommended(self) -> tuple[Way, str]:
        """The way that goes best on this stand, and why."""
        alone = self.alone_profile()
        return recommended(
            self.profile.action,
            self.sensors.position_resolution_m,
            TOLERANCE_M,
            alone.bench_upper_pa + PRESSED_PA,
            self.highest_pa,
        )

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
        stroke_m = seen.estimate("travel") or self._by_its_ends(seen)
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
        slack = self.expected_stroke_m - self.profile.rated_travel_m
        key = yield from self.prompt(self.words.plug_home(slack), self._pressure)
        if key == BACK:
            return BACK
        if key == NO:
            raise Stop(NOT_HOME)
        return None

    def _find_rest(self) -> Code[str | None]:
        """Vented and still: where the actuator alone rests."""
        self.stroke.rest_m, self.stroke.sense = None, 0
        if not (yield from self.machine(vented(self.stroke, "zero", proven_s=REST_S))):
            raise Stop(self.words.not_vented(self.stroke.pressure_pa))
        self.stroke.rest_m = yield from self.machine(self._mean_position())
        return None

    def _go_to_stop(self) -> Code[str | None]:
        """The stop at the open side: reached by air, or by the spring alone where air closes."""
        self._hold = None
        if self.closes_with_air:
            return None
        plan = self.hold_plan()
        spring = plan.lift_off_pa + self.slope_pa_per_m * self.expected_stroke_m
        top_pa = min(self.highest_pa, spring + plan.half_band_pa + PRESSED_PA)
        plan = replace(plan, target_m=self.expected_stroke_m, tolerance_m=ON_STOP_M)
        yield from self.machine(self._ramp(top_pa, UP_PA_PER_S, plan.stage))
        hold = Hold(self.stroke, plan, demand_pa=top_pa)
        yield from self.machine(self._watched(hold))
        if abs(hold.travel_m - plan.target_m) > plan.tolerance_m:
            raise Stop(self.words.not_on_stop(hold.travel_m, plan.target_m))
        self._hold = hold
        self.remember("height held [m]", hold.travel_m, self.words.held(hold.travel_m, 0.0))
        return None

    def _hold_stem(self) -> Code[str | None]:
        plan = self.hold_plan()
        self._hold = None
        hold = Hold(self.stroke, plan)
        held = yield from self.machine(hold.reach())
        if not held.reached:
            self._too_early()
            raise Stop(self.words.not_held(held.why))
        self._hold, self.held_pa = hold, held.pressure_pa
        hop = held.hop_m if held.hop_m > plan.tolerance_m else 0.0
        self.remember("height held [m]", held.travel_m, self.words.held(held.travel_m, hop))
        return None

    def _connect(self) -> Code[str | None]:
        """Hands in, connector, jam nuts, scale, hands out. What is not done here is tried from the hold."""
        hold = self._hold
        demand = Demand(0.0, 0.0, "the connector is made", vent=True) if hold is None else hold.demand
        large = self._place()
        if (yield from self.prompt(self.words.hands_in(demand, large), self._watch)) == NO:
            raise Stop(NOT_MADE)
        words = self.words
        inside = [
            words.connect(demand, large),
            words.lock_nuts(demand, large),
            words.shift_scale(demand, large),
        ]
        if self.way is Way.TOP_STOP:
            inside.insert(0, words.lift_plug(self.lift_m, demand, large))
        made = yield from self._with_hands_in(inside)
        if self.isolating_valve and hold is not None:
            yield from self.prompt(words.open_valve(demand, large), self._watch)
        if not made:
            return "hold the stem"
        self.held_m = self.stroke.travel_m if hold is None else hold.travel_m
        self.remember("height when connected [m]", self.held_m, self.words.connected(self.held_m))
        off = None if hold is None else hold.off()
        if off is not None:
            self._say(self.words.made_off_place(off))
        return None

    def _with_hands_in(self, prompts: Sequence[Prompt]) -> Code[bool]:
        """What is done with hands in, one after the other; False as soon as one cannot be done."""
        for prompt in prompts:
            if (yield from self.prompt(prompt, self._watch)) == CANNOT:
                return False
        return True

    def _let_down(self) -> Code[str | None]:
        """Slowly, then vented. An air-to-open stem that goes on falling had its plug off the seat."""
        hold, self._hold = self._hold, None
        before_m = self.stroke.travel_m
        if hold is not None:
            yield from self.machine(self._ramp(0.0, DOWN_PA_PER_S, "let the pressure down"))
        if not (yield from self.machine(vented(self.stroke, "let the pressure down"))):
            raise Stop(self.words.not_vented(self.stroke.pressure_pa))
        fell_m = before_m - self.stroke.travel_m - self.lift_m
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

    def _by_its_ends(self, seen: FullStrokes) -> Estimate | None:
        """The stroke of an actuator that lifts at hardly any pressure, by where it stood at both ends: its
        upper end was seen, its lower one only as the place where it rests."""
        if seen.estimate("full_travel") is None or not seen.tops or not seen.rests:
            return None
        self._say(self.words.weak_alone())
        doubt = sqrt(2.0 / 3.0) * self.sensors.position_accuracy_m
        return Estimate(seen.tops[0] - seen.rests[0], doubt)

    def hold_plan(self) -> HoldPlan:
        alone, area = self.alone, self.profile.area_m2
        half_band, spring = UNKNOWN_HALF_BAND_PA, self.alone_profile().bench_lower_pa
        if alone is not None and alone.friction_n is not None:
            half_band = alone.friction_n.value / area
        if alone is not None and alone.spring_only_pa is not None:
            spring = alone.spring_only_pa.value
        plan = HoldPlan(
            target_m=hold_height_m(self.profile.action, self.expected_stroke_m, self.rated.aim_m),
            gain_m_per_pa=1.0 / self.slope_pa_per_m,
            half_band_pa=half_band,
            lift_off_pa=spring + half_band,
            highest_pa=self.highest_pa,
        )
        return replace(plan, tolerance_m=SHORT_TOLERANCE_M) if self.way is Way.SHORT_LIFT else plan

    def _mean_position(self) -> Generator[Demand, Reading, float | None]:
        """Of the transmitter while vented [m]; None where it is not live."""
        place, began_s = Window(REST_S), self.now_s
        while self.now_s - began_s < REST_S:
            reading = yield Demand(0.0, 0.0, "zero", vent=True)
            self.stroke.see(reading)
            if reading.position.good:
                place.add(reading.position.time_s, reading.position.value)
        return place.mean if place.full else None

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

    def _place(self) -> Large:
        hold, name = self._hold, "actuator stem above its lower stop"
        if hold is None:
            return Large(name, Dimension.LENGTH, self.stroke.travel_m, 0.0, ON_STOP_M)
        return self._where(name, hold)

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


def _over(estimate: Estimate | None, area_m2: float) -> Estimate | None:
    if estimate is None:
        return None
    return Estimate(estimate.value / area_m2, estimate.standard_uncertainty / area_m2)
