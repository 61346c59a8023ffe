"""Sticking stems: what truly happened on the simulated plant, and how well it was told."""

from dataclasses import dataclass

import numpy as np

from rig.analysis.check import analyse
from rig.analysis.samples import RISE
from tests.campaign.physical import INCH, SENSORS, March, seen

HOP_M, USUAL_TIMES = 2.5e-3 * INCH, 3.0  # a hop: that much beyond three times the usual gain in 0.12 s
SCANS = 6
LEAST_CYCLES = 2


@dataclass(frozen=True)
class Told:
    hops: bool  # the stem truly left its rest by a hop
    flagged: bool
    error: float  # Pa, of lift-off against the pressure before the first hop; nan without hops
    covered: bool


def first_hop_pa(march: March) -> float:
    """Mean pressure just before the first hop of each rise; nan where the stem glides off."""
    pressures = []
    length = march.case.actuator.travel_m
    for cycle in np.unique(march.cycle[march.cycle > 0]):
        rise = (march.stage == RISE) & (march.cycle == cycle)
        travel, pressure = march.travel[rise], march.pressure[rise]
        gained = travel[SCANS:] - travel[:-SCANS]
        sliding = (travel[SCANS:] > 0.1 * length) & (travel[:-SCANS] < 0.9 * length)
        usual = max(0.0, float(np.median(gained[sliding])))
        hops = np.flatnonzero((gained > USUAL_TIMES * usual + HOP_M) & (travel[SCANS:] < 0.5 * length))
        if len(hops):
            steps = np.diff(travel)[hops[0] : hops[0] + SCANS + 4]
            start = hops[0] + int(np.argmax(steps > 0.25 * steps.max()))
            pressures.append(float(pressure[start]))
    return float(np.mean(pressures)) if len(pressures) >= LEAST_CYCLES else float("nan")


def told(march: March, noise_share: float, seed: int) -> Told:
    result = analyse(seen(march, noise_share, seed=seed), march.case.profile, SENSORS)
    quantity = result.quantities["lift_off"]
    flagged = any("sticks" in line for line in result.advice)
    true = first_hop_pa(march)
    if quantity.value is None:
        return Told(true == true, flagged, float("nan"), False)
    error = quantity.value - true
    return Told(true == true, flagged, error, abs(error) <= (quantity.expanded_uncertainty or 0.0))
