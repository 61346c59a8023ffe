"""The foot of the second stroke, slowly: contact loss, lift-off of the plug, what the seat bears."""

from dataclasses import dataclass, replace

from simulator.actuator import Actuator
from simulator.plant import Converter, Inputs, Outputs, Plant, contacts
from simulator.truth import truth
from tests.simulator.stands import PSI

SLOW, FAST = 0.5 * PSI, 5.0 * PSI
AWAY_M = 8e-4  # friction has turned over by then, even where it is high
JUMPED_M = 1.5e-4  # more than bristles give


@dataclass(frozen=True)
class SecondRise:
    rest: Outputs  # vented, after the first stroke
    contact_loss_pa: float
    plug_lifts_pa: float  # the plug's running line, drawn back to where it sat; with a jump, before the jump


class Foot:
    """A plant on a pressure that follows by steps of 20 ms; quick air, no leak."""

    def __init__(self, actuator: Actuator) -> None:
        quick = Converter(
            lag_s=0.02, supply_pa=100 * PSI, full_scale_pa=100 * PSI,
            fill_conductance=5e-7, exhaust_conductance=5e-7,
        )  # fmt: skip
        self.actuator = replace(actuator, tubing_conductance=5e-7, leak_conductance=0.0)
        self.plant = Plant(self.actuator, quick)
        self.inputs = Inputs(supply_open=True, vent_open=False)

    def go(self, to_pa: float, rate: float) -> list[Outputs]:
        start = self.inputs.demand_pa
        steps = max(1, round(abs(to_pa - start) / rate / 0.02))
        seen = []
        for i in range(1, steps + 1):
            self.inputs.demand_pa = start + (to_pa - start) * i / steps
            seen.append(self.plant.update(self.plant.time_s + 0.02, self.inputs))
        return seen


def second_rise(actuator: Actuator) -> SecondRise:
    """Up past lift-off, slowly down to nothing, and slowly up again."""
    true, foot = truth(actuator), Foot(actuator)
    foot.go(true.lift_off + 3 * PSI, FAST)
    foot.go(true.reseat + 0.5 * PSI, FAST)
    foot.go(max(0.0, true.reseat - 1.0 * PSI), SLOW)
    foot.go(0.0, FAST)
    rest = foot.plant.update(foot.plant.time_s + 5.0, foot.inputs)
    foot.go(max(0.0, true.contact_loss - 1.0 * PSI), FAST)
    seen = foot.go(true.lift_off + 2.0 * PSI, SLOW)
    low = contacts(foot.actuator, foot.inputs)[0]
    free = next(o for o in seen if o.stem_m >= low)
    jumps = actuator.friction.static_ratio > 1.0
    away = JUMPED_M if jumps else AWAY_M
    clear = next(o for o in seen if o.plug_m >= rest.plug_m + away)
    slope = actuator.slope_n_per_m / actuator.area_m2
    lifts = (
        max(o.casing_pa for o in seen if o.time_s <= clear.time_s)
        if jumps
        else (clear.casing_pa - slope * clear.plug_m)
    )
    return SecondRise(rest, free.casing_pa, lifts)
