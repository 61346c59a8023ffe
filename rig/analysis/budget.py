"""Uncertainty budgets after the GUM (JCGM 100:2008): components, combination, degrees of freedom."""

from collections.abc import Iterable
from math import inf, sqrt

import numpy as np

from rig.analysis.result import Component
from rig.analysis.samples import Floats

RECTANGULAR = 1.0 / sqrt(3.0)  # standard uncertainty of a half width of 1 (GUM 4.3.7)


def combined(components: Iterable[Component]) -> tuple[float, float]:
    """Standard uncertainty and effective degrees of freedom of independent components.

    u^2 = sum u_i^2 (GUM 5.1.2); nu = u^4 / sum(u_i^4 / nu_i), Welch-Satterthwaite (GUM G.4.1).
    """
    squares = fourth = 0.0
    for component in components:
        square = component.standard_uncertainty**2
        squares += square
        fourth += square * square / component.degrees_of_freedom
    freedom = squares * squares / fourth if fourth > 0.0 else inf
    return sqrt(squares), freedom


def propagated(sensitivities: Floats, covariance: Floats) -> Floats:
    """Covariance of outputs from that of inputs: J U J' (GUM 5.2.2, JCGM 102 6.2); J is (outputs, inputs)."""
    return np.asarray(sensitivities @ covariance @ sensitivities.T, dtype=np.float64)
