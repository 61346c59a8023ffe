"""Stick-slip: does the stem creep in hops, how large are they, and where did it first break away?

Increments of travel over 0.1 s while sliding. Regular hops of size J that come at random moments have
variance J mu - mu^2 about their mean mu, so J = (var - noise) / |mu| + |mu|.
"""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from rig.analysis.corner import Oriented
from rig.analysis.lines import fit_line
from rig.analysis.samples import Floats
from rig.analysis.strokes import Leg

INCREMENT_S = 0.1
BLOCK = 10  # increments: one second, over which the speed is taken as constant
RATE_SCATTER = 0.15  # of the mean increment: an uneven ramp is no sticking
FLAG_Z = 6.0
LEAST_HOP_SHARE = 0.0015  # of travel: smaller hops matter to nobody
JUMP_S = 0.08  # a hop is over within this
LINE_S = 1.0  # of pressure before the hop, drawn on to it


@dataclass(frozen=True, slots=True)
class Sticking:
    hop_m: float  # typical size of a hop, 0 when smooth
    z: float  # how far the scatter of speed is above what noise explains
    sticking: bool


SMOOTH = Sticking(0.0, 0.0, False)


def find_sticking(legs: list[Leg], low_m: float, high_m: float, noise_x: float, scan_s: float) -> Sticking:
    """Judge the sliding part of the given legs together; `noise_x` is the variance of a reading [m^2]."""
    per = max(1, round(INCREMENT_S / scan_s))
    inner, outer = low_m + 0.08 * (high_m - low_m), low_m + 0.92 * (high_m - low_m)
    excess = speed = expected = 0.0
    means: list[Floats] = []
    for leg in legs:
        inside = np.flatnonzero((leg.travel > inner) & (leg.travel < outer))
        if len(inside) < 3 * per * BLOCK:
            continue
        travel = leg.travel[inside[0] : inside[-1] + 1 : per]
        steps = np.diff(travel)
        steps = steps[: len(steps) // BLOCK * BLOCK].reshape(-1, BLOCK)
        mean = steps.mean(axis=1)
        variance = steps.var(axis=1, ddof=1)
        noise = 2.0 * noise_x
        excess += float(np.sum(variance - noise))
        speed += float(np.abs(mean).sum())
        expected += float(np.sum((noise + (RATE_SCATTER * mean) ** 2) ** 2)) * 2.0 / (BLOCK - 1)
        means.append(np.abs(mean))
    if not means or speed <= 0.0:
        return SMOOTH
    hop = excess / speed + float(np.concatenate(means).mean())
    z = excess / sqrt(expected) if expected > 0.0 else inf
    sticking = z > FLAG_Z and hop > LEAST_HOP_SHARE * (high_m - low_m)
    return Sticking(max(0.0, hop), z, sticking)


@dataclass(frozen=True, slots=True)
class BreakAway:
    pressure: float  # Pa, just before the first hop
    uncertainty: float  # Pa, standard


def break_away(
    data: Oriented,
    time: Floats,
    corner_q: float,
    slide_slope: float,
    hop_m: float,
    noise_x: float,
    scan_s: float,
) -> BreakAway:
    """Pressure before the first hop off rest.

    A hop well above the noise is read from the record: the first step within 80 ms of more than half a hop,
    and the pressure line of the last second drawn on to it. One that is not is not picked: the running
    line's corner plus what a hop is worth in pressure, with an uncertainty to match.
    """
    worth = hop_m / slide_slope
    ambiguous = BreakAway(corner_q + worth, 0.4 * worth)
    if hop_m < 5.0 * sqrt(noise_x):
        return ambiguous
    per = max(1, round(JUMP_S / scan_s))
    near = np.flatnonzero(data.q > corner_q - 2.0 * worth - 3000.0)
    start = int(near[0]) if len(near) else 0
    step = data.y[start + per :] - data.y[start:-per]
    hits = np.flatnonzero(step > 0.5 * hop_m)
    if not len(hits):
        return ambiguous
    first = start + int(hits[0])
    cells = np.diff(data.y[first : first + per + 1])
    at = first + int(np.argmax(cells))  # the hop lies between reading `at` and the next
    before = slice(max(0, at - max(6, round(LINE_S / scan_s))), at + 1)
    if at + 1 - max(0, before.start) < 6:
        return ambiguous
    line = fit_line(time[before] - time[at], data.q_raw[before])
    half_cell = 0.5 * (time[at + 1] - time[at]) if at + 1 < len(time) else 0.5 * scan_s
    value = line.at(float(half_cell))
    cell = abs(line.slope) * 2.0 * float(half_cell) / sqrt(12.0)
    spread = line.s * sqrt(line.variance_factor(float(half_cell)))
    if abs(value - corner_q) > 4.0 * worth + 3.0 * spread:
        return ambiguous  # that was some other hop
    return BreakAway(value, 1.3 * sqrt(cell**2 + spread**2))
