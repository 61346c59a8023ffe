"""What speed adds to friction: viscous drag c v, and whatever is wrong with the stated lags. One number.

A stem with drag c on a spring k lags the pressure by c / k, and so looks the same as a pressure transmitter
that is too quick by that much: at a ramp of r, the way up reads r tau too high, the way down too low. tau
is told from the data where the ramp has run at different speeds over the same travel, and weighed against
what is known beforehand: 10 ms +- 6 ms (c / k of 0 to 20 ms, an assumption), widened by doubt about lags.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from rig.analysis.curve import Curve

USUAL_S, USUAL_SD_S = 0.010, 0.006
UNEVEN_SHARE = 0.05  # prior: the half band at the ends differs from that at mid travel by this share
LEAST_NOISE_PA = 1.0  # no record is better than that
FAR = 4.0  # standard deviations from what is usual: something else than drag, not believed


@dataclass(frozen=True, slots=True)
class Drag:
    """Lag of the stem behind the pressure [s], with its standard uncertainty, and R'' [Pa/m^2]."""

    tau_s: float
    uncertainty_s: float
    uneven: float = 0.0  # friction's half band has R'' u^2 in it, u from mid travel
    seen: bool = False  # the data said more than what was known beforehand


def find_drag(curves: Sequence[Curve], noise_pa2: float, doubt_s: float) -> Drag:
    """tau from all cycles together; `noise_pa2` is the variance of a reading about the curve [Pa^2]."""
    prior_sd = sqrt(USUAL_SD_S**2 + doubt_s**2)
    prior = Drag(USUAL_S, prior_sd)
    if not curves:
        return prior
    noise_pa2 = max(noise_pa2, LEAST_NOISE_PA**2)
    matrix, right = np.zeros((2, 2)), np.zeros(2)
    for curve in curves:
        matrix += curve.extra_matrix
        right += curve.extra_right
    band = max(abs(float(np.mean([c.half_band for c in curves]))), 1.0)
    length = curves[0].length
    uneven_sd = UNEVEN_SHARE * band / (0.25 * length**2)
    # Bayes with normal priors: precisions add. First column drag, second unevenness.
    precision = matrix / noise_pa2 + np.diag((1.0 / prior_sd**2, 1.0 / uneven_sd**2))
    covariance = np.linalg.inv(precision)
    tau, uneven = covariance @ (right / noise_pa2 + np.array((USUAL_S / prior_sd**2, 0.0)))
    if abs(tau - USUAL_S) > FAR * prior_sd:
        return prior
    sd = sqrt(float(covariance[0, 0]))
    return Drag(float(tau), sd, float(uneven), sd < 0.7 * prior_sd)
