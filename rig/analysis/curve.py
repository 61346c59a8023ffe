"""The sliding curve of one cycle: one least-squares fit to both ways of the stroke together.

P = a + b u + d (u^2 - m) + s R + (s R' u), u = x - x_mid, s = +1 on the way up and -1 down, over 8 to 92 % of
travel. It gives spring rate, half band and spring-only pressures at once; d is the bow of the spring line.
Readings are chosen by the travel they show, and an even ramp has as many true travels below that as above:
so noise of travel does not flatten b here, as it would where the true travels end with the data.
"""

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from rig.analysis.samples import Floats
from rig.analysis.strokes import Cycle, Leg

INNER, OUTER = 0.08, 0.92  # share of travel; the ends are left to the corners
LEAST_POINTS = 30  # each way
BINS = 10
SPEED_SCANS = 12  # each way, for the speed of the ramp


@dataclass(frozen=True, slots=True)
class Curve:
    """Coefficients [Pa, Pa/m, Pa/m^2, Pa, Pa/m] about `middle`; `inverse` is (X'X)^-1."""

    middle: float
    offset: float  # m^2: the square is taken less this
    coefficients: Floats  # a, b, d, R, R'
    inverse: Floats
    residual_pa: float  # root mean square about the fit
    gap_pa: Floats  # up less down in BINS equal parts of the stroke, nan where not seen
    gap_factor: Floats  # variance of each over that of one reading
    gap_speed: Floats  # Pa/s, ramp speeds up and down together in each part
    length: float  # m, contact to contact as far as known
    extra_matrix: Floats  # (2, 2) normal matrix of (s |dP/dt|, s u^2) freed of the other columns
    extra_right: Floats  # (2,) and its right-hand side
    extra_shift: Floats  # (5, 2): what a unit of either does to the coefficients when left out

    @property
    def slope(self) -> float:
        """At the middle [Pa/m]."""
        return float(self.coefficients[1])

    @property
    def half_band(self) -> float:
        return float(self.coefficients[3])

    @property
    def half_band_slope(self) -> float:
        return float(self.coefficients[4])

    def at(self, x: float) -> float:
        """Spring-only pressure at travel x [Pa]."""
        u = x - self.middle
        a, _, d = (float(c) for c in self.coefficients[:3])
        return a + self.slope * u + d * (u * u - self.offset)

    def slope_at(self, x: float) -> float:
        return self.slope + 2.0 * float(self.coefficients[2]) * (x - self.middle)

    def variance_factor(self, x: float) -> float:
        """Variance of `at(x)` over that of one reading."""
        u = x - self.middle
        row = np.array([1.0, u, u * u - self.offset, 0.0, 0.0])
        return float(row @ self.inverse @ row)

    def without(self, tau_s: float, uneven: float) -> "Curve":
        """The same curve with drag and unevenness of friction taken out; R becomes the mean over the stroke.

        The gap between up and down keeps the unevenness but loses the drag.
        """
        fixed = self.coefficients - self.extra_shift @ np.array((tau_s, uneven))
        fixed[3] += uneven * self.length**2 / 12.0
        return replace(self, coefficients=fixed, gap_pa=self.gap_pa - tau_s * self.gap_speed)

    def factor(self, index: int) -> float:
        return float(self.inverse[index, index])

    @property
    def bow_y(self) -> float:
        """Curvature of travel over pressure, half of d2x/dP2 [m/Pa^2]: what a local line bends by."""
        return -float(self.coefficients[2]) / self.slope**3


def fit_curve(cycle: Cycle, low_m: float, high_m: float) -> Curve | None:
    """Fit between `low_m` and `high_m` (travel at both contacts); None without a whole stroke both ways."""
    if cycle.down is None:
        return None
    length = high_m - low_m
    inner, outer = low_m + INNER * length, low_m + OUTER * length
    up, down = _inside(cycle.up, inner, outer), _inside(cycle.down, inner, outer)
    if min(len(up[0]), len(down[0])) < LEAST_POINTS or min(np.ptp(up[0]), np.ptp(down[0])) < 0.5 * length:
        return None
    x = np.concatenate((up[0], down[0]))
    p = np.concatenate((up[1], down[1]))
    way = np.ones(len(x))
    way[len(up[0]) :] = -1.0
    middle = 0.5 * (low_m + high_m)
    u = x - middle
    square = u * u
    offset = float(square.mean())
    design = np.stack((np.ones(len(u)), u, square - offset, way, way * u), axis=1)
    inverse = _inverse(design.T @ design)
    coefficients = inverse @ (design.T @ p)
    residuals = p - design @ coefficients
    speed = np.concatenate((up[2], down[2]))
    extra = np.stack((way * speed, way * square), axis=1)
    shift = inverse @ (design.T @ extra)
    freed = extra - design @ shift
    gap, factor, gap_speed = _gaps(u / length, residuals, way, speed, coefficients, length)
    return Curve(
        middle=middle,
        offset=offset,
        coefficients=coefficients,
        inverse=inverse,
        residual_pa=sqrt(float(residuals.var())),
        gap_pa=gap,
        gap_factor=factor,
        gap_speed=gap_speed,
        length=length,
        extra_matrix=freed.T @ freed,
        extra_right=freed.T @ residuals,
        extra_shift=shift,
    )


def _inside(leg: Leg, inner: float, outer: float) -> tuple[Floats, Floats, Floats]:
    """Travel, pressure and its speed |dP/dt| of the readings between two travels."""
    inside = np.flatnonzero((leg.travel > inner) & (leg.travel < outer))
    before = np.maximum(inside - SPEED_SCANS, 0)
    after = np.minimum(inside + SPEED_SCANS, len(leg.time) - 1)
    speed = (leg.pressure[after] - leg.pressure[before]) / (leg.time[after] - leg.time[before])
    return leg.travel[inside], leg.pressure[inside], np.abs(speed)


def _inverse(matrix: Floats) -> Floats:
    """Inverse of a normal matrix whose columns have unlike units."""
    scale = 1.0 / np.sqrt(np.diag(matrix))
    scaled = np.asarray(np.linalg.inv(matrix * scale[:, None] * scale[None, :]), dtype=np.float64)
    return scaled * scale[:, None] * scale[None, :]


def _gaps(
    share: Floats, residuals: Floats, way: Floats, speed: Floats, coefficients: Floats, length: float
) -> tuple[Floats, Floats, Floats]:
    """Gap between up and down in equal parts of the stroke (share -0.5..0.5), from the fit's residuals.

    With it the variance factor of each and the speeds of the ramp, up and down together.
    """
    part = np.clip(((share + 0.5) * BINS).astype(np.int64), 0, BINS - 1)
    upward = way > 0.0

    def each(values: Floats | None, mask: NDArray[np.bool_]) -> Floats:
        weights = None if values is None else values[mask]
        return np.bincount(part[mask], weights, minlength=BINS).astype(np.float64)

    up_n, down_n = each(None, upward), each(None, ~upward)
    seen = (up_n >= 3) & (down_n >= 3)
    up_n, down_n = np.where(seen, up_n, 1.0), np.where(seen, down_n, 1.0)
    centres = ((np.arange(BINS) + 0.5) / BINS - 0.5) * length
    fitted = 2.0 * (coefficients[3] + coefficients[4] * centres)
    gap = fitted + each(residuals, upward) / up_n - each(residuals, ~upward) / down_n
    speeds = each(speed, upward) / up_n + each(speed, ~upward) / down_n
    return np.where(seen, gap, np.nan), 1.0 / up_n + 1.0 / down_n, speeds
