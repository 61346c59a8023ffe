"""The fastest stroke that the air, and the stand's highest rate, let a simulated actuator make."""

from simulator.actuator import Actuator
from simulator.plant import Converter, Inputs, Plant
from simulator.truth import truth
from tests.campaign.physical import PSI

SCAN_S, LONGEST_S = 0.02, 600.0


def fill_limited_s(
    actuator: Actuator, converter: Converter, highest_pa: float, rate_pa_per_s: float
) -> float:
    """Seconds from nothing to 2 psi past full travel (or the cap) and back to 1 psi, as fast as it goes."""
    plant = Plant(actuator, converter)
    top_pa = min(truth(actuator, converter.supply_pa).full_travel + 2.0 * PSI, 0.99 * highest_pa)
    inputs = Inputs(supply_open=True, vent_open=False)
    at_s = output_pa = 0.0
    rising = True
    while at_s < LONGEST_S:
        at_s += SCAN_S
        step = rate_pa_per_s * SCAN_S
        output_pa = min(highest_pa, output_pa + step) if rising else max(0.0, output_pa - step)
        inputs.demand_pa = output_pa
        casing_pa = plant.update(at_s, inputs).casing_pa
        rising = rising and casing_pa < top_pa
        if not rising and casing_pa < 1.0 * PSI:
            return at_s
    raise RuntimeError("the stroke never ended")
