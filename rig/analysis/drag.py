"""What speed adds to friction: viscous drag c v, and whatever is wrong with the stated lags. One number.

A stem with drag c on a spring k lags the pressure by c / k, and so looks the same as a pressure transmitter
that is too quick by that much: at a ramp of r, the way up reads r tau too high, the way down too low.

The usual lag (instruments.py) is taken off when pressure and travel are aligned; tau is what is left. It is
told from the data where the ramp ran at different speeds: best over the same travel in different cycles, less
well over different travel in one cycle, where friction that changes along the stroke looks alike. A valve is
believed to be far from usual only where cycles of different speed say so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from rig.analysis.curve import Curve

UNEVEN_SHARE = 0.05  # prior: the half band at the ends differs from that at mid travel by this share
CYCLE_SCATTER_PA = 15.0  # of the half band from cycle to cycle, beyond noise: about 0.002 psi
LEAST_NOISE_PA = 1.0  # no record is better than that
FAR = 4.0  # standard deviations from what is usual


@dataclass(frozen=True, slots=True)
class Drag:
    """Lag of the stem beyond the usual [s], with its standard uncertainty, and R'' [Pa/m^2]."""

    tau_s: float
    uncertainty_s: float
    uneven: float = 0.0  # friction's half band has R'' u^2 in it, u from mid travel
    seen: bool = False  # the data said more than what was known beforehand
    far: bool = False  # far from what is usual, and sure of it


def find_drag(curves: Sequence[Curve], noise_pa2: float, prior_sd: float) -> Drag:
    """tau from all cycles together; `noise_pa2` is the variance of a reading about the curve [Pa^2].

    `prior_sd` is how far the lag may be from the usual one [s, standard].
    """
    prior = Drag(0.0, prior_sd)
    if not curves:
        return prior
    noise_pa2 = max(noise_pa2, LEAST_NOISE_PA**2)
    between, between_sd = _between_cycles(curves, noise_pa2)
    if abs(between) > FAR * sqrt(prior_sd**2 + between_sd**2):
        return Drag(between, between_sd, seen=True, far=True)
    matrix, right = np.zeros((2, 2)), np.zeros(2)
    for curve in curves:
        matrix += curve.extra_matrix
        right += curve.extra_right
    band = max(abs(float(np.mean([c.half_band for c in curves]))), 1.0)
    uneven_sd = UNEVEN_SHARE * band / (0.25 * curves[0].length ** 2)
    # Bayes with normal priors: precisions add. First column drag, second unevenness.
    precision = matrix / noise_pa2 + np.diag((1.0 / prior_sd**2 + 1.0 / between_sd**2, 1.0 / uneven_sd**2))
    weighed = np.array((between / between_sd**2 if between_sd < inf else 0.0, 0.0))
    covariance = np.linalg.inv(precision)
    tau, uneven = covariance @ (right / noise_pa2 + weighed)
    if abs(tau) > FAR * prior_sd:
        return prior
    sd = sqrt(float(covariance[0, 0]))
    return Drag(float(tau), sd, float(uneven), sd < 0.7 * prior_sd)


def _between_cycles(curves: Sequence[Curve], noise_pa2: float) -> tuple[float, float]:
    """Slope of the half band over the speed of the ramp, cycle by cycle, and its standard deviation.

    (0, inf) where all cycles ran alike.
    """
    speeds = np.array([float(c.extra_shift[3, 0]) for c in curves])
    spread = float(np.sum((speeds - speeds.mean()) ** 2))
    if spread <= (0.1 * float(speeds.mean())) ** 2:
        return 0.0, inf
    bands = np.array([c.half_band for c in curves])
    variance = float(np.mean([c.factor(3) for c in curves])) * noise_pa2 + CYCLE_SCATTER_PA**2
    tau = float((speeds - speeds.mean()) @ bands) / spread
    return tau, sqrt(variance / spread)
