"""A short stroke: up to a little past lift-off and back. Lift-off, reseat, friction and slope.

Less is seen than by a full check, so the uncertainties are wider; it decides what to do next, not a verdict.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from rig.analysis.corner import PSI, Corner, Missing, find_corner, orient, pooled_noise
from rig.analysis.curve import Curve, fit_curve
from rig.analysis.result import Estimate
from rig.analysis.samples import Samples, Sensors
from rig.analysis.stick import break_away, find_sticking
from rig.analysis.strokes import Cycle, Leg, Strokes, find_strokes

CORNER_FLOOR_PA = 0.02 * PSI  # friction that has not finished reversing, soft seats; assumption
RATE_FLOOR = 0.02  # relative: a short stretch of a bowed curve; assumption
PART_USED = 0.5  # find_corner looks at less than half of a stroke: call this one half of one


@dataclass(frozen=True, slots=True)
class ShortStroke:
    """What was seen, SI, along the stroke coordinate. `why` says what is missing; then all is None."""

    lift_off_pa: Estimate | None = None  # first movement, friction included
    reseat_pa: Estimate | None = None  # None: it lands so low that little of its rest is seen
    half_band_pa: float = 0.0
    pa_per_m: Estimate | None = None  # slope of the sliding line: k / A
    closed_m: float = 0.0  # travel reading at which the stem leaves its rest
    highest_m: float = 0.0  # travel reached [m]
    hop_m: float = 0.0  # 0: it slides smoothly
    why: str = ""

    @property
    def spring_only_pa(self) -> Estimate | None:
        """Spring alone at rest: half way between leaving and landing, or half a band below leaving."""
        lift, land = self.lift_off_pa, self.reseat_pa
        if lift is None:
            return None
        if land is None:
            return Estimate(lift.value - self.half_band_pa, sqrt(2.0) * lift.standard_uncertainty)
        u = 0.5 * sqrt(lift.standard_uncertainty**2 + land.standard_uncertainty**2)
        return Estimate(0.5 * (lift.value + land.value), u)

    @property
    def gain_m_per_pa(self) -> float:
        """Travel per pressure of the sliding stem, A / k; 0 where it is not known."""
        return 0.0 if self.pa_per_m is None else 1.0 / self.pa_per_m.value


def read_short_stroke(samples: Samples, sensors: Sensors, rated_travel_m: float) -> ShortStroke:
    """Everything a short stroke tells. Never raises on a poor record."""
    strokes = find_strokes(samples, sensors, rated_travel_m)
    if strokes.why or not strokes.cycles:
        return ShortStroke(why=strokes.why or "the record holds no stroke")
    cycle = strokes.cycles[0]
    low, high = _level(cycle.up, strokes), cycle.top_m
    if cycle.down is None:
        return ShortStroke(why="the stroke back was not recorded")
    part = (high - low) / PART_USED
    lift = find_corner(orient(cycle.up, True, True, low), part, strokes.scan_s, after_turn=True)
    land = find_corner(orient(cycle.down, True, False, low), part, strokes.scan_s)
    if isinstance(lift, Missing):
        return ShortStroke(why=f"no lift-off was seen: {lift.why}")
    # From the corner on: a soft seat that gives way below it is no part of the sliding line.
    curve = fit_curve(cycle, lift.travel, high)
    if curve is None or curve.slope <= 0.0:
        return ShortStroke(why="the stem did not slide far enough both ways")
    return _read(cycle, strokes, sensors, (lift, land), curve, (low, high))


def _read(
    cycle: Cycle,
    strokes: Strokes,
    sensors: Sensors,
    corners: tuple[Corner, Corner | Missing],
    curve: Curve,
    ends: tuple[float, float],
) -> ShortStroke:
    lift, land = corners
    if isinstance(land, Corner):
        lift = lift.at_level_of(land)
    low, high = ends
    legs = [cycle.up] if cycle.down is None else [cycle.up, cycle.down]
    sticking = find_sticking(legs, low, high, strokes.noise_x, strokes.scan_s)
    lift_off = _estimate(lift, sensors)
    hop_m = sticking.hop_m if sticking.sticking else 0.0
    away = break_away(orient(cycle.up, True, True, low), lift, strokes.noise_x, strokes.scan_s, hop_m)
    if away is not None:
        variance = away.variance + away.start**2 + CORNER_FLOOR_PA**2
        lift_off = Estimate(away.pressure, sqrt(variance))
    slope_u = sqrt(curve.factor(1)) * curve.residual_pa
    return ShortStroke(
        lift_off_pa=lift_off,
        reseat_pa=_estimate(land, sensors) if isinstance(land, Corner) else None,
        half_band_pa=max(0.0, curve.half_band),
        pa_per_m=Estimate(curve.slope, sqrt(slope_u**2 + (RATE_FLOOR * curve.slope) ** 2)),
        closed_m=land.travel if isinstance(land, Corner) else lift.travel,
        highest_m=high,
        hop_m=hop_m,
    )


def _level(leg: Leg, strokes: Strokes) -> float:
    return float(np.median(leg.travel[: max(5, round(0.5 / strokes.scan_s))]))


def _estimate(corner: Corner, sensors: Sensors) -> Estimate:
    """Noise, the roundness of the corner as it shows itself, a floor; the transmitter's own error is not
    in it: where two looks are compared it is the same in both."""
    rest, _ = pooled_noise([corner.rest_noise])
    slide, _ = pooled_noise([corner.slide_noise])
    rounding = corner.rounding if corner.rounding == corner.rounding else 0.0
    resolution = sensors.pressure_resolution_pa / sqrt(12.0)
    variance = corner.variance(rest, slide) + 0.5 * rounding**2 + CORNER_FLOOR_PA**2 + resolution**2
    return Estimate(corner.pressure, sqrt(variance))
