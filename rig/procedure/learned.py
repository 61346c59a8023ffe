"""What the strokes so far tell about the next one: where its corners are, and how noisy the readings."""

from dataclasses import replace
from math import sqrt

import numpy as np

from rig.analysis.corner import Corner
from rig.analysis.cycle import examine
from rig.analysis.instruments import usual_lag
from rig.analysis.samples import ZERO, Samples
from rig.analysis.strokes import Cycle, Strokes, find_strokes
from rig.procedure.planner import Planner, Seen
from rig.procedure.ramp import Places, RampPlan
from rig.profile.model import Profile


def learned_plan(planner: Planner, samples: Samples, before: RampPlan) -> RampPlan:
    """The ramp of the next cycle from the last one in `samples`; as `before` where it tells nothing."""
    if planner.sensors is None:
        return before
    strokes = _last_stroke(planner, samples)
    if strokes is None:
        return before
    cycle = strokes.cycles[-1]
    places = _places(cycle, strokes, planner.profile) or before.places
    conditioning = int(samples.cycle.max()) == 0  # at full speed throughout
    slide = _slide(cycle) if conditioning else before.slide_pa_per_s
    return planner.plan(Seen(strokes.zero_sd_pa, sqrt(strokes.noise_x), slide, places))


def _slide(cycle: Cycle) -> float | None:
    """Speed of the pressure while the stem slid up [Pa/s]; None where it did not slide."""
    up = cycle.up
    part = np.flatnonzero((up.travel > 0.2 * cycle.top_m) & (up.travel < 0.8 * cycle.top_m))
    if len(part) < 5:
        return None
    first, last = part[0], part[-1]
    speed = float((up.pressure[last] - up.pressure[first]) / (up.time[last] - up.time[first]))
    return speed if speed > 0.0 else None


def _last_stroke(planner: Planner, samples: Samples) -> Strokes | None:
    """The zero and the last cycle alone, whatever its number: a conditioning stroke is cycle 0."""
    assert planner.sensors is not None, "asked only of a planner that knows its sensors"
    zero = samples.stage == ZERO
    last = ~zero & (samples.cycle == samples.cycle.max())
    part = zero | last
    one = replace(
        samples,
        time_s=samples.time_s[part],
        pressure_pa=samples.pressure_pa[part],
        position_m=samples.position_m[part],
        output_pa=samples.output_pa[part],
        supply_pa=samples.supply_pa[part],
        cycle=np.where(last[part], 1, 0),
        stage=samples.stage[part],
    )
    usual_s, _ = usual_lag(planner.sensors, planner.profile)
    strokes = find_strokes(one, planner.sensors, planner.profile.rated_travel_m, usual_s)
    return strokes if strokes.cycles else None


def _places(cycle: Cycle, strokes: Strokes, profile: Profile) -> Places | None:
    """Corners as the transmitter reads them; None unless all four were found and in order."""
    found = examine(cycle, strokes, profile)
    zero_pa = strokes.zero_pa if strokes.zero_taken else 0.0
    corners = [
        c.pressure + zero_pa
        for c in (found.lift, found.full, found.fall, found.reseat)
        if isinstance(c, Corner)
    ]
    if len(corners) < 4:
        return None
    lift, full, fall, reseat = corners
    return Places(lift, full, fall, reseat) if reseat < fall and lift < full else None
