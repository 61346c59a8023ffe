"""Least squares: general linear models and straight lines, with their covariances."""

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from rig.analysis.samples import Floats


@dataclass(frozen=True, slots=True)
class LinearFit:
    """y = design @ coefficients; `covariance` holds s^2 (X'X)^-1, `s` the residual standard deviation."""

    coefficients: Floats
    covariance: Floats
    s: float
    degrees_of_freedom: int
    residual_squares: float

    def standard_error(self, index: int) -> float:
        return sqrt(float(self.covariance[index, index]))


def fit_linear(design: Floats, y: Floats) -> LinearFit:
    """Ordinary least squares by QR; columns are scaled first, so unlike sizes do no harm.

    Raises ValueError with fewer rows than columns or columns that depend on each other.
    """
    rows, columns = design.shape
    if rows < columns:
        raise ValueError(f"{rows} points cannot carry {columns} coefficients")
    scale = np.sqrt(np.einsum("ij,ij->j", design, design))
    if not np.all(scale > 0.0):
        raise ValueError("a column of the model is empty")
    q, r = np.linalg.qr(design / scale)
    if np.min(np.abs(np.diag(r))) < 1e-13:
        raise ValueError("the columns of the model depend on each other")
    inverse = np.linalg.inv(r)
    coefficients = inverse @ (q.T @ y) / scale
    residuals = y - design @ coefficients
    squares = float(residuals @ residuals)
    freedom = rows - columns
    variance = squares / freedom if freedom else 0.0
    covariance = variance * (inverse @ inverse.T) / np.outer(scale, scale)
    return LinearFit(coefficients, covariance, sqrt(variance), freedom, squares)


@dataclass(frozen=True, slots=True)
class Line:
    """Straight line y = mean_y + slope (x - mean_x) through n points.

    `spread` is the sum of (x - mean_x)^2. Mean and slope are uncorrelated for white noise.
    """

    slope: float
    mean_x: float
    mean_y: float
    spread: float
    n: int
    residual_squares: float

    def at(self, x: float) -> float:
        return self.mean_y + self.slope * (x - self.mean_x)

    @property
    def intercept(self) -> float:
        return self.at(0.0)

    @property
    def s(self) -> float:
        """Residual standard deviation with n - 2 degrees of freedom; 0 for two points."""
        return sqrt(self.residual_squares / (self.n - 2)) if self.n > 2 else 0.0

    def variance_factor(self, x: float) -> float:
        """Variance of the line at x over that of one point: 1/n + (x - mean_x)^2 / spread."""
        return 1.0 / self.n + (x - self.mean_x) ** 2 / self.spread

    def knowing(self, slope: float, sd: float, noise: float) -> "Line":
        """The line with what is known of its slope beforehand (normal), for points of variance `noise`.

        Precisions add: `spread` grows by noise / sd^2, so `variance_factor` stays right.
        """
        known = noise / sd**2
        spread = self.spread + known
        return replace(self, slope=(self.slope * self.spread + slope * known) / spread, spread=spread)


def fit_line(x: Floats, y: Floats) -> Line:
    """Least squares; raises ValueError with fewer than two points or all at one x."""
    n = len(x)
    if n < 2:
        raise ValueError("a line needs two points")
    mean_x, mean_y = float(np.add.reduce(x)) / n, float(np.add.reduce(y)) / n  # mean() costs 3 times as much
    dx, dy = x - mean_x, y - mean_y
    spread = float(dx @ dx)
    if spread <= 0.0:
        raise ValueError("a line needs points at different x")
    cross = float(dx @ dy)
    slope = cross / spread
    # Through the residuals: total minus explained squares would lose all digits on a close fit.
    residuals = dy - slope * dx
    return Line(slope, mean_x, mean_y, spread, n, float(residuals @ residuals))
