"""A simulated person who makes the connector: well, carelessly, early; and valves to make it on."""

from dataclasses import dataclass, replace

from rig.procedure.couple import Couple, Coupling
from rig.profile.model import Action, Profile
from simulator import Actuator, actuator_for
from simulator.actuator import AIR_TO_OPEN
from simulator.coupling import coupled_at
from simulator.plant import Converter
from tests.rig.guided_bench import Line, Script
from tests.rig.plain_bench import PlainRide, PlainStand, ride_plain
from tests.rig.synthetic import SENSORS, IdealValve, profile_for

PSI, INCH = 6894.757293168361, 0.0254
SLIP_M, TURN_OUT_M = 0.040 * INCH, 0.015 * INCH


def profile(action: Action = Action.AIR_TO_OPEN, **changes: object) -> Profile:
    """105 in2, 1-1/8 in of travel on 1-3/8 in of stroke, 10.5 to 30.5 psi friction included."""
    given = {"action": action, "actuator_stroke_m": 1.375 * INCH} | changes
    return profile_for(IdealValve(), **given)


def actuator(given: Profile, **changes: object) -> Actuator:
    base = actuator_for(
        area_m2=given.area_m2,
        rated_travel_m=given.rated_travel_m,
        lower_pa=given.bench_lower_pa,
        upper_pa=given.bench_upper_pa,
        stroke_m=given.actuator_stroke_m,
        friction_fraction=0.025,
        action=given.action.value,
    )
    return replace(base, coupled=False, **changes)  # type: ignore[arg-type]


@dataclass
class Hands:
    """What the person does. `off_seat_m`: plug hangs so far off its seat when the connector is made;
    `pushed_m`: clamped blocks push the actuator stem so far up; `slips`, `turns_out`: what comes later."""

    early: bool = False
    never: bool = False
    off_seat_m: float = 0.0
    pushed_m: float = 0.0
    slips_at: int = 0  # before which stroke after coupling; 0: never
    slip_m: float = SLIP_M
    turns_out: bool = False
    turn_out_m: float = TURN_OUT_M
    plug_stop_m: float = float("inf")
    lift_m: float = 0.0  # what the way asks for
    made_m: float | None = None  # true height of the stem when the connector was made

    def script(self) -> Script:
        when = "Push the plug home" if self.early else "Make the connector"
        return Script([] if self.never else [Line(when, act=self.couple)])  # type: ignore[arg-type]

    def couple(self, stand: PlainStand) -> None:
        """As PlainStand.couple, with what clamping does to the lengths."""
        before, height = stand.actuator.slack_m, stand.stem_m
        closing = stand.actuator.action != AIR_TO_OPEN
        off = self.lift_m + self.off_seat_m - self.pushed_m
        self.made_m = height
        made = coupled_at(replace(stand.actuator, plug_stop_m=self.plug_stop_m), height, off)
        stand.actuator = stand.plant.actuator = made
        if not closing:
            stand.plant.shift(before - made.slack_m)
        self._watch = Strokes()

    def each(self, stand: PlainStand) -> None:
        """Slips and turns come with the strokes."""
        if not stand.actuator.coupled:
            return
        strokes = self._watch.see(stand)
        if self.turns_out:
            stand.slip_m = self.turn_out_m * strokes
        elif self.slips_at and strokes >= self.slips_at:
            stand.slip_m = self.slip_m


@dataclass
class Strokes:
    """Counts strokes, from rest: beyond 0.7 of the travel and back below 0.3 of it."""

    done: int = 0
    rested: bool = False
    up: bool = False

    def see(self, stand: PlainStand) -> int:
        share = stand.plant.state.x_m / stand.actuator.rated_travel_m
        self.rested = self.rested or share < 0.3
        if self.up and share < 0.3:
            self.up, self.done = False, self.done + 1
        elif share > 0.7 and self.rested:
            self.up = True
        return self.done


@dataclass
class Made:
    coupling: Coupling
    stand: PlainStand
    ride: PlainRide
    script: Script
    guided: Couple


def couple_on(
    valve: Actuator,
    given: Profile,
    hands: Hands | None = None,
    seed: int = 1,
    supply_pa: float | None = None,
    **options: object,
) -> Made:
    """On the plain plant."""
    person = hands or Hands()
    supply = supply_pa or given.bench_upper_pa + 15 * PSI
    guided = Couple(profile=given, sensors=SENSORS, highest_pa=supply - PSI, **options)  # type: ignore[arg-type]
    person.lift_m = guided.lift_m
    stand = PlainStand(valve, Converter(supply_pa=supply, full_scale_pa=60 * PSI), seed=seed)
    script = person.script()
    ride = ride_plain(stand, guided, guided.run(), script, each=person.each)
    return Made(ride.value, stand, ride, script, guided)
