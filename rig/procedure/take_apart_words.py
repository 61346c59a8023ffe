"""What taking apart says to a person."""

from rig.procedure.couple_words import (
    CANNOT,
    DONE,
    FROZEN,
    NO,
    NO_AIR,
    SPRING_CLOSES,
    VENTED,
    YES,
    CoupleWords,
    for_hands,
)
from rig.procedure.guided import Answer, Large, Prompt
from rig.procedure.quick_look import GONE_PA
from rig.units import Dimension
from safety.signals import Demand
from safety.state import PersonEvent

LOADED = (
    "THE CONNECTOR MAY CARRY THE WHOLE LOAD OF THE SPRING: undo nothing, loosen no bolt before you are "
    "asked to."
)
NOT_CONNECTED = "The valve is not connected: there is nothing to take apart, nothing was moved."
NOT_UNDONE = "The connector was not undone; the stand was made safe. It still carries the load of the spring."


class TakeApartWords(CoupleWords):
    """All texts with numbers, in the person's units."""

    def connected_now(self) -> Prompt:
        return Prompt(
            title="Make ready",
            text="Stem and plug connected, the process side open to the room, no pressure trapped in the "
            "valve? "
            "The plug is first lifted a little off its seat.",
            answers=(
                Answer(YES, "Connected, free of pressure, clear of the stem."),
                Answer(NO, "It is not connected."),
            ),
            hold=Demand(0.0, 0.0, "make ready", vent=True),
            large=Large("casing pressure", Dimension.PRESSURE, None, 0.0, GONE_PA),
            watch="Nothing may lie in the yoke.",
            caution=f"{LOADED} Hands out of the yoke before you press the key.",
            meanwhile="The vent stays open, the supply shut.",
        )

    def hands_in_to_undo(self, hold: Demand, large: Large) -> Prompt:
        return self._hands_go_in(
            "The plug is off its seat and the connector carries no load of spring or seat. Set the block or "
            "the stop, shut the isolating valve where there is one, prop the plug; then say that your "
            "hands go in.",
            hold,
            large,
        )

    def undo(self, hold: Demand, large: Large) -> Prompt:
        return Prompt(
            title="Undo the connector",
            text="Undo the jam nuts, then the bolts crosswise, and take both half blocks off. Take out "
            "tools.",
            answers=(
                Answer(
                    DONE,
                    "The connector is off; hands and tools are out.",
                    for_hands(hold, PersonEvent.HANDS_OUT),
                ),
                Answer(CANNOT, "It cannot be undone; hands are out.", for_hands(hold, PersonEvent.HANDS_OUT)),
            ),
            hold=hold,
            large=large,
            watch="If a bolt binds, stop: then the connector carries a load.",
            caution=NO_AIR if hold.vent else SPRING_CLOSES,
            meanwhile=VENTED if hold.vent else FROZEN,
            time_out_s=900.0,
            hands_in=True,
        )

    # -- remarks and reasons -------------------------------------------------------------------------

    def unloaded(self, height_m: float, off_pa: float) -> str:
        shown = self.units.text(Dimension.PRESSURE, abs(off_pa))
        return (
            f"The plug is {self.length(height_m)} off its seat, the air within {shown} of what spring and "
            "travel "
            "ask: no load is stored between stem and seat."
        )

    def still_loaded(self, height_m: float, off_pa: float) -> str:
        shown = self.units.text(Dimension.PRESSURE, abs(off_pa))
        return (
            f"The stem stands {self.length(height_m)} off its rest and the air is {shown} away from what "
            "spring "
            "and travel ask: the connector may carry a load. Nothing is undone; the stand was made safe."
        )

    def not_looked(self, why: str) -> str:
        return f"The short stroke could not be read: {why}. Nothing is undone."

    def dropped(self, by_m: float) -> str:
        return f"Undone, the actuator stem went down to its own stop, {self.length(by_m)} lower."

    def not_apart(self) -> str:
        return (
            "Undone, the actuator stem still rests where the seat held it: either no slack was left, or the "
            "connector still holds. Look before anything is touched."
        )
