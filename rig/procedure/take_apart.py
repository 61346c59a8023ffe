"""Taking stem and plug apart: the plug lifted off its seat first, no load in the connector, then undone.

Undone while the spring presses the plug on its seat, the connector would come apart under the whole preload.
Where air closes, the vented valve stands open on the actuator's own stop, and the connector carries no more
than the plug's weight: there nothing is held by air.
"""

from collections.abc import Generator
from dataclasses import dataclass, field

from rig.analysis.coupling import ON_STOP_M
from rig.analysis.short_stroke import ShortStroke
from rig.procedure.at_connector import STEADY_S, AtConnector
from rig.procedure.couple_words import CANNOT, NO
from rig.procedure.guided import Code, Large, Step, Stop
from rig.procedure.hold import INCH, Hold, HoldPlan
from rig.procedure.quick_look import QuickLook, vented
from rig.procedure.ramp import PSI
from rig.procedure.take_apart_words import NOT_CONNECTED, NOT_UNDONE, TakeApartWords
from rig.profile.model import Action
from rig.units import Dimension
from safety.signals import Demand, Reading

LIFT_M = INCH / 16  # off the seat; common practice says "a little", no source
LEAST_LIFT_SHARE = 0.6  # of it, that must be seen
TOLERANCE_M = 0.015 * INCH  # the place does not matter, standing still does
BALANCE_PA = 0.4 * PSI  # beyond the half band: what the short stroke leaves open; assumption
DOWN_PA_PER_S = 1.0 * PSI
PROVEN_S = 2.0


@dataclass(frozen=True, slots=True)
class Apart:
    """What came of it. `why`: why nothing was undone; `dropped_m`: below the seat's place, once undone."""

    undone: bool
    why: str
    lifted_m: float | None
    dropped_m: float | None
    remarks: tuple[str, ...] = ()


@dataclass
class TakeApart(AtConnector):
    """`run` is the procedure for a valve that is connected."""

    words: TakeApartWords = field(init=False)

    def __post_init__(self) -> None:
        super().__post_init__()
        self.words = TakeApartWords(self.units, self.profile.action, missing=self.missing)
        self.look: ShortStroke | None = None
        self.lifted_m: float | None = None
        self.dropped_m: float | None = None
        self.undone = False

    def run(self, start: str = "") -> Code[Apart]:
        why = yield from self._to_the_end(start)
        return Apart(self.undone, why, self.lifted_m, self.dropped_m, tuple(self.remarks))

    def steps(self) -> tuple[Step, ...]:
        first = "prove the air is gone" if self.opens_without_air else "look"
        lift = (
            Step("look", self._look),
            Step("lift the plug off its seat", self._lift, again_from=first),
            Step("see that no load is stored", self._unloaded, again_from=first),
        )
        open_without_air = (Step("prove the air is gone", self._prove_vented),)
        return (
            Step("make ready", self._ready),
            *(open_without_air if self.opens_without_air else lift),
            Step("undo the connector", self._undo, again_from=first),
            Step("let the pressure down", self._let_down),
        )

    @property
    def opens_without_air(self) -> bool:
        return self.profile.action is Action.AIR_TO_CLOSE

    # -- steps ---------------------------------------------------------------------------------------

    def _ready(self) -> Code[str | None]:
        if (yield from self.prompt(self.words.connected_now(), self._pressure)) == NO:
            raise Stop(NOT_CONNECTED)
        return None

    def _look(self) -> Code[str | None]:
        """One short stroke: where the plug lifts, its friction, how the stem answers the air."""
        look = QuickLook(
            self.profile, self.stroke, self.sensors, self.highest_pa, self.profile.bench_lower_pa
        )
        seen = yield from self.machine(look.run())
        if seen.why or seen.gain_m_per_pa == 0.0:
            raise Stop(self.words.not_looked(seen.why or "the stem did not slide"))
        self.look = seen
        return None

    def _prove_vented(self) -> Code[str | None]:
        if not (yield from self.machine(vented(self.stroke, "prove the air is gone", proven_s=PROVEN_S))):
            raise Stop(self.words.not_vented(self.stroke.pressure_pa))
        return None

    def _lift(self) -> Code[str | None]:
        seen = self.look
        assert seen is not None, "looked before"
        assert seen.lift_off_pa is not None, "a look that can be read has it"
        hold = Hold(
            self.stroke,
            HoldPlan(
                target_m=LIFT_M,
                gain_m_per_pa=seen.gain_m_per_pa,
                half_band_pa=seen.half_band_pa,
                lift_off_pa=seen.lift_off_pa.value,
                highest_pa=self.highest_pa,
                hop_m=seen.hop_m,
                tolerance_m=TOLERANCE_M,
                stage="plug off its seat",
            ),
        )
        held = yield from self.machine(hold.reach())
        if not held.reached:
            raise Stop(self.words.not_held(held.why))
        self._hold = hold
        return None

    def _unloaded(self) -> Code[str | None]:
        """Off the seat, and the air in balance with the spring at that travel: nothing else carries."""
        hold, seen = self._hold, self.look
        assert hold is not None, "lifted before"
        assert seen is not None, "looked before"
        assert seen.spring_only_pa is not None, "a look that can be read has it"
        yield from self.machine(self._watched(hold))
        height = hold.travel_m - seen.closed_m
        balance_pa = seen.spring_only_pa.value + height / seen.gain_m_per_pa
        off_pa = self.stroke.pressure.mean - balance_pa
        if height < LEAST_LIFT_SHARE * LIFT_M or abs(off_pa) > seen.half_band_pa + BALANCE_PA:
            raise Stop(self.words.still_loaded(height, off_pa))
        self.lifted_m = height
        self.remember("plug off its seat [m]", height, self.words.unloaded(height, off_pa))
        return None

    def _undo(self) -> Code[str | None]:
        demand = Demand(0.0, 0.0, "the connector is undone", vent=True)
        if self._hold is not None:
            demand = self._hold.demand
        large = self._place()
        if (yield from self.prompt(self.words.hands_in_to_undo(demand, large), self._watch)) == NO:
            raise Stop(NOT_UNDONE)
        key = yield from self.prompt(self.words.undo(demand, large), self._watch)
        if self.isolating_valve and self._hold is not None:
            yield from self.prompt(self.words.open_valve(demand, large), self._watch)
        if key == CANNOT:
            raise Stop(NOT_UNDONE)
        self.undone = True
        return None

    def _let_down(self) -> Code[str | None]:
        """Down slowly; then the stem of an air-to-open actuator rests on its own stop, below the seat."""
        hold, self._hold = self._hold, None
        if hold is None:
            return None
        yield from self.machine(self._down())
        if not (yield from self.machine(vented(self.stroke, "let the pressure down", proven_s=PROVEN_S))):
            raise Stop(self.words.not_vented(self.stroke.pressure_pa))
        dropped = -self.stroke.travel_m
        self.dropped_m = dropped
        self._say(self.words.dropped(dropped) if dropped > ON_STOP_M else self.words.not_apart())
        return None

    # -- parts of steps ------------------------------------------------------------------------------

    def _down(self) -> Generator[Demand, Reading, None]:
        demand, began_s = Demand(0.0, DOWN_PA_PER_S, "let the pressure down"), self.now_s
        way_s = self.stroke.pressure_pa / DOWN_PA_PER_S
        while self.now_s - began_s < way_s + STEADY_S:
            reading = yield demand
            self.stroke.see(reading)

    def _place(self) -> Large:
        hold, name = self._hold, "plug off its seat"
        if hold is None:
            return Large("casing pressure", Dimension.PRESSURE, self.stroke.pressure_pa)
        return self._where(name, hold)
