"""Setting the spring on the valve: quick look, advice in turns, vented and proven, look again, until it fits.

Only the lower end can be set; the span belongs to the spring. The procedure learns from every turn what a
turn really does, asks for none past the spring's limits, and ends with the reason where turning is no cure.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from math import hypot
from typing import Any

from rig.analysis.adjuster import (
    EIGHTH,
    PerTurn,
    Turned,
    advised_turns,
    expected_per_turn,
    is_strange,
    learned_per_turn,
    responded,
)
from rig.analysis.budget import RECTANGULAR
from rig.analysis.result import Estimate
from rig.analysis.samples import Sensors
from rig.analysis.short_stroke import ShortStroke
from rig.procedure.guided import END, Code, Guided, Prompt, Step, Stop
from rig.procedure.quick_look import GONE_PA, QuickLook, vented
from rig.procedure.ramp import PSI
from rig.procedure.spring_words import DONE, LOOSE, NOT_ARRIVING, NOT_DONE, NOT_TURNED, OTHER_WAY, Words
from rig.procedure.watch import Stroke
from rig.profile.model import Basis, Profile
from rig.units import UNIT_SETS, UnitSet

ROUNDS = 4
SURE = 1.645  # standard uncertainties kept inside the tolerance where turning can still better it
SLACK_SPRING_PA = 0.5 * PSI  # the spring must stay captive: never set below this; assumption
PROVEN_S = 2.0


@dataclass(frozen=True, slots=True)
class Look:
    """One look in the sequence: `turns` were asked before it (0 for the first)."""

    turns: float
    judged: Estimate  # the pressure the profile judges: lift-off, or spring only [Pa]
    stroke: ShortStroke


def _look_of(told: Mapping[str, Any]) -> Look:
    stroke: dict[str, Any] = {
        name: Estimate(**value) if isinstance(value, dict) else value
        for name, value in told["stroke"].items()
    }
    return Look(float(told["turns"]), Estimate(**told["judged"]), ShortStroke(**stroke))


@dataclass(frozen=True, slots=True)
class SpringSetting:
    """What came of it: the sequence from as-found to as-left, and why it ended where not within tolerance."""

    within: bool
    why: str
    target_pa: float
    looks: tuple[Look, ...]
    per_turn: PerTurn | None
    remarks: tuple[str, ...] = ()

    @property
    def adjustments(self) -> int:
        return sum(look.turns != 0.0 for look in self.looks)

    @property
    def as_found(self) -> Look | None:
        return self.looks[0] if self.looks else None

    @property
    def as_left(self) -> Look | None:
        return self.looks[-1] if self.looks else None


@dataclass
class SetSpring(Guided):
    """`run` is the procedure. `turns_left`: what the adjuster still has (out, in), where it is known."""

    stroke: Stroke = field(init=False)
    profile: Profile = field(kw_only=True)
    sensors: Sensors = field(kw_only=True)
    highest_pa: float = field(kw_only=True)
    units: UnitSet = field(default=UNIT_SETS["psi"], kw_only=True)
    rounds: int = field(default=ROUNDS, kw_only=True)
    turns_left: tuple[float, float] | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        self.stroke = Stroke(self.profile.rated_travel_m)
        self.looks: list[Look] = []
        self.remarks: list[str] = []
        self.words = Words(self.units)
        self._turns = 0.0  # asked and not yet looked at
        self._asking = 0.0
        self._done = False
        self._resistant = 0  # looks in a row without a response

    def run(self, start: str = "") -> Code[SpringSetting]:
        why = ""
        try:
            yield from self.walk(self.steps(), start)
        except Stop as stop:
            why = str(stop)
            self.remark(why)
        return SpringSetting(
            self._done and not why, why, self.target_pa, tuple(self.looks), self.per_turn, tuple(self.remarks)
        )

    def kept(self) -> dict[str, Any]:
        return {"looks": [asdict(look) for look in self.looks], "turns": self._turns}

    def take_up(self, kept: Mapping[str, Any]) -> None:
        """The looks so far and the turns that were made and not yet looked at."""
        self.looks = [_look_of(told) for told in kept["looks"]]
        self._turns = float(kept["turns"])

    def steps(self) -> tuple[Step, ...]:
        again = "look"
        return (
            Step("look", self._look),
            Step("prove the air is gone", self._prove_vented, again_from=again),
            Step("turn the adjuster", self._turn, back_is_safe=True, again_from=again),
        )

    # -- what is wanted ------------------------------------------------------------------------------

    @property
    def target_pa(self) -> float:
        return self.profile.bench_lower_pa

    @property
    def asked_turns(self) -> float:
        """Turns that the open prompt asks for (in: positive)."""
        return self._asking

    @property
    def off_pa(self) -> float:
        """How much too high the lower end is, as the profile judges it [Pa]."""
        return self.looks[-1].judged.value - self.target_pa

    @property
    def expected(self) -> PerTurn | None:
        """What a turn should do by the thread in the profile (a usual one where it names none) and the
        slope first measured."""
        slope = self.looks[0].stroke.pa_per_m if self.looks else None
        return None if slope is None else expected_per_turn(slope.value, self.profile.adjuster_pitch_m)

    @property
    def per_turn(self) -> PerTurn | None:
        return learned_per_turn(self._turned(), self.expected)

    @property
    def _untried(self) -> bool:
        """Nothing is known yet of what a turn does on this valve."""
        known = self.per_turn
        return known is None or (self.profile.adjuster_pitch_m is None and not known.learned)

    def _turned(self) -> list[Turned]:
        pairs = zip(self.looks[:-1], self.looks[1:], strict=True)
        return [Turned(b.turns, a.judged.value, b.judged.value) for a, b in pairs if b.turns != 0.0]

    # -- steps ---------------------------------------------------------------------------------------

    def _look(self) -> Code[str | None]:
        """One short stroke; ends the procedure when the lower end is within tolerance."""
        expected_pa = self._next_lift_pa()
        look = QuickLook(self.profile, self.stroke, self.sensors, self.highest_pa, expected_pa)
        seen = yield from self.machine(look.run())
        if seen.why:
            raise Stop(f"The quick look could not be read: {seen.why}.")
        judged = seen.lift_off_pa if self.profile.basis is Basis.FRICTION_INCLUDED else seen.spring_only_pa
        assert judged is not None, "a look that can be read has both corners"
        self.looks.append(Look(self._turns, self._with_accuracy(judged), seen))
        self._turns = 0.0
        self._tell_look()
        self._learn()
        self._no_cure()
        if self._fits():
            self._done = True
            return END
        if self._resistant >= 2:
            raise Stop(NOT_ARRIVING)
        if len(self.looks) > self.rounds:
            raise Stop(self.words.out_of_rounds(self.rounds, self.off_pa))
        return None

    def _prove_vented(self) -> Code[str | None]:
        gone = yield from self.machine(vented(self.stroke, "prove the air is gone", proven_s=PROVEN_S))
        if not gone:
            raise Stop(self.words.not_vented(self.stroke.pressure_pa))
        return None

    def _turn(self) -> Code[str | None]:
        turns = self._advice()
        per_turn, now_pa = self.per_turn, self.looks[-1].judged.value
        will_pa = None if per_turn is None or self._untried else now_pa + turns * per_turn.value
        prompt, self._asking = self.words.turn(turns, now_pa, self.target_pa, will_pa), turns
        key = yield from self.prompt(prompt, self._watch_pressure)
        if key == DONE:
            self._turns = turns
        elif key == NOT_DONE:
            raise Stop(NOT_TURNED)
        return "look"

    # -- judging -------------------------------------------------------------------------------------

    def _fits(self) -> bool:
        """Within tolerance, and surely so unless an eighth of a turn is too coarse to better it."""
        tolerance, off = self.profile.lower_tolerance, self.off_pa
        sure = SURE * self.looks[-1].judged.standard_uncertainty
        if -tolerance.minus + sure <= off <= tolerance.plus - sure:
            return True
        if not -tolerance.minus <= off <= tolerance.plus:
            return False
        per_turn = self.per_turn
        return per_turn is not None and advised_turns(off, per_turn, self.expected) == 0.0

    def _learn(self) -> None:
        """Compare what the last turn did with what it should have done."""
        done = self._turned()
        if not done or self.looks[-1].turns == 0.0:
            return
        last, expected = done[-1], self.expected
        if not responded(last, expected) or (expected is None and abs(last.change_pa) < 3.0 * self._doubt()):
            self._resistant += 1
            self._say(self.words.no_response(last.turns, last.change_pa))
            return
        self._resistant = 0
        did_pa = last.change_pa / last.turns
        if expected is None or self.profile.adjuster_pitch_m is None:
            self._say(self.words.learned(did_pa))
        if expected is None:
            return
        if did_pa < 0.0:
            self._say(OTHER_WAY)
        elif self.profile.adjuster_pitch_m is not None and is_strange(last, expected):
            self._say(self.words.strange(did_pa, expected.value, self.profile.adjuster_pitch_m))

    def _no_cure(self) -> None:
        """Ends the procedure where the lower end is not what is wrong. Raises Stop."""
        seen, profile = self.looks[-1].stroke, self.profile
        slope = seen.pa_per_m
        if slope is None:
            return
        span, rated = slope.value * profile.rated_travel_m, profile.bench_upper_pa - profile.bench_lower_pa
        allowed = max(profile.upper_tolerance.plus, profile.upper_tolerance.minus)
        allowed += max(profile.lower_tolerance.plus, profile.lower_tolerance.minus)
        doubt = 3.0 * slope.standard_uncertainty * profile.rated_travel_m
        if abs(span - rated) > allowed + doubt:
            raise Stop(self.words.wrong_span(span, rated))
        self._too_much_friction(seen)

    def _too_much_friction(self, seen: ShortStroke) -> None:
        """Friction is too high when the set valve could not reseat, or not with the load it needs."""
        profile, band_pa = self.profile, 2.0 * seen.half_band_pa
        included = profile.basis is Basis.FRICTION_INCLUDED
        reseat = self.target_pa - (band_pa if included else 0.5 * band_pa)
        if reseat <= 0.0:
            raise Stop(self.words.would_not_return(band_pa, self.target_pa))
        needed = profile.needed_seat_load_n
        if profile.action == "air-to-open" and needed is not None and profile.area_m2 * reseat < needed:
            raise Stop(self.words.no_seat_load(band_pa, profile.area_m2 * reseat, needed))

    def _advice(self) -> float:
        """Turns to ask for now (in: positive). Raises Stop where they would pass the spring's limits."""
        per_turn, expected, off = self.per_turn, self.expected, self.off_pa
        if per_turn is None or self._untried:
            turns = -1.0 if off > 0.0 else 1.0  # thread not known: one turn the right way, and learn
        else:
            turns = advised_turns(off, per_turn, expected)
        if turns == 0.0:
            assert per_turn is not None, "a turn of nothing follows from a known thread"
            turns = -EIGHTH if (off > 0.0) == (per_turn.value > 0.0) else EIGHTH
        if per_turn is not None and not per_turn.learned:
            turns = self._careful(turns, per_turn)
        self._limits(turns, per_turn)
        return turns

    def _careful(self, turns: float, per_turn: PerTurn) -> float:
        """Fewer turns where twice their effect (a wrong thread) would leave the spring loose."""
        spring_only = self.looks[-1].stroke.spring_only_pa
        change = turns * per_turn.value
        if spring_only is None or change >= 0.0:
            return turns
        room = spring_only.value - SLACK_SPRING_PA - 1.0 * PSI
        share = min(1.0, 0.5 * room / -change) if room > 0.0 else 0.5
        least = EIGHTH if turns > 0.0 else -EIGHTH
        return round(share * turns / EIGHTH) * EIGHTH or least

    def _limits(self, turns: float, per_turn: PerTurn | None) -> None:
        spring_only = self.looks[-1].stroke.spring_only_pa
        change = 0.0 if per_turn is None else turns * per_turn.value
        asked = sum(look.turns for look in self.looks) + turns
        if self.turns_left is not None and not -self.turns_left[0] <= asked <= self.turns_left[1]:
            raise Stop(self.words.past_the_end(turns))
        if spring_only is None:
            return
        lower = spring_only.value + change
        slope = self.looks[-1].stroke.pa_per_m
        upper = lower + (0.0 if slope is None else slope.value * self.profile.rated_travel_m)
        if lower < SLACK_SPRING_PA:
            raise Stop(LOOSE)
        if upper > self.profile.casing_maximum_pa:
            raise Stop(self.words.above_casing(upper, self.profile.casing_maximum_pa))

    # -- telling -------------------------------------------------------------------------------------

    def _watch_pressure(self, prompt: Prompt) -> Prompt:
        """Pressure that comes back while the wrench is on is said at once."""
        pressure = self.stroke.pressure_pa
        large = replace(prompt.large, value=pressure) if prompt.large is not None else None
        if pressure <= 2.0 * GONE_PA:
            return replace(prompt, large=large)
        caution = f"PRESSURE IN THE CASING. Wrench off, step back. {prompt.caution}"
        return replace(prompt, large=large, caution=caution)

    def _tell_look(self) -> None:
        look, number = self.looks[-1], len(self.looks) - 1
        name = "as found" if number == 0 else f"after adjustment {number}"
        text = self.words.looked(name, look.judged.value, self.off_pa)
        self.remember(f"lower end {name} [Pa]", look.judged.value, text)

    def _say(self, text: str) -> None:
        self.remarks.append(text)
        self.remark(text)

    def _next_lift_pa(self) -> float:
        """Where the next look should find lift-off, rather too low than too high [Pa]."""
        lift = self.looks[-1].stroke.lift_off_pa if self.looks else None
        if lift is None:
            return self.target_pa
        per_turn = self.per_turn
        change = 0.0 if per_turn is None else self._turns * per_turn.value
        return max(0.0, lift.value + min(change, 0.0))

    def _doubt(self) -> float:
        """Of a change: the transmitter's error is the same before and after."""
        seen = [look.stroke.lift_off_pa for look in self.looks[-2:]]
        return max(lift.standard_uncertainty for lift in seen if lift is not None)

    def _with_accuracy(self, judged: Estimate) -> Estimate:
        """With the transmitter's error in it, as the check that follows will reckon."""
        accuracy = self.sensors.pressure_accuracy_pa * RECTANGULAR
        return replace(judged, standard_uncertainty=hypot(judged.standard_uncertainty, accuracy))
