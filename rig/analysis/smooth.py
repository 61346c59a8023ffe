"""Moving means that can be shifted in time, and the finding of spikes."""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from rig.analysis.samples import Floats


def moving_mean(time: Floats, values: Floats, width_s: float, shift_s: float = 0.0) -> Floats:
    """Mean of `values` over width_s centred shift_s after each time; ends are cut short, not padded.

    The cut counts fractions of a reading, so a shift smaller than a scan is honoured without
    interpolating between readings, which would colour their noise. Each reading stands for the time half
    way to its neighbours on either side.
    """
    n = len(time)
    if n < 3:
        return values.copy()
    index_edges = np.arange(n + 1, dtype=np.float64)
    edges = _edges(time)
    low = np.interp(time + (shift_s - 0.5 * width_s), edges, index_edges)
    high = np.interp(time + (shift_s + 0.5 * width_s), edges, index_edges)
    total = np.concatenate(([0.0], np.cumsum(values - values[0])))
    span = np.maximum(high - low, 1e-9)
    mean = (np.interp(high, index_edges, total) - np.interp(low, index_edges, total)) / span + values[0]
    # A shift that leads out of the record leaves nothing to average: there the reading itself.
    return np.where(high - low < 0.5, values, mean)


def _edges(time: Floats) -> Floats:
    """Where one reading's share of time ends and the next begins, shape (n + 1,)."""
    middles = 0.5 * (time[1:] + time[:-1])
    return np.concatenate(([1.5 * time[0] - 0.5 * time[1]], middles, [1.5 * time[-1] - 0.5 * time[-2]]))


STANDS_OUT = 8.0  # standard deviations beyond both neighbours: never by white noise in a record's length


def spikes(values: Floats, resolution: float = 0.0) -> NDArray[np.bool_]:
    """Readings that stand out of their neighbours by more than noise does: single ones up to triples.

    A reading is compared with the median of itself and its neighbours 1, 2 and 3 scans away; a step or a
    ramp, however steep, lies between its neighbours and is never taken for a spike.
    """
    found = np.zeros(len(values), dtype=bool)
    if len(values) < 16:
        return found
    noise = sqrt(second_difference_variance(values))  # of rest and ramp alike
    for stride in (1, 2, 3):
        before, here, after = values[: -2 * stride], values[stride:-stride], values[2 * stride :]
        lower, upper = np.minimum(before, after), np.maximum(before, after)
        out = np.maximum(np.maximum(here - upper, lower - here), 0.0)
        found[stride:-stride] |= out > max(STANDS_OUT * noise, 3.0 * resolution)
    return found


def second_difference_variance(values: Floats) -> float:
    """Variance of the white noise on a signal that moves smoothly: mean of squared second differences / 6.

    Differences beyond six times the usual (jumps, starts and stops) are cut to that.
    """
    if len(values) < 8:
        return 0.0
    second = np.abs(values[2:] - 2.0 * values[1:-1] + values[:-2])
    cut = np.minimum(second, 6.0 * float(second.mean()))
    return float(cut @ cut) / (6.0 * len(cut))
