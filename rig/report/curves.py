"""Curves for the plots: travel from the position signal, and no more points than an eye can tell apart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO, Floats, Samples


@dataclass(frozen=True, slots=True)
class Curves:
    """Columns of a record for drawing [SI]; `up` and `down` hold index ranges, one per cycle."""

    time_s: Floats
    pressure_pa: Floats
    travel_m: Floats
    up: tuple[NDArray[np.intp], ...]
    down: tuple[NDArray[np.intp], ...]


def travel_of(samples: Samples) -> Floats:
    """Travel [m]: 0 where the stem stood during the zero, positive the way air moves it.

    For drawing only: the zero and the sense are found as the procedure finds them, without the care
    that analysis gives them. All nan where there was no good position during the zero.
    """
    position = samples.position_m
    at_rest = position[(samples.stage == ZERO) & np.isfinite(position)]
    if at_rest.size == 0:
        return np.full_like(position, np.nan)
    travel: Floats = position - float(np.median(at_rest))
    moved = travel[np.isin(samples.stage, (RISE, TOP, RETURN)) & np.isfinite(travel)]
    if moved.size == 0:
        return travel
    farthest = moved[np.argmax(np.abs(moved))]
    return travel if farthest >= 0 else -travel


def curves_of(samples: Samples) -> Curves:
    up: list[NDArray[np.intp]] = []
    down: list[NDArray[np.intp]] = []
    for cycle in np.unique(samples.cycle[samples.cycle > 0]):
        in_cycle = samples.cycle == cycle
        up.append(np.flatnonzero(in_cycle & np.isin(samples.stage, (RISE, TOP))))
        down.append(np.flatnonzero(in_cycle & np.isin(samples.stage, (RETURN, REST))))
    return Curves(samples.time_s, samples.pressure_pa, travel_of(samples), tuple(up), tuple(down))


def thinned(xs: Floats, ys: Floats, apart: float = 0.5, most: int = 1500) -> tuple[list[float], list[float]]:
    """Keep a point when it is `apart` pixels or more from the last kept one, and the last point.

    Nothing kept is farther than that from what was dropped, extremes included. `apart` is doubled
    until no more than `most` points are left. Points with nan are dropped first.
    """
    finite = np.isfinite(xs) & np.isfinite(ys)
    all_x, all_y = xs[finite].tolist(), ys[finite].tolist()
    if not all_x:
        return [], []
    while True:
        kept = _kept(all_x, all_y, apart)
        if len(kept) <= most:
            return [all_x[i] for i in kept], [all_y[i] for i in kept]
        apart *= 2.0


def _kept(xs: list[float], ys: list[float], apart: float) -> list[int]:
    kept = [0]
    last_x, last_y = xs[0], ys[0]
    for index, (x, y) in enumerate(zip(xs, ys, strict=True)):
        if abs(x - last_x) >= apart or abs(y - last_y) >= apart:
            kept.append(index)
            last_x, last_y = x, y
    if kept[-1] != len(xs) - 1:
        kept.append(len(xs) - 1)
    return kept
