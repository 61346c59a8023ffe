"""Broken-stick regression: two straight lines that meet at an unknown place, with its interval.

The global least squares by the exact search of Hudson (1966), not an iteration that may end elsewhere.
On a straight ramp with white noise the corner so found is the maximum likelihood one; on a real ramp, which
bends at every corner, the two lines with a gap of corner.py do better. Kept as the yardstick of those.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from rig.analysis.lines import LinearFit, fit_line, fit_linear
from rig.analysis.samples import Floats
from rig.analysis.student import t_quantile


@dataclass(frozen=True, slots=True)
class BrokenStick:
    """y = intercept + slope x up to `knot`, and with `slope_after` from there."""

    knot: float
    knot_error: float  # standard error, delta method (Feder 1975)
    intercept: float
    slope: float
    slope_after: float
    s: float
    residual_squares: float
    degrees_of_freedom: int
    fit: LinearFit  # of (1, x, max(x - knot, 0)) and the derivative by the knot

    @property
    def intercept_after(self) -> float:
        return self.intercept + (self.slope - self.slope_after) * self.knot

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Delta-method interval of the knot: symmetric, too narrow where few points lie near the knot."""
        reach = t_quantile(0.5 + coverage / 2.0, self.degrees_of_freedom) * self.knot_error
        return self.knot - reach, self.knot + reach


def fit_broken_stick(x: Floats, y: Floats) -> BrokenStick:
    """Least squares over all knots between the second and the last but one x; x must not fall.

    Raises ValueError with fewer than 6 points or when x is not in order.
    """
    if len(x) < 6:
        raise ValueError("a broken stick needs six points")
    if np.any(np.diff(x) < 0.0):
        raise ValueError("x must not fall")
    knot = _best_knot(x, y)
    beyond = np.maximum(x - knot, 0.0)
    plain = fit_linear(np.stack((np.ones(len(x)), x, beyond), axis=1), y)
    intercept, slope, change = (float(c) for c in plain.coefficients)
    turned = np.where(x > knot, -change, 0.0)
    fit = fit_linear(np.stack((np.ones(len(x)), x, beyond, turned), axis=1), y)
    freedom = len(x) - 4
    s2 = plain.residual_squares / freedom
    error = fit.standard_error(3) * sqrt(s2) / fit.s if fit.s > 0.0 else 0.0
    return BrokenStick(
        knot, error, intercept, slope, slope + change, sqrt(s2), plain.residual_squares, freedom, fit
    )


def residual_squares(x: Floats, y: Floats, knots: Floats) -> Floats:
    """Squares left by the best broken stick with each of the given knots.

    With h = max(x - c, 0) made orthogonal to (1, x), the fit gains (h.y)^2 / h.h over one line.
    """
    line = fit_line(x, y)
    u = x - line.mean_x
    rest = y - line.mean_y - line.slope * u
    h = np.maximum(x[None, :] - knots[:, None], 0.0)
    h -= h.mean(axis=1, keepdims=True)
    h -= np.outer(h @ u / line.spread, u)
    size = np.einsum("ij,ij->i", h, h)
    gain = np.where(size > 1e-12 * line.spread, (h @ rest) ** 2 / np.maximum(size, 1e-300), 0.0)
    return np.asarray(line.residual_squares - gain, dtype=np.float64)


def profile_interval(x: Floats, y: Floats, coverage: float = 0.95, steps: int = 400) -> tuple[float, float]:
    """Knots whose squares are within 1 + t^2 / freedom of the least: not symmetric, and honest.

    The t quantile squared is the F quantile with 1 and n - 4 degrees of freedom. The outermost crossings
    are found on a grid and halved in on.
    """
    found = fit_broken_stick(x, y)
    t = t_quantile(0.5 + coverage / 2.0, found.degrees_of_freedom)
    limit = found.residual_squares * (1.0 + t * t / found.degrees_of_freedom)
    grid = np.linspace(float(x[1]), float(x[-2]), steps)
    inside = grid[residual_squares(x, y, grid) <= limit]
    step = float(grid[1] - grid[0])
    low, high = (float(inside[0]), float(inside[-1])) if len(inside) else (found.knot, found.knot)
    low, high = min(low, found.knot), max(high, found.knot)

    def edge(within: float, beyond: float) -> float:
        for _ in range(40):
            middle = 0.5 * (within + beyond)
            if float(residual_squares(x, y, np.array([middle]))[0]) <= limit:
                within = middle
            else:
                beyond = middle
        return within

    return edge(low, low - step), edge(high, high + step)


@dataclass(frozen=True, slots=True)
class StraightRampCorner:
    pressure: float
    uncertainty: float  # standard
    degrees_of_freedom: int


def corner_on_straight_ramp(time: Floats, pressure: Floats, travel: Floats) -> StraightRampCorner:
    """Corner of an ideal record: broken stick of travel on time, the line of pressure read at its knot.

    The maximum likelihood estimate with white noise in both readings; their errors are independent.
    """
    stick = fit_broken_stick(time, travel)
    line = fit_line(time, pressure)
    variance = (line.slope * stick.knot_error) ** 2 + line.s**2 * line.variance_factor(stick.knot)
    return StraightRampCorner(line.at(stick.knot), sqrt(variance), stick.degrees_of_freedom)


def _best_knot(x: Floats, y: Floats) -> float:
    """Hudson's search: free lines on both sides of each split, or the stick bent at a reading."""
    x0, y0 = float(x.mean()), float(y.mean())
    u, v = x - x0, y - y0
    n = len(u)
    count = np.arange(1.0, n)
    left = _free_lines(count, *(np.cumsum(a)[:-1] for a in (u, v, u * u, u * v, v * v)))
    right_sums = (np.cumsum(a[::-1])[::-1][1:] for a in (u, v, u * u, u * v, v * v))
    right = _free_lines(n - count, *right_sums)
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = (left[0] - right[0]) / (right[1] - left[1])
        between = (cross >= u[:-1]) & (cross <= u[1:]) & (count >= 2) & (count <= n - 2)
    squares = np.where(between, left[2] + right[2], np.inf)
    at_readings = _at_readings(u, v)
    best, bent = int(np.argmin(squares)), int(np.argmin(at_readings))
    if squares[best] <= at_readings[bent]:
        return x0 + float(cross[best])
    return float(x[bent])


def _free_lines(
    n: Floats, su: Floats, sv: Floats, suu: Floats, suv: Floats, svv: Floats
) -> tuple[Floats, Floats, Floats]:
    """Intercepts, slopes and residual squares of lines from running sums."""
    spread = suu - su * su / n
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(spread > 0.0, (suv - su * sv / n) / spread, 0.0)
    squares = np.maximum(svv - sv * sv / n - slope * slope * spread, 0.0)
    return (sv - slope * su) / n, slope, squares


def _at_readings(u: Floats, v: Floats) -> Floats:
    """Squares of sticks bent at each reading, inf at the two outermost on either side; running sums."""
    line = fit_line(u, v)
    rest = v - line.mean_y - line.slope * (u - line.mean_x)

    def after(a: Floats) -> Floats:
        return np.asarray(np.cumsum(a[::-1])[::-1], dtype=np.float64)

    n = float(len(u))
    count, s1, s2 = after(np.ones(len(u))), after(u), after(u * u)
    h1 = s1 - u * count
    hu = s2 - u * s1 - line.mean_x * h1
    size = s2 - 2.0 * u * s1 + u * u * count - h1 * h1 / n - hu * hu / line.spread
    gain = (after(u * rest) - u * after(rest)) ** 2 / np.maximum(size, 1e-12 * line.spread)
    squares = np.asarray(line.residual_squares - gain, dtype=np.float64)
    squares[:2] = squares[-2:] = np.inf
    return squares
