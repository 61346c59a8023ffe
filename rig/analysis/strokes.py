"""From the columns of a record to strokes: zero taken off, spikes out, lags aligned, one coordinate.

Stroke coordinate: travel is 0 where the stem rests without air and grows the way air moves it. Sense and
reference of the position transmitter are found from the data.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from math import sqrt
from statistics import median

import numpy as np

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO, Floats, Samples, Sensors
from rig.analysis.smooth import moving_mean, second_difference_variance, spikes

SMOOTH_S = 0.2  # of the moving mean of pressure
ZERO_TAIL_S = 2.0  # the end of the zero stage is the part that is surely vented and still
ZERO_BLOCK_S, ZERO_AGREES = 0.5, 2.0  # what comes before it counts, block by block, while it agrees [sd]
SMALLEST_STROKE_SHARE = 0.05  # of rated travel: less is no stroke


@dataclass(frozen=True, slots=True)
class Leg:
    """One way of a stroke in time order. Pressures aligned with travel, zero taken off [Pa]."""

    time: Floats
    pressure: Floats  # moving mean
    raw: Floats  # pressure reading by reading
    travel: Floats  # [m] from the rest reading


@dataclass(frozen=True, slots=True)
class Cycle:
    number: int
    up: Leg
    down: Leg | None
    top_m: float  # median travel while held at the top (or at the end of the rise)


@dataclass(frozen=True, slots=True)
class Strokes:
    cycles: tuple[Cycle, ...]
    scan_s: float
    zero_pa: float  # what the pressure transmitter showed when vented; taken off if `zero_taken`
    zero_taken: bool
    zero_sd_pa: float  # standard deviation of one pressure reading while vented
    zero_readings: int = 0  # so many made the zero
    noise_x: float = 0.0  # variance of one reading of travel [m^2], from second differences
    notes: tuple[str, ...] = ()
    why: str = ""  # why there are no cycles


@dataclass(slots=True)
class _Columns:
    time: Floats
    pressure: Floats
    position: Floats
    segments: list[tuple[str, int, int, int]] = field(default_factory=list)  # stage, cycle, from, to


def find_strokes(
    samples: Samples, sensors: Sensors, rated_travel_m: float, stem_lag_s: float = 0.0
) -> Strokes:
    """Cut a record into cycles; a record without any says why in `why` and raises nothing.

    Pressure is aligned to travel: by the stated lags, and by how far the stem follows the pressure.
    """
    columns, lost = _good(samples, sensors)
    if len(columns.time) < 20 or not columns.segments:
        return Strokes(
            (), 0.02, 0.0, False, 0.0, why="there are hardly any good readings of pressure and position"
        )
    scan_s = float(np.median(np.diff(columns.time)))
    vented, taken, notes = _zero(columns, sensors)
    zero_pa = vented.mean
    raw = columns.pressure - (zero_pa if taken else 0.0)
    shift_s = sensors.pressure_lag_s - sensors.position_lag_s - stem_lag_s
    smooth = moving_mean(columns.time, raw, SMOOTH_S, shift_s)
    raw = _whole_scans(raw, round(shift_s / scan_s))
    rest_m = _rest(columns)
    sense = _sense(columns, raw, rest_m)
    travel = sense * (columns.position - rest_m)
    cycles = _cycles(columns, raw, smooth, travel)
    if lost > 0.02:
        notes.append(f"{lost:.0%} of the readings were not good and are left out.")
    moved = max((cycle.top_m for cycle in cycles), default=0.0)
    why = ""
    if not cycles:
        why = "the record holds no stroke"
    elif moved < SMALLEST_STROKE_SHARE * rated_travel_m:
        cycles, why = [], "the stem did not move"
    noise_x = max(second_difference_variance(travel), sensors.position_resolution_m**2 / 12.0)
    return Strokes(tuple(cycles), scan_s, zero_pa, taken, vented.sd, vented.n, noise_x, tuple(notes), why)


def _whole_scans(values: Floats, scans: int) -> Floats:
    """The values `scans` later (negative: earlier), the ends repeated; whole scans keep noise white."""
    if scans == 0:
        return values
    return values[np.clip(np.arange(len(values)) + scans, 0, len(values) - 1)]


def _good(samples: Samples, sensors: Sensors) -> tuple[_Columns, float]:
    """Good readings in time order without spikes, and the share that was lost."""
    n = len(samples.time_s)
    if n == 0:
        return _Columns(samples.time_s, samples.pressure_pa, samples.position_m), 0.0
    good = np.isfinite(samples.time_s) & np.isfinite(samples.pressure_pa) & np.isfinite(samples.position_m)
    good[1:] &= np.diff(samples.time_s) > 0.0
    index = np.flatnonzero(good)
    pressure, position = samples.pressure_pa[index], samples.position_m[index]
    keep = ~(
        spikes(pressure, sensors.pressure_resolution_pa) | spikes(position, sensors.position_resolution_m)
    )
    index = index[keep]
    columns = _Columns(samples.time_s[index], pressure[keep], position[keep])
    changes = (samples.stage[1:] != samples.stage[:-1]) | (samples.cycle[1:] != samples.cycle[:-1])
    edges = [0, *(np.flatnonzero(changes) + 1).tolist(), n]
    for start, end in pairwise(edges):
        low, high = np.searchsorted(index, (start, end))
        if high > low:
            stage, cycle = str(samples.stage[start]), int(samples.cycle[start])
            columns.segments.append((stage, cycle, int(low), int(high)))
    return columns, 1.0 - len(index) / n


@dataclass(frozen=True, slots=True)
class _Vented:
    """What the pressure transmitter shows without air: mean and scatter of n readings [Pa]."""

    mean: float = 0.0
    sd: float = 0.0
    n: int = 0


def _zero(columns: _Columns, sensors: Sensors) -> tuple[_Vented, bool, list[str]]:
    """The zero of pressure, whether to take it off, and what is to be said of it."""
    tail = _tail(columns, ZERO, ZERO_TAIL_S)
    if tail is None:
        return _Vented(), False, ["The zero of pressure was not taken: the record has no vented stage."]
    vented = _vented(columns, tail)
    zero = vented.mean
    if sensors.pressure_is_inferred:
        return vented, False, []
    limit = max(3.0 * sensors.pressure_accuracy_pa, 0.005 * sensors.pressure_span_pa)
    if abs(zero) > limit:
        return (
            vented,
            False,
            [
                f"With the casing vented the pressure transmitter showed {zero:.0f} Pa, more than its "
                "accuracy explains: trapped air, or a zero that is off. It is not taken off; the "
                "uncertainties are widened by it."
            ],
        )
    notes = []
    if abs(zero) > 0.5 * sensors.pressure_accuracy_pa:
        notes.append(f"Zero of pressure: {zero:.0f} Pa shown when vented was taken off.")
    return vented, True, notes


def _vented(columns: _Columns, tail: slice) -> _Vented:
    """From the tail back to where the pressure was not gone yet: the more readings, the better the zero."""
    first = next(
        low for name, _, low, high in reversed(columns.segments) if name == ZERO and high == tail.stop
    )
    sd = float(columns.pressure[tail].std())
    start, mean = tail.start, float(columns.pressure[tail].mean())
    while start > first:
        block = int(np.searchsorted(columns.time, columns.time[start] - ZERO_BLOCK_S))
        if block < first or start - block < 5:
            break
        part = columns.pressure[block:start]
        n, more = tail.stop - start, start - block
        if abs(float(part.mean()) - mean) > ZERO_AGREES * sd * sqrt(1.0 / n + 1.0 / more):
            break
        mean, start = (mean * n + float(part.mean()) * more) / (n + more), block
    return _Vented(mean, sd, tail.stop - start)


def _tail(columns: _Columns, stage: str, seconds: float) -> slice | None:
    """The last `seconds` of the last segment of a stage."""
    for name, _, start, end in reversed(columns.segments):
        if name == stage and end - start >= 5:
            first = int(np.searchsorted(columns.time, columns.time[end - 1] - seconds))
            return slice(max(start, first), end)
    return None


def _rest(columns: _Columns) -> float:
    """Position reading of the stem at rest: while vented, else at the start of the first rise."""
    tail = _tail(columns, ZERO, ZERO_TAIL_S)
    if tail is None:
        start = next((low for name, _, low, _ in columns.segments if name == RISE), 0)
        tail = slice(start, start + 10)
    return float(median(columns.position[tail].tolist()))


def _sense(columns: _Columns, pressure: Floats, rest_m: float) -> float:
    """+1 if the reading grows with air, -1 if it falls."""
    strokes = [(low, high) for name, _, low, high in columns.segments if name in (RISE, TOP)]
    if not strokes:
        return 1.0
    low, high = strokes[0][0], strokes[-1][1]
    part = pressure[low:high]
    loaded = columns.position[low:high][part >= 0.9 * part.max()]
    return 1.0 if float(np.median(loaded)) >= rest_m else -1.0


def _cycles(columns: _Columns, raw: Floats, smooth: Floats, travel: Floats) -> list[Cycle]:
    def leg(start: int, end: int) -> Leg:
        part = slice(start, end)
        return Leg(columns.time[part], smooth[part], raw[part], travel[part])

    by_cycle: dict[int, dict[str, tuple[int, int]]] = {}
    for stage, cycle, start, end in columns.segments:
        if cycle >= 1:
            by_cycle.setdefault(cycle, {})[stage] = (start, end)
    cycles = []
    for number, stages in sorted(by_cycle.items()):
        if RISE not in stages:
            continue
        rise = stages[RISE]
        top = stages.get(TOP, (rise[1], rise[1]))
        middle = (top[0] + top[1]) // 2
        down = None
        if RETURN in stages:
            last = stages.get(REST, stages[RETURN])[1]
            down = leg(middle, last)
        held = (
            travel[top[0] : top[1]] if top[1] - top[0] >= 5 else travel[max(rise[0], rise[1] - 10) : rise[1]]
        )
        cycles.append(Cycle(number, leg(rise[0], max(middle, rise[1])), down, median(held.tolist())))
    return cycles
