"""Stick-slip: does the stem creep in hops, how large are they, and where did it first break away?

Increments of travel over 0.1 s while sliding. Regular hops of size J that come at random moments have
variance J mu - mu^2 about their mean mu, so J = (var - noise) / |mu| + |mu|. Where readings are missing an
increment takes longer: what the speed makes of that is taken off first, so that a gap is no hop.
"""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from rig.analysis.corner import PSI, Corner, Oriented
from rig.analysis.lines import fit_line
from rig.analysis.samples import Floats
from rig.analysis.smooth import second_difference_variance
from rig.analysis.strokes import Leg

INCREMENT_S = 0.1
BLOCK = 10  # increments: one second, over which the speed is taken as constant
RATE_SCATTER = 0.15  # of the mean increment: an uneven ramp is no sticking
FLAG_Z = 6.0
LEAST_HOP_SHARE = 0.0015  # of travel: smaller hops matter to nobody
LINE_S = 1.0  # of pressure before a hop, drawn on to it
BEFORE_PA, BEYOND_PA = 0.5 * PSI, 2.5 * PSI  # of the corner, where a first hop is looked for
MEAN_S, PAUSE_S, LONG_MEAN_S = 0.1, 0.08, 0.5
CREEP_M = 0.15e-3  # of travel before a first hop, while friction builds up
FAINT_Z = 4.0
START_SCANS = 3.0  # half width
CLEAR_Z = 5.5  # standard deviations: by chance less than once in ten thousand strokes


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
        each = slice(inside[0], inside[-1] + 1, per)
        steps, taking = _blocks(leg.travel[each]), _blocks(leg.time[each])
        mean = np.add.reduce(steps, axis=1) / BLOCK
        longer = taking / (np.add.reduce(taking, axis=1) / BLOCK)[:, None]  # than usual: 1 without gaps
        off = steps - mean[:, None] * longer
        variance = np.einsum("ij,ij->i", off, off) / (BLOCK - 1)
        noise = 2.0 * noise_x
        excess += float(np.sum(variance - noise))
        speed += float(np.abs(mean).sum())
        uneven = (RATE_SCATTER * mean) ** 2 * np.einsum("ij,ij->i", longer, longer) / BLOCK
        expected += float(np.sum((noise + uneven) ** 2)) * 2.0 / (BLOCK - 1)
        means.append(np.abs(mean))
    if not means or speed <= 0.0:
        return SMOOTH
    hop = excess / speed + float(np.concatenate(means).mean())
    z = excess / sqrt(expected) if expected > 0.0 else inf
    sticking = z > FLAG_Z and hop > LEAST_HOP_SHARE * (high_m - low_m)
    return Sticking(max(0.0, hop), z, sticking)


def _blocks(values: Floats) -> Floats:
    """Differences of neighbours, shape (blocks, BLOCK); what is left over is left out."""
    steps = np.diff(values)
    return steps[: len(steps) // BLOCK * BLOCK].reshape(-1, BLOCK)


@dataclass(frozen=True, slots=True)
class BreakAway:
    """The stem left its rest by a hop, instead of gliding off along the sliding line."""

    pressure: float  # Pa, just before the hop
    variance: float  # Pa^2
    start: float  # Pa, standard: from not knowing which scan the hop starts in; alike in every cycle
    hop_m: float
    z: float  # height of the hop in standard deviations of its noise


def break_away(
    data: Oriented, corner: Corner, noise_x: float, scan_s: float, hop_m: float = 0.0
) -> BreakAway | None:
    """Look for the first hop; None where the stem leaves its rest smoothly.

    `hop_m` is the usual size of hops where the stem is known to stick (0: not known): then a fainter hop
    counts too, and one that starts most of a hop above rest is not the first.

    A hop is travel gained within some hundredths of a second beyond what the sliding line explains: means
    of travel over 0.1 s on both sides of a pause of 0.08 s. Creep before it does not count.
    """
    part = _near(data, corner)
    width, pause = max(2, round(MEAN_S / scan_s)), max(1, round(PAUSE_S / scan_s))
    if part is None or noise_x <= 0.0:
        return None
    gained, sd = _beyond_sliding(data, part, corner.slide_slope, noise_x, width, pause, scan_s)
    if len(gained) < 3:
        return None
    z = gained / sd
    clear = np.flatnonzero((z > (FAINT_Z if hop_m > 0.0 else CLEAR_Z)) & (gained > 0.4 * hop_m))
    if not len(clear):
        return None
    first = int(clear[0])
    peak = first + int(np.argmax(gained[first : first + width + pause]))
    hop = float(gained[peak])
    start = _start(data, part.start + peak, width, pause)
    at_rest = data.sign * (corner.travel - data.level_m)
    if float(data.y[max(0, start - width) : start].mean()) - at_rest > CREEP_M + 0.7 * hop:
        return None  # an earlier hop was missed
    return _pressure_before(data, start, hop, float(z[peak]), scan_s)


def _near(data: Oriented, corner: Corner) -> slice | None:
    start = int(np.argmax(data.q > corner.q - BEFORE_PA))
    beyond = data.q > corner.q + BEYOND_PA
    end = int(np.argmax(beyond)) if beyond.any() else len(data.q)
    return slice(start, end) if end - start >= 20 else None


def _gained(values: Floats, width: int, pause: int) -> Floats:
    """Mean of `width` values after a pause less the mean of `width` values before it, by first index."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    means = (total[width:] - total[:-width]) / width
    return np.asarray(means[width + pause :] - means[: -width - pause], dtype=np.float64)


def _beyond_sliding(
    data: Oriented, part: slice, slope: float, noise_x: float, width: int, pause: int, scan_s: float
) -> tuple[Floats, float]:
    """Travel gained over the pause beyond what the sliding line explains, and its standard deviation."""
    long = max(width, round(LONG_MEAN_S / scan_s))
    half = long // 2
    low, high = max(0, part.start - half), min(len(data.q), part.stop + half)
    raw = data.q_raw[low:high]
    pressure = _local_lines(data.time[low:high], raw, np.arange(part.start, part.stop) - low, half)
    noise_q = second_difference_variance(raw)
    apart = min(width + pause, long)
    sd = sqrt(2.0 * noise_x / width + slope**2 * noise_q * 2.0 * apart / long**2)
    return _gained(data.y[part] - slope * pressure, width, pause), sd


def _local_lines(time: Floats, values: Floats, index: NDArray[np.int64], half: int) -> Floats:
    """At each index the line through the readings from `half` before to `half` after it.

    With evenly spaced readings that is their mean; beside a gap a mean would stand for another time.
    """
    t, v = time - time[0], values - values[0]
    first, last = np.maximum(index - half, 0), np.minimum(index + half + 1, len(v))
    n = (last - first).astype(np.float64)

    def mean(of: Floats) -> Floats:
        total = np.concatenate(([0.0], np.cumsum(of)))
        return np.asarray((total[last] - total[first]) / n, dtype=np.float64)

    mean_t, mean_v = mean(t), mean(v)
    slope = (mean(t * v) - mean_t * mean_v) / np.maximum(mean(t * t) - mean_t**2, 1e-12)
    return np.asarray(values[0] + mean_v + slope * (t[index] - mean_t), dtype=np.float64)


def _start(data: Oriented, first: int, width: int, pause: int) -> int:
    """The last reading before the hop: where travel, coming back from the hop, is a quarter up at most."""
    before = float(data.y[first : first + width].mean())
    after = float(data.y[first + width + pause : first + 2 * width + pause].mean())
    inside = data.y[first + width - 1 : first + width + pause + 1]
    low = np.flatnonzero(inside < before + 0.25 * (after - before))
    return first + width - 1 + (int(low[-1]) if len(low) else 0)


def _pressure_before(data: Oriented, at: int, hop_m: float, z: float, scan_s: float) -> BreakAway | None:
    """The line of raw pressure over the second before reading `at`, half a scan before it."""
    first = max(0, at + 1 - max(6, round(LINE_S / scan_s)))
    if at + 1 - first < 6:
        return None
    line = fit_line(data.time[first : at + 1] - data.time[at], data.q_raw[first : at + 1])
    # A hop takes some scans: the quarter rule finds its start to a scan or two either way.
    start = abs(line.slope) * START_SCANS * scan_s / sqrt(3.0)
    variance = line.s**2 * line.variance_factor(-0.5 * scan_s)
    return BreakAway(line.at(-0.5 * scan_s), variance, start, hop_m, z)
