"""What coupling says to a person: prompts, remarks, the named wrong results with cause and way back."""

from collections.abc import Sequence
from dataclasses import dataclass

from rig.analysis.coupling import Proof, Verdict, Way
from rig.analysis.result import Estimate
from rig.procedure.guided import Answer, Large, Prompt
from rig.procedure.quick_look import GONE_PA
from rig.profile.model import Action
from rig.units import Dimension, UnitSet
from safety.signals import Demand
from safety.state import PersonEvent

YES, NO = "y", "n"
HANDS, DONE, CANNOT = "h", "d", "n"

NOT_A_BLOCK = "Software is no mechanical block: your site's rules, lockout and licensed practice come first."
STORED = (
    "The connector may store the load of the spring. Nothing is undone here: where it is connected, take it "
    "apart by the procedure for that."
)
PINCH = "Pinch points: the stem moves next. Hands out of the yoke before you press the key."
SPRING_CLOSES = (
    "If the air is lost the spring moves the stem at once: fingers out of the gap between the stems, eye "
    "protection on."
)
NO_AIR = (
    "No air holds the stem: its spring presses it on its open stop. What is lifted falls when the prop "
    "slips: keep fingers out from under the plug."
)
FROZEN = "The output is frozen, nothing is corrected. Movement raises the alarm and vents nothing."
VENTED = "The vent stays open, the supply shut; nothing moves until you say that hands are out."
NOT_UNCOUPLED = "The valve is still connected: take it apart first, nothing was moved."
NOT_HOME = (
    "The plug does not go home on its seat: look for something in the seat or tight packing, mend that, then "
    "begin again."
)
NOT_MADE = "The connector was not made; the stand was made safe."
CAUSES = {
    Verdict.NOT_SEATED: "it runs past the closed mark; the plug was not on its seat when the connector "
    "was made",
    Verdict.SLACK_LEFT_IN: "closed, the stem rests on the actuator's own stop and the seat carries nothing. "
    "The connector was made before the stem was held, or with the plug hanging",
    Verdict.SHORT: "the connector was made with the stem too far on the open side, or the clamped blocks "
    "pushed the stems apart",
    Verdict.SLIPPED: "the connector let the stem slip between two strokes",
    Verdict.NUTS_LOOSE: "the stem turns out of the connector with every stroke: the jam nuts are not locked",
    Verdict.NOT_MADE: "the connector does not hold the plug stem: friction and stroke are the actuator's own",
    Verdict.TOO_EARLY: "the stem does not leave its rest at a pressure that moved it alone: it is clamped to "
    "the plug on its seat",
    Verdict.NOT_PROVEN: "the strokes after coupling could not be read",
}
WAYS_BACK = {
    Verdict.NOT_SEATED: "Take it apart, push the plug home on its seat, couple again.",
    Verdict.SLACK_LEFT_IN: "Take it apart, wait for the stem to be held before the connector is made, couple "
    "again.",
    Verdict.SHORT: "Take it apart; let the threads of the blocks find both stems without force, "
    "couple again.",
    Verdict.SLIPPED: "Take it apart, look at the threads of stems and blocks, tighten the bolts crosswise, "
    "couple again.",
    Verdict.NUTS_LOOSE: "Take it apart, set the stem again, then lock both jam nuts against each other.",
    Verdict.NOT_MADE: "Push the plug home and make the connector while the stem is held.",
    Verdict.TOO_EARLY: "Take the connector off with the casing vented, then let the stem be held first.",
    Verdict.NOT_PROVEN: "Look at air and transmitters, then prove it again.",
}


LIFTED = {Verdict.NOT_SEATED: "far", Verdict.SHORT: "little"}  # what else it means at the top stop
LIFT_AGAIN = "Take it apart, set the scale with the plug on its seat, lift and prop it again."


@dataclass(frozen=True, slots=True)
class CoupleWords:
    """All texts with numbers, in the person's units. `missing`: what the stand lacks against movement."""

    units: UnitSet
    action: Action
    way: Way = Way.HELD_LIFT
    missing: Sequence[str] = ()

    def length(self, m: float) -> str:
        return self.units.text(Dimension.LENGTH, m)

    def about(self, dimension: Dimension, found: Estimate) -> str:
        """'0.234 in ± 0.004 in', expanded for 95 %."""
        doubt = self.units.text(dimension, 2.0 * found.standard_uncertainty, digits=2)
        return f"{self.units.text(dimension, found.value)} ± {doubt}"

    def lacking(self, hold: Demand) -> str:
        """What the stand lacks against movement, where air holds the stem."""
        if hold.vent or not self.missing:
            return ""
        return f" This stand has {' and '.join(self.missing)} of its own: set one before your hands go in."

    # -- prompts -------------------------------------------------------------------------------------

    def ready(self) -> Prompt:
        return Prompt(
            title="Make ready",
            text="Valve and actuator uncoupled, the process side open to the room, the actuator stem free to "
            "run between its own stops? It is stroked alone first.",
            answers=(
                Answer(YES, "Uncoupled and clear of the stem; go on."),
                Answer(NO, "It is still connected."),
            ),
            hold=_vent("make ready"),
            large=_gone(),
            watch="Both stem ends must pass each other without touching.",
            caution=f"{STORED} Pressure trapped in the valve moves the plug. {PINCH}",
            meanwhile="The vent stays open, the supply shut.",
        )

    def plug_home(self, slack_m: float) -> Prompt:
        if self.way is Way.TOP_STOP:
            then = "Shift the travel scale so that its closed mark meets the pointer of the plug stem."
        else:
            then = f"The stem will then be held with {self.length(slack_m)} of slack on the closed side."
        return Prompt(
            title="Push the plug home",
            text="Push the plug stem home until the plug sits on its seat, and turn it a little to feel the "
            f"seat. {then} Leave the connector off.",
            answers=(
                Answer(DONE, "The plug is on its seat; hands out of the yoke."),
                Answer(NO, "It does not go home."),
            ),
            hold=_vent("the plug is pushed home"),
            large=_gone(),
            watch="The plug stem must not come up again when you let go.",
            caution=PINCH,
            meanwhile="The vent stays open, nothing moves. After your key the stem is brought to its place.",
        )

    def hands_in(self, hold: Demand, large: Large) -> Prompt:
        return self._hands_go_in(
            "The stem stands where the connector is to be made. Set the block or the stop, shut the "
            "isolating valve where there is one; then say that your hands go in.",
            hold,
            large,
        )

    def _hands_go_in(self, text: str, hold: Demand, large: Large) -> Prompt:
        return Prompt(
            title="Hands in the mechanism",
            text=text,
            answers=(
                Answer(HANDS, "Block set; my hands go in now.", for_hands(hold, PersonEvent.HANDS_IN)),
                Answer(NO, "Not now: let the stem down."),
            ),
            hold=hold,
            large=large,
            watch="The stem must stand still, the reading in its tolerance.",
            caution=f"{NO_AIR if hold.vent else SPRING_CLOSES} {NOT_A_BLOCK}{self.lacking(hold)}",
            meanwhile=VENTED if hold.vent else FROZEN,
        )

    def lift_plug(self, lift_m: float, hold: Demand, large: Large) -> Prompt:
        return self._inside(
            "Lift the plug",
            f"Lift the plug stem by {self.length(lift_m)} along the travel scale, and prop it there.",
            Answer(DONE, "The plug is lifted and propped."),
            hold,
            large,
            "Read the scale square on: the travel will be what you lift, and less than rated is "
            "not accepted.",
        )

    def connect(self, hold: Demand, large: Large) -> Prompt:
        return self._inside(
            "Make the connector",
            "Lay both half blocks over the stem ends so that their threads find both stems without force; "
            "bolts tight, crosswise.",
            Answer(DONE, "The connector is made and tight."),
            hold,
            large,
            "Do not pull the stems together with the bolts: turn the plug stem until the threads agree.",
        )

    def lock_nuts(self, hold: Demand, large: Large) -> Prompt:
        return self._inside(
            "Lock the jam nuts",
            "Run both jam nuts up under the connector with the pointer between, and lock them against each "
            "other.",
            Answer(DONE, "Jam nuts locked."),
            hold,
            large,
            "The plug stem must not turn with the nuts.",
        )

    def shift_scale(self, hold: Demand, large: Large) -> Prompt:
        mark, where = "closed", "the plug is on its seat now"
        if self.way is Way.TOP_STOP:
            mark, where = "full-travel", "the valve is wide open now"
        return self._inside(
            "Shift the travel scale",
            f"Loosen the travel scale, shift its {mark} mark to the pointer, tighten it. Take out prop, "
            "block and tools.",
            Answer(DONE, "Scale set; hands and tools are out.", for_hands(hold, PersonEvent.HANDS_OUT)),
            hold,
            large,
            f"The pointer meets the {mark} mark: {where}.",
        )

    def open_valve(self, hold: Demand, large: Large) -> Prompt:
        return Prompt(
            title="Open the isolating valve",
            text="Open the isolating valve at the casing, slowly.",
            answers=(Answer(DONE, "The isolating valve is open."),),
            hold=hold,
            large=large,
            watch="The stem must not move as it opens.",
            caution="Hands out of the yoke: the stem may move.",
            meanwhile="The supply is open again, the output as it was.",
        )

    def closed_mark(self, hold: Demand) -> Prompt:
        return Prompt(
            title="Look at the closed mark",
            text="The valve is closed. From outside the yoke: does the pointer meet the closed mark?",
            answers=(
                Answer(YES, "The pointer meets the closed mark."),
                Answer(NO, "It does not meet the mark."),
            ),
            hold=hold,
            watch="Look square on the scale.",
            caution="Hands out of the yoke.",
            meanwhile="Nothing moves until you press the key.",
        )

    def _inside(self, title: str, text: str, done: Answer, hold: Demand, large: Large, watch: str) -> Prompt:
        return Prompt(
            title=title,
            text=text,
            answers=(
                done,
                Answer(CANNOT, "It cannot be done; hands are out.", for_hands(hold, PersonEvent.HANDS_OUT)),
            ),
            hold=hold,
            large=large,
            watch=watch,
            caution=NO_AIR if hold.vent else SPRING_CLOSES,
            meanwhile=VENTED if hold.vent else FROZEN,
            time_out_s=900.0,
            hands_in=True,
        )

    # -- remarks -------------------------------------------------------------------------------------

    def alone(self, stroke_m: Estimate, slack_m: float) -> str:
        return (
            f"The actuator's own stroke is {self.about(Dimension.LENGTH, stroke_m)}: "
            f"{self.length(slack_m)} more than rated travel."
        )

    def weak_alone(self) -> str:
        return (
            "Alone, the actuator leaves its lower stop at hardly any pressure: its stroke is taken by "
            "where it "
            "stood at both ends. See that it rests on its stop without air; where it does not, its spring is "
            "loose there and the slack too large for it."
        )

    def other_stroke(self, measured_m: float, told_m: float) -> str:
        return (
            f"The profile says that the actuator's own stroke is {self.length(told_m)}, measured are "
            f"{self.length(measured_m)}: the measured one is used."
        )

    def little_slack(self, slack_m: float) -> str:
        return f"Only {self.length(slack_m)} of slack: a seat lapped a few times will use it up."

    def held(self, height_m: float, hop_m: float) -> str:
        hops = f"; it moves in hops of {self.length(hop_m)}" if hop_m else ""
        return f"The stem is held at {self.length(height_m)} above its lower stop{hops}."

    def connected(self, height_m: float) -> str:
        return f"Connected with the stem {self.length(height_m)} above its lower stop."

    def drifted(self, off_m: float) -> str:
        away = f"{self.length(abs(off_m))} {_side(off_m)} its place"
        return f"THE STEM HAS MOVED: {away}. Make nothing tight here."

    def made_off_place(self, off_m: float) -> str:
        return f"The connector was made with the stem {self.length(abs(off_m))} {_side(off_m)} its place."

    def settled(self, by_m: float) -> str:
        return (
            f"While the pressure was let down the stem came down by {self.length(by_m)}: the plug was not on "
            "its seat, or is not connected."
        )

    def mark_missed(self) -> str:
        return "The pointer does not meet the closed mark: shift the scale with the valve closed."

    def told(self, proof: Proof, travel_m: Estimate | None) -> str:
        """The findings in one paragraph."""
        parts = []
        if travel_m is not None:
            parts.append(f"Travel {self.about(Dimension.LENGTH, travel_m)}.")
        if proof.gap_m is None:
            parts.append("Seat load not proven: the actuator was not stroked alone before.")
        elif proof.seat_load_proven:
            parts.append(
                f"Closed, the actuator is {self.about(Dimension.LENGTH, proof.gap_m)} off its own stop: the "
                "load is on the seat."
            )
        else:
            parts.append("Closed, the actuator stands on its own stop: no load on the seat.")
        if proof.rise_pa is not None and proof.expected_rise_pa is not None:
            rise = self.about(Dimension.PRESSURE, proof.rise_pa)
            expected = self.about(Dimension.PRESSURE, proof.expected_rise_pa)
            parts.append(f"Coupling raised the pressure at closed by {rise}; rate times gap is {expected}.")
        if proof.packing_n is not None:
            parts.append(f"Packing friction {self.about(Dimension.FORCE, proof.packing_n)}.")
        if proof.seat_load_n is not None and proof.seat_load_proven and proof.verdict is Verdict.RIGHT:
            parts.append(f"Seat load {self.about(Dimension.FORCE, proof.seat_load_n)}.")
        return " ".join(parts)

    def wrong(self, verdict: Verdict) -> str:
        cause, back = CAUSES[verdict], WAYS_BACK[verdict]
        if self.way is Way.TOP_STOP and verdict in LIFTED:
            cause, back = f"the plug was lifted too {LIFTED[verdict]} along the scale", LIFT_AGAIN
        return f"{verdict.value.capitalize()}: {cause}. {back}"

    # -- reasons for ending --------------------------------------------------------------------------

    def no_slack(self, stroke_m: float, rated_m: float) -> str:
        return (
            f"The actuator's own stroke of {self.length(stroke_m)} leaves no slack on a rated travel of "
            f"{self.length(rated_m)}: coupled, either the travel would be short or the seat would carry "
            "nothing. Wrong actuator, a stop or a travel that is not this valve's."
        )

    def not_read(self, why: str) -> str:
        return f"The stroke of the actuator alone could not be read: {why}."

    def not_held(self, why: str) -> str:
        return f"The stem could not be held: {why}"

    def not_on_stop(self, height_m: float, stroke_m: float) -> str:
        return (
            f"At the highest pressure allowed the stem stands at {self.length(height_m)}, its upper stop "
            f"is at {self.length(stroke_m)}: choose another way."
        )

    def not_vented(self, pressure_pa: float) -> str:
        shown = self.units.text(Dimension.PRESSURE, pressure_pa)
        return f"The casing still shows {shown} after venting: is the vent clear, is the zero right?"


def _vent(stage: str) -> Demand:
    return Demand(0.0, 0.0, stage, vent=True)


def for_hands(hold: Demand, event: PersonEvent) -> PersonEvent | None:
    """The guard's mode for hands is for a stem that air holds; vented, nothing can be frozen."""
    return None if hold.vent else event


def _side(off_m: float) -> str:
    return "above" if off_m > 0.0 else "below"


def _gone() -> Large:
    return Large("casing pressure", Dimension.PRESSURE, None, 0.0, GONE_PA)
