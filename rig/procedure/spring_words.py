"""What the setting of the spring says to a person: prompts, remarks and the reasons for ending it."""

from dataclasses import dataclass

from rig.analysis.adjuster import turns_text
from rig.procedure.guided import Answer, Large, Prompt
from rig.procedure.quick_look import GONE_PA
from rig.units import Dimension, UnitSet
from safety.signals import Demand

DONE, NOT_DONE = "d", "n"
CAUTION = (
    "The spring is loaded: never take the adjuster out, never go beyond its marks. The casing is vented; "
    "look at its gauge before the wrench goes on. Hands out of the yoke before you press the key."
)
NOT_TURNED = "The adjuster could not be turned: free it, then begin again with a look."
NOT_ARRIVING = (
    "Turns of the adjuster do not arrive at the spring, twice in a row: is it seized, at its end, or turning "
    "the spring along? Free or change it; the spring stands as it was last looked at."
)
LOOSE = "The wanted lower end would leave the spring loose: not asked for. Is the profile right?"
OTHER_WAY = "Turning in lowers lift-off on this actuator: the adjuster works the other way round."


def way(turns: float) -> str:
    return "IN (tighten)" if turns > 0.0 else "OUT (loosen)"


@dataclass(frozen=True, slots=True)
class Words:
    """All texts with numbers, in the person's units."""

    units: UnitSet

    def pressure(self, pa: float) -> str:
        return self.units.text(Dimension.PRESSURE, pa)

    def signed(self, pa: float) -> str:
        return f"{'+' if pa > 0.0 else ''}{self.pressure(pa)}"

    def force(self, newton: float) -> str:
        return self.units.text(Dimension.FORCE, newton)

    # -- the prompt ----------------------------------------------------------------------------------

    def turn(self, turns: float, now_pa: float, target_pa: float, will_pa: float | None) -> Prompt:
        """`will_pa`: where it should lift then; None where thread or rate are not known."""
        if will_pa is None:
            then = "Thread or rate are not known: the next look learns what a turn does."
        else:
            then = f"It should then lift at about {self.pressure(will_pa)}."
        asked = f"Turn the adjuster {turns_text(turns)} {way(turns)}"
        is_at = f"The lower end is at {self.pressure(now_pa)}, wanted {self.pressure(target_pa)}."
        return Prompt(
            title=asked,
            text=f"{asked}, ± 1/8. {is_at} {then}",
            answers=(
                Answer(DONE, "Turned as asked; wrench off, hands clear."),
                Answer(NOT_DONE, "It cannot be turned."),
            ),
            hold=Demand(0.0, 0.0, "the adjuster is being turned", vent=True),
            large=Large("casing pressure", Dimension.PRESSURE, None, 0.0, GONE_PA),
            watch="Count the turns by a mark on the adjuster.",
            caution=CAUTION,
            meanwhile="The vent stays open, the supply shut; nothing moves until you press the key.",
        )

    # -- remarks -------------------------------------------------------------------------------------

    def looked(self, name: str, judged_pa: float, off_pa: float) -> str:
        return f"Lower end {name}: {self.pressure(judged_pa)} ({self.signed(off_pa)} off)."

    def no_response(self, turns: float, change_pa: float) -> str:
        moved = f"{turns_text(turns)} {way(turns)} moved lift-off by only {self.pressure(change_pa)}"
        return f"{moved}: the turns do not arrive at the spring."

    def learned(self, per_turn_pa: float) -> str:
        return f"One turn moves lift-off by {self.pressure(per_turn_pa)}."

    def strange(self, did_pa: float, should_pa: float, pitch_m: float) -> str:
        looks_like = abs(pitch_m * did_pa / should_pa)
        return (
            f"A turn did {self.pressure(did_pa)}; by the profile's thread it should do "
            f"{self.pressure(should_pa)}. The pitch looks like {looks_like * 1e3:.2f} mm, not "
            f"{pitch_m * 1e3:.2f} mm, or not all of the turns arrived."
        )

    # -- reasons for ending --------------------------------------------------------------------------

    def not_vented(self, pressure_pa: float) -> str:
        return (
            f"The casing still shows {self.pressure(pressure_pa)} after venting: no wrench goes on. Is the "
            "vent clear, is the zero of the transmitter right?"
        )

    def wrong_span(self, span_pa: float, rated_pa: float) -> str:
        return (
            f"The spring spans {self.pressure(span_pa)} over rated travel, rated are "
            f"{self.pressure(rated_pa)}: wrong spring, wrong travel or wrong area. Turning moves both ends "
            "alike and cannot mend it."
        )

    def would_not_return(self, band_pa: float, target_pa: float) -> str:
        return (
            f"The friction band of {self.pressure(band_pa)} is wider than the lower end: set to "
            f"{self.pressure(target_pa)} the stem would not come back. Mend the friction first."
        )

    def no_seat_load(self, band_pa: float, left_n: float, needed_n: float) -> str:
        return (
            f"With a friction band of {self.pressure(band_pa)} the rated lower end leaves "
            f"{self.force(left_n)} on the seat, {self.force(needed_n)} are needed: turning to the rated end "
            "does not give the seat load. Mend the friction, or choose another range."
        )

    def past_the_end(self, turns: float) -> str:
        return (
            f"{turns_text(turns)} {way(turns)} would pass the end of the adjuster: the wanted lower end is "
            "out of its reach. Another spring or another range is needed."
        )

    def above_casing(self, upper_pa: float, casing_pa: float) -> str:
        return (
            f"Set there, full travel would need {self.pressure(upper_pa)}, more than the casing may have "
            f"({self.pressure(casing_pa)}): not asked for."
        )

    def out_of_rounds(self, rounds: int, off_pa: float) -> str:
        return (
            f"After {rounds} adjustments the lower end is {self.signed(off_pa)} off: the turns do not do "
            "what they should. Look at adjuster and spring seat."
        )
