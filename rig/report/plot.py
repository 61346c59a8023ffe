"""The plots of a sheet: travel against pressure, and both over time. Pixels at 96 to the inch."""

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from rig.analysis.result import CheckResult
from rig.analysis.samples import Floats
from rig.profile.model import Profile
from rig.report.curves import Curves, thinned
from rig.report.svg import Axis, box, curve, dot, drawing, line, steps, text, ticks, wedge
from rig.report.words import corner_name, ends, in_inches, plain, travel_text
from rig.units import Dimension, UnitSet, inches_text

INCH_M = 0.0254
LETTER_PX = 5.0  # mean width of a bold letter at 10 px, for keeping labels inside the frame


@dataclass(frozen=True, slots=True)
class _Frame:
    """One pair of axes in SI, with the marks that people read in their own units."""

    x: Axis
    y: Axis

    @property
    def left(self) -> float:
        return self.x.start

    @property
    def right(self) -> float:
        return self.x.end

    @property
    def top(self) -> float:
        return self.y.end

    @property
    def bottom(self) -> float:
        return self.y.start

    def points(self, xs: Floats, ys: Floats, kind: str) -> str:
        return curve(*thinned(self.x.all_at(xs), self.y.all_at(ys)), kind)


def pressure_travel(
    curves: Curves, profile: Profile, result: CheckResult, units: UnitSet, width: float, height: float
) -> str:
    """Travel [y] against casing pressure [x], going up and coming back, the rated range marked."""
    frame = _Frame(
        Axis(0.0, _highest_pa(curves, profile), 52.0, width - 8.0),
        Axis(*_travel_span(curves, profile), height - 38.0, 20.0),
    )
    parts = [
        *_bands(frame, profile, units),
        *_pressure_axis(frame, units),
        *_travel_axis(frame, profile, units),
        *_strokes(frame, curves, profile),
        *_corners(frame, profile, result),
        *_key(frame),
    ]
    return drawing(width, height, "Travel against casing pressure, going up and coming back", parts)


def over_time(curves: Curves, profile: Profile, units: UnitSet, width: float, height: float) -> str:
    """Pressure above, travel below, over one time axis."""
    start_s, end_s = _time_span(curves)
    x = Axis(start_s, end_s, 52.0, width - 6.0)
    gap = 16.0
    middle = 20.0 + (height - 38.0 - 20.0 - gap) / 2.0
    upper = _Frame(x, Axis(0.0, _highest_pa(curves, profile), middle, 20.0))
    lower = _Frame(x, Axis(*_travel_span(curves, profile), height - 38.0, middle + gap))
    parts: list[str] = []
    for frame, values, rated in (
        (upper, curves.pressure_pa, (profile.bench_lower_pa, profile.bench_upper_pa)),
        (lower, curves.travel_m, (profile.rated_travel_m,)),
    ):
        for level in rated:
            parts.append(line(frame.left, frame.y.at(level), frame.right, frame.y.at(level), "rated"))
        parts.append(box(frame.left, frame.top, frame.right, frame.bottom, "frame"))
        parts.append(frame.points(curves.time_s, values, "trace"))
    parts += _pressure_marks(upper, units)
    parts += _travel_marks(lower, profile, units)
    for mark in ticks(start_s, end_s, 5):
        parts.append(line(x.at(mark), lower.bottom, x.at(mark), lower.bottom + 4.0, "tick"))
        parts.append(text(x.at(mark), lower.bottom + 15.0, f"{mark:g}", "middle"))
    parts.append(text(upper.left, 12.0, f"Pressure, {units.symbol(Dimension.PRESSURE)}", kind="axis"))
    parts.append(text(lower.left, lower.top - 5.0, f"Travel, {units.symbol(Dimension.LENGTH)}", kind="axis"))
    parts.append(text((x.start + x.end) / 2.0, height - 6.0, "Time, s", "middle", "axis"))
    return drawing(width, height, "Casing pressure and travel over time", parts)


# -- spans -----------------------------------------------------------------------------------------


def _highest_pa(curves: Curves, profile: Profile) -> float:
    span = profile.bench_upper_pa - profile.bench_lower_pa
    wanted = profile.bench_upper_pa + profile.upper_tolerance.plus + 0.16 * span
    seen = curves.pressure_pa[np.isfinite(curves.pressure_pa)]
    return max(wanted, float(seen.max()) * 1.04 if seen.size else 0.0)


def _travel_span(curves: Curves, profile: Profile) -> tuple[float, float]:
    rated = profile.rated_travel_m
    seen = curves.travel_m[np.isfinite(curves.travel_m)]
    low = min(-0.06 * rated, float(np.quantile(seen, 0.001)) * 1.05 if seen.size else 0.0)
    high = max(
        1.1 * rated, rated + 1.5 * profile.travel_surplus_m, float(seen.max()) * 1.05 if seen.size else 0
    )
    return low, high


def _time_span(curves: Curves) -> tuple[float, float]:
    if curves.time_s.size < 2:
        return 0.0, 1.0
    return float(curves.time_s[0]), max(float(curves.time_s[-1]), float(curves.time_s[0]) + 1.0)


# -- axes ------------------------------------------------------------------------------------------


def _pressure_axis(frame: _Frame, units: UnitSet) -> list[str]:
    per_unit = 1.0 / units.to(Dimension.PRESSURE, 1.0)
    parts = [box(frame.left, frame.top, frame.right, frame.bottom, "frame")]
    for mark in ticks(0.0, frame.x.high / per_unit, 8):
        x = frame.x.at(mark * per_unit)
        parts.append(line(x, frame.bottom, x, frame.bottom + 4.0, "tick"))
        parts.append(text(x, frame.bottom + 15.0, f"{mark:g}", "middle"))
    words = f"Casing pressure, {units.symbol(Dimension.PRESSURE)}"
    parts.append(text((frame.left + frame.right) / 2.0, frame.bottom + 32.0, words, "middle", "axis"))
    return parts


def _pressure_marks(frame: _Frame, units: UnitSet) -> list[str]:
    per_unit = 1.0 / units.to(Dimension.PRESSURE, 1.0)
    parts: list[str] = []
    for mark in ticks(0.0, frame.y.high / per_unit, 4):
        y = frame.y.at(mark * per_unit)
        parts.append(line(frame.left - 4.0, y, frame.left, y, "tick"))
        parts.append(text(frame.left - 7.0, y + 3.5, f"{mark:g}", "end"))
    return parts


def _travel_marks(frame: _Frame, profile: Profile, units: UnitSet) -> list[str]:
    parts: list[str] = []
    for mark_m, words in _travel_ticks(frame.y.high, profile.rated_travel_m, units):
        y = frame.y.at(mark_m)
        parts.append(line(frame.left - 4.0, y, frame.left, y, "tick"))
        parts.append(text(frame.left - 7.0, y + 3.5, words, "end"))
    return parts


def _travel_axis(frame: _Frame, profile: Profile, units: UnitSet) -> list[str]:
    words = f"Travel, {units.symbol(Dimension.LENGTH)}"
    return [*_travel_marks(frame, profile, units), text(4.0, 12.0, words, kind="axis")]


def _travel_ticks(high_m: float, rated_m: float, units: UnitSet) -> list[tuple[float, str]]:
    """About five ticks: binary fractions of an inch in inch sets, round millimetres otherwise."""
    if in_inches(units):
        coarse = (1.0 / 16, 1.0 / 8, 1.0 / 4, 1.0 / 2, 1.0, 2.0)
        step = next((s for s in coarse if ceil(rated_m / INCH_M / s) <= 6), coarse[-1])
        marks = steps(0.0, high_m / INCH_M, step)
        return [(m * INCH_M, inches_text(m * INCH_M).removesuffix(" in") if m else "0") for m in marks]
    per_unit = 1.0 / units.to(Dimension.LENGTH, 1.0)
    return [(mark * per_unit, f"{mark:g}") for mark in ticks(0.0, high_m / per_unit, 5)]


# -- the rated range and what was measured -----------------------------------------------------------


def _bands(frame: _Frame, profile: Profile, units: UnitSet) -> list[str]:
    """Tolerance bands of the two rated pressures, and of the travel: from rated up, never below."""
    parts: list[str] = []
    for rated, tolerance in (
        (profile.bench_lower_pa, profile.lower_tolerance),
        (profile.bench_upper_pa, profile.upper_tolerance),
    ):
        low, high = frame.x.clamped(rated - tolerance.minus), frame.x.clamped(rated + tolerance.plus)
        x = frame.x.at(rated)
        parts.append(box(low, frame.top, high, frame.bottom, "band"))
        parts.append(line(x, frame.top, x, frame.bottom, "rated"))
        words = f"{plain(units.to(Dimension.PRESSURE, rated))} {units.symbol(Dimension.PRESSURE)}"
        parts.append(text(x, frame.top - 6.0, f"rated {words}", "middle", "rated-text"))
    travel = profile.rated_travel_m
    above = frame.y.at(travel + profile.travel_surplus_m)
    y = frame.y.at(travel)
    parts.append(box(frame.left, above, frame.right, y, "band"))
    parts.append(line(frame.left, y, frame.right, y, "rated"))
    parts.append(text(frame.left + 6.0, y + 12.0, f"rated {travel_text(units, travel)}", kind="rated-text"))
    rest, end = ends(profile.action)
    zero = frame.y.at(0.0)
    parts.append(line(frame.left, zero, frame.right, zero, "rest"))
    parts.append(text(frame.right - 6.0, zero - 5.0, f"on the {rest}", "end", "rest-text"))
    parts.append(text(frame.left + 6.0, above - 5.0, f"on the {end}", kind="rest-text"))
    return parts


def _strokes(frame: _Frame, curves: Curves, profile: Profile) -> list[str]:
    parts: list[str] = []
    for ranges, kind, up in ((curves.down, "down", False), (curves.up, "up", True)):
        parts += [frame.points(curves.pressure_pa[r], curves.travel_m[r], kind) for r in ranges]
        parts += [_arrow(frame, curves, r, profile.rated_travel_m / 2.0, kind, up) for r in ranges[-1:]]
    return parts


def _arrow(frame: _Frame, curves: Curves, of: NDArray[np.intp], travel_m: float, kind: str, up: bool) -> str:
    """Which way a curve was ridden, told by shape so that it survives a grey print."""
    beyond = np.flatnonzero((curves.travel_m[of] >= travel_m) == up)
    if beyond.size == 0 or not np.isfinite(curves.pressure_pa[of[beyond[0]]]):
        return ""
    at = of[beyond[0]]
    return wedge(frame.x.at(float(curves.pressure_pa[at])), frame.y.clamped(travel_m), up, f"{kind}-arrow")


def _corners(frame: _Frame, profile: Profile, result: CheckResult) -> list[str]:
    """The four corners, each labelled on the side where no curve runs."""
    travel = result.quantities.get("travel")
    end_m = travel.value if travel is not None and travel.value is not None else profile.rated_travel_m
    parts: list[str] = []
    for key, at_m, dx, dy, anchor in (
        ("lift_off", 0.0, 8.0, -7.0, "start"),
        ("reseat", 0.0, -8.0, -7.0, "end"),
        ("full_travel", end_m, 8.0, 15.0, "start"),
        ("return_start", end_m, -10.0, 15.0, "end"),
    ):
        quantity = result.quantities.get(key)
        if quantity is None or quantity.value is None:
            continue
        x, y = frame.x.clamped(quantity.value), frame.y.clamped(at_m)
        parts.append(dot(x, y, "corner"))
        words = corner_name(key, profile.action)
        room = LETTER_PX * len(words) + 4.0
        if anchor == "end":
            at = max(x + dx, frame.left + room)
        else:
            at = min(x + dx, frame.right - room)
        parts.append(text(at, y + dy, words, anchor, "corner-text"))
    return parts


def _key(frame: _Frame) -> list[str]:
    x = frame.left + 0.52 * (frame.right - frame.left)
    y = frame.top + 0.78 * (frame.bottom - frame.top)
    return [
        line(x, y, x + 26.0, y, "up"),
        wedge(x + 13.0, y, True, "up-arrow"),
        text(x + 32.0, y + 3.5, "going up"),
        line(x, y + 15.0, x + 26.0, y + 15.0, "down"),
        wedge(x + 13.0, y + 15.0, False, "down-arrow"),
        text(x + 32.0, y + 18.5, "coming back"),
    ]
