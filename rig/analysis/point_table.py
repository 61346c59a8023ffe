"""Travel at stated points of pressure, up and down, cycle by cycle: the table that the terms are made from.

Input is the casing pressure as a share of the bench range (0 at its lower end, 1 at its upper), output is
travel as a share of rated travel. A reading is taken at the pressure that there was, and told at the point:
what matters is its deviation, output less input.

Travel counts from contact, as everywhere here: from the corner where the stem lands, where the record shows
one, so that what a seat gives way under load is no travel.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from math import nan, sqrt

import numpy as np
from numpy.typing import NDArray

from rig.analysis.corner import Corner
from rig.analysis.cycle import examine
from rig.analysis.instruments import usual_lag
from rig.analysis.lines import fit_line
from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO, Floats, Samples, Sensors
from rig.analysis.smooth import moving_mean
from rig.analysis.step_stages import LAND, TURN, Doing, Way, read_stage
from rig.analysis.strokes import Cycle, Leg, Strokes, find_strokes
from rig.profile.model import Profile

POINTS = (0.0, 0.25, 0.5, 0.75, 1.0)  # common practice
LEAST_READINGS = 5
RAMP_WINDOW = 0.005  # of the span to either side of a point of a ramp
RAMP_READINGS, MOST_READINGS = 4, 50  # to either side
READ_SCANS = 50.0  # behind the input that a reversal starts from, about
BAND_MEAN_S = 0.5
HOPPING = 4.0  # scatter about the sliding line over the noise of the readings
BEFORE_HOP_S = 0.3
STEADY_END_S = 1.5  # of a hold: its last part is what is read
NO_LANDING = (
    "No landing was seen: travel counts from the vented reading, and what the seat gives under load is in it."
)


@dataclass(frozen=True, slots=True)
class PointTable:
    """Outputs at the points, shares of rated travel; `up` and `down` are (cycles, points), nan: not read."""

    points: tuple[float, ...]
    up: Floats
    down: Floats
    settled: bool  # by step and settle; else read off a ramp
    noise: float  # standard deviation of one entry from the noise of the readings
    strokes: Strokes  # how the record was taken, for the uncertainties
    dead_bands: tuple["DeadBand", ...] = ()
    notes: tuple[str, ...] = ()
    rate_pa_per_s: float = 0.0  # of the ramp it was read off, at the fastest point

    @property
    def whole(self) -> bool:
        return bool(self.up.size and np.isfinite(self.up).all() and np.isfinite(self.down).all())

    @property
    def missing(self) -> str:
        """Which points were not read, in words; empty where all were."""
        lost = [
            f"{100.0 * point:g} % {way} in cycle {cycle + 1}"
            for way, table in (("rising", self.up), ("falling", self.down))
            for cycle, row in enumerate(table)
            for point, value in zip(self.points, row, strict=True)
            if not np.isfinite(value)
        ]
        if not self.up.size:
            return "no cycle was run"
        return f"not read: {', '.join(lost)}" if lost else ""


@dataclass(frozen=True, slots=True)
class DeadBand:
    """One reversal: input that changed before the stem moved again."""

    point: float  # near which, share of the input span
    way: Way  # in which the input went after the reversal
    share: float  # of the input span
    variance: float  # by the noise of the readings
    per_s: float = 0.0  # speed of the input, share of its span: what a lag makes of it


@dataclass(frozen=True, slots=True)
class _Readings:
    """Good readings of a record in shares of span and of rated travel, with where the stem rests."""

    time: Floats
    pressure: Floats  # share of the input span
    travel: Floats  # share of rated travel, from contact
    cycle: NDArray[np.int64]
    stage: NDArray[np.str_]
    shift_s: float  # a pressure this much later belongs to a travel: lags of transmitters and stem
    noise_input: float  # standard deviation of one reading
    noise_output: float


@dataclass
class _Gathered:
    up: dict[tuple[int, float], float] = field(default_factory=dict)
    down: dict[tuple[int, float], float] = field(default_factory=dict)
    counts: list[int] = field(default_factory=list)
    bands: list[DeadBand] = field(default_factory=list)


# -- step and settle -----------------------------------------------------------------------------------


def table_from_steps(samples: Samples, profile: Profile, sensors: Sensors) -> PointTable:
    """Read a step-and-settle record. Never raises on a poor one: what is missing is nan."""
    strokes = find_strokes(
        _as_strokes(samples), sensors, profile.rated_travel_m, usual_lag(sensors, profile)[0]
    )
    readings, notes = _readings(samples, profile, sensors, strokes)
    got = _gather(readings)
    points = tuple(sorted({point for _, point in (*got.up, *got.down)}))
    cycles = sorted({cycle for cycle, _ in (*got.up, *got.down)})
    up, down = _filled(got.up, cycles, points), _filled(got.down, cycles, points)
    shared = bool(len(points)) and bool(np.isnan(down[:, -1]).all()) and not _turned_above(samples)
    if shared:
        down[:, -1] = up[:, -1]
        notes.append(
            f"{100.0 * points[-1]:g} % was read once a cycle: there was no pressure to come to it from above."
        )
    per_entry = float(np.median(got.counts)) if got.counts else 1.0
    noise = sqrt((readings.noise_input**2 + readings.noise_output**2) / per_entry)
    return PointTable(points, up, down, True, noise, strokes, tuple(got.bands), tuple(notes))


def _filled(found: dict[tuple[int, float], float], cycles: list[int], points: Sequence[float]) -> Floats:
    rows = [[found.get((cycle, point), nan) for point in points] for cycle in cycles]
    return np.array(rows, dtype=np.float64).reshape(len(cycles), len(points))


def _turned_above(samples: Samples) -> bool:
    return bool(np.any(samples.stage == TURN))


def _as_strokes(samples: Samples) -> Samples:
    """The same run as whole strokes: its rising part one rise, its falling part one return."""
    parsed = {stage: read_stage(stage) for stage in np.unique(samples.stage).tolist()}
    names = {stage: stage for stage in (ZERO, REST)} | {TURN: TOP, LAND: RETURN}
    for stage, step in parsed.items():
        if step is not None and step.doing is not Doing.DEAD_BAND:
            names[stage] = RISE if step.way is Way.RISING else RETURN
    stages = np.array([names.get(stage, "") for stage in samples.stage.tolist()])
    kept = stages != ""
    return replace(
        samples,
        **{
            name: getattr(samples, name)[kept]
            for name in ("time_s", "pressure_pa", "position_m", "output_pa", "supply_pa", "cycle")
        },
        stage=stages[kept],
    )


def _readings(
    samples: Samples, profile: Profile, sensors: Sensors, strokes: Strokes
) -> tuple[_Readings, list[str]]:
    good = np.isfinite(samples.pressure_pa) & np.isfinite(samples.position_m)
    time, pressure, position = (a[good] for a in (samples.time_s, samples.pressure_pa, samples.position_m))
    stage, cycle = samples.stage[good], samples.cycle[good]
    zero_pa = strokes.zero_pa if strokes.zero_taken else 0.0
    span = profile.bench_upper_pa - profile.bench_lower_pa
    at_rest = np.flatnonzero(stage == ZERO)[-100:]
    rest_m = (
        float(np.median(position[at_rest])) if len(at_rest) else float(position[0]) if len(position) else 0.0
    )
    moved = position - rest_m
    farthest = float(moved[np.argmax(np.abs(moved))]) if len(moved) else 1.0
    contact_m, seen = _contact(strokes, profile)
    travel = (np.sign(farthest) * moved - contact_m) / profile.rated_travel_m
    counts = sensors.pressure_resolution_pa / span / sqrt(12.0)
    found = _Readings(
        time,
        (pressure - zero_pa - profile.bench_lower_pa) / span,
        travel,
        cycle,
        stage,
        sensors.pressure_lag_s - sensors.position_lag_s - usual_lag(sensors, profile)[0],
        max(strokes.zero_sd_pa / span, counts) if not sensors.pressure_is_inferred else 0.0,
        sqrt(strokes.noise_x) / profile.rated_travel_m,
    )
    return found, [*strokes.notes, *([] if seen else [NO_LANDING])]


def _contact(strokes: Strokes, profile: Profile) -> tuple[float, bool]:
    """Travel at which the stem lands, from its vented reading [m], and whether it was seen."""
    for name in ("reseat", "lift"):
        levels = [
            corner.travel
            for cycle in strokes.cycles
            if isinstance(corner := getattr(examine(cycle, strokes, profile), name), Corner)
        ]
        if levels:
            return float(np.mean(levels)), True
    return 0.0, False


def _gather(readings: _Readings) -> _Gathered:
    """Every hold and every reversal of the record, in order."""
    got = _Gathered()
    keys = list(zip(readings.cycle.tolist(), readings.stage.tolist(), strict=True))
    stood: dict[float, tuple[float, float]] = {}  # input and output where the stem last stood, by point
    start = 0
    for (cycle, stage), rows in groupby(keys):
        end = start + len(list(rows))
        part, start = slice(start, end), end
        step = read_stage(stage)
        if step is None or end - part.start < LEAST_READINGS:
            continue
        held = _end_of(readings, part)
        if step.doing is Doing.HOLD:
            outputs = got.up if step.way is Way.RISING else got.down
            at_input, at_output = stood[step.point] = _means(readings, held)
            outputs[(cycle, step.point)] = step.point + at_output - at_input
            got.counts.append(held.stop - held.start)
        elif step.doing is Doing.DEAD_BAND and step.way is Way.TURNED:
            stood[step.point] = _means(readings, held)
        elif step.doing is Doing.DEAD_BAND and step.point in stood:
            band = _dead_band(readings, part, step.way, *stood[step.point])
            if band is not None:
                got.bands.append(DeadBand(step.point, step.way, *band))
    return got


def _end_of(readings: _Readings, part: slice) -> slice:
    first = int(np.searchsorted(readings.time, readings.time[part.stop - 1] - STEADY_END_S))
    return slice(max(part.start, first), part.stop)


def _means(readings: _Readings, part: slice) -> tuple[float, float]:
    return float(readings.pressure[part].mean()), float(readings.travel[part].mean())


def _dead_band(
    readings: _Readings, part: slice, way: Way, from_input: float, from_output: float
) -> tuple[float, float, float] | None:
    """Input from the reversal to where the sliding line crosses the place where the stem stood; its variance
    and the speed of the input.

    Of a stem that hops: to where it first does, which is later than where it would slide.

    Both readings have their line over time, so that neither's noise flattens the other, over what moved by
    more than a third of all. What the stem gives way by some micrometres before it slides lies before that.
    None where it did not move clearly.
    """
    sign = 1.0 if way is Way.RISING else -1.0
    time = readings.time[part]
    went, moved = sign * (readings.pressure[part] - from_input), sign * (readings.travel[part] - from_output)
    quiet = moving_mean(time, moved, BAND_MEAN_S)
    far = float(quiet[-1])
    first = int(np.flatnonzero(quiet < 0.33 * far)[-1]) + 1 if np.any(quiet < 0.33 * far) else 0
    if len(moved) - first < LEAST_READINGS or far < 4.0 * readings.noise_output:
        return None
    t = time[first:] - time[-1]
    travel, pressure = fit_line(t, moved[first:]), fit_line(t, went[first:])
    if travel.slope <= 0.0:
        return None
    if travel.s > HOPPING * readings.noise_output + 0.02 * far:
        return _before_hop(readings, time, went, moved > 0.33 * far)
    at = -travel.intercept / travel.slope
    slope = pressure.slope / travel.slope
    factor = travel.variance_factor(at)
    variance = factor * ((slope * travel.s) ** 2 + pressure.s**2) + readings.noise_input**2 / READ_SCANS
    return pressure.at(at + readings.shift_s), variance, abs(pressure.slope)


def _before_hop(
    readings: _Readings, time: Floats, went: Floats, gone: NDArray[np.bool_]
) -> tuple[float, float, float] | None:
    """A stem that hops stands until it does: the input just before that, its variance and speed."""
    first = int(np.argmax(gone))
    before = slice(int(np.searchsorted(time, time[first] - BEFORE_HOP_S)), first)
    n = before.stop - before.start
    if n < LEAST_READINGS:
        return None
    went_on = abs(float(went[first] - went[before.start])) / 2.0
    per_s = 2.0 * went_on / float(time[first] - time[before.start])
    at_hop = float(went[before].mean()) + went_on + per_s * readings.shift_s
    return at_hop, went_on**2 / 3.0 + readings.noise_input**2 / n, per_s


# -- off a ramp ----------------------------------------------------------------------------------------


def table_from_ramp(
    samples: Samples,
    profile: Profile,
    sensors: Sensors,
    points: Sequence[float] = (0.0, 0.25, 0.5, 0.75, 1.0),
) -> PointTable:
    """Read the points off the ramps of a bench check: where the pressure first passes each, up and down."""
    strokes = find_strokes(samples, sensors, profile.rated_travel_m, usual_lag(sensors, profile)[0])
    contact_m, seen = _contact(strokes, profile)
    rows = [_passed(cycle, profile, contact_m, points) for cycle in strokes.cycles]
    shape = (len(rows), len(points))
    up = np.array([row[0] for row in rows], dtype=np.float64).reshape(shape)
    down = np.array([row[1] for row in rows], dtype=np.float64).reshape(shape)
    span = profile.bench_upper_pa - profile.bench_lower_pa
    noise_in, noise_out = strokes.zero_sd_pa / span, sqrt(strokes.noise_x) / profile.rated_travel_m
    noise = sqrt((noise_in**2 + noise_out**2) / (2 * RAMP_READINGS + 1))
    notes = () if seen or not strokes.cycles else (NO_LANDING,)
    speeds = [speed for row in rows for speed in row[2]]
    return PointTable(
        tuple(points), up, down, False, noise, strokes, (), notes, max(speeds) if speeds else 0.0
    )


def _passed(
    cycle: Cycle, profile: Profile, contact_m: float, points: Sequence[float]
) -> tuple[list[float], list[float], list[float]]:
    """Outputs rising and falling, and the speeds of the ramp [Pa/s]; nan where a point was not passed."""
    speeds: list[float] = []

    def read(leg: Leg | None, sign: float) -> list[float]:
        outputs = []
        for point in points:
            part = None if leg is None else _beside(leg, profile, point, sign)
            if leg is None or part is None:
                outputs.append(nan)
                continue
            travel = (leg.travel[part] - contact_m) / profile.rated_travel_m
            outputs.append(point + float(travel.mean()) - float(_share(leg, profile)[part].mean()))
            speeds.append(abs(float(fit_line(leg.time[part], leg.pressure[part]).slope)))
        return outputs

    return read(cycle.up, 1.0), read(cycle.down, -1.0), speeds


def _share(leg: Leg, profile: Profile) -> Floats:
    return (leg.pressure - profile.bench_lower_pa) / (profile.bench_upper_pa - profile.bench_lower_pa)


def _beside(leg: Leg, profile: Profile, point: float, sign: float) -> slice | None:
    """The readings about the first passing of a point; None where the ramp does not pass it."""
    share = _share(leg, profile)
    beyond = sign * (share - point) >= 0.0
    first = int(np.argmax(beyond))
    if not beyond[first] or first < RAMP_READINGS or first + RAMP_READINGS >= len(share):
        return None
    near = np.flatnonzero(np.abs(share - point) < RAMP_WINDOW)
    near = near[np.abs(near - first) < MOST_READINGS]
    low, high = (int(near[0]), int(near[-1])) if len(near) else (first, first)
    return slice(min(first - RAMP_READINGS, low), max(first + RAMP_READINGS, high) + 1)
