"""Scatter of cycles against certified analyses of variance, and a linearised fit (NIST StRD)."""

from importlib import resources
from math import inf

import numpy as np
import pytest

from rig.analysis.lines import fit_linear
from rig.analysis.measured import Measured, Seen, pooled_scatter
from rig.analysis.samples import Floats


def groups_of(name: str) -> list[Floats]:
    """Readings of a NIST StRD one-way data set, by treatment; the official files are in scipy's wheel."""
    folder = resources.files("scipy.stats.tests") / "data" / "nist_anova"
    lines = (folder / f"{name}.dat").read_text(encoding="utf-8").splitlines()[60:]
    rows = np.array([line.split() for line in lines if line.strip()], dtype=np.float64)
    return [rows[rows[:, 0] == treatment, 1] for treatment in np.unique(rows[:, 0])]


@pytest.mark.parametrize(
    ("name", "certified", "tolerance"),
    [
        ("SmLs01", 2.1e1, 1e-9),
        ("SmLs02", 2.01e2, 1e-9),
        ("SmLs03", 2.001e3, 1e-9),
        ("SmLs04", 2.1e1, 1e-6),  # seven equal leading digits
        ("SmLs05", 2.01e2, 1e-6),
        ("SmLs06", 2.001e3, 1e-6),
        ("SmLs07", 2.1e1, 2e-2),  # thirteen: a double has hardly any left
        ("AtmWtAg", 1.59467335677930e1, 1e-6),
        ("SiRstv", 1.18046237440255e0, 1e-9),
    ],
)
def test_cycles_against_their_noise_is_the_f_of_an_analysis_of_variance(
    name: str, certified: float, tolerance: float
) -> None:
    groups = groups_of(name)
    within = float(np.mean([fit_linear(np.ones((len(g), 1)), g).s ** 2 for g in groups]))
    seen = tuple(
        Seen(i, float(g[0] + (g - g[0]).mean()), within / len(g)) for i, g in enumerate(groups, start=1)
    )
    scatter = pooled_scatter([Measured("readings", seen)])
    assert scatter.ratio == pytest.approx(certified, rel=tolerance)
    assert scatter.degrees_of_freedom == len(groups) - 1


def test_scatter_within_silicon_readings() -> None:
    groups = groups_of("SiRstv")
    within = np.sqrt(np.mean([fit_linear(np.ones((len(g), 1)), g).s ** 2 for g in groups]))
    assert within == pytest.approx(1.04076068334656e-01, rel=1e-9)


def test_cycles_that_agree_within_their_noise_add_nothing() -> None:
    assert pooled_scatter([Measured("x", (Seen(1, 1.0, 0.1), Seen(2, 1.001, 0.1)))]).degrees_of_freedom == inf


def test_a_nonlinear_fit_is_at_rest_where_its_certified_values_are() -> None:
    """NIST StRD, nonlinear, Misra1a: y = b1 (1 - exp(-b2 x)); certified values.

    Nothing here fits such a model, but the covariance of the linearised one is what every uncertainty of a
    corner rests on. Data from memory, proved by the certified results.
    """
    y = np.array(
        [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
    )
    x = np.array(
        [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
    )
    b1, b2 = 2.3894212918e02, 5.5015643181e-04
    decay = np.exp(-b2 * x)
    step = fit_linear(np.stack((1.0 - decay, b1 * x * decay), axis=1), y - b1 * (1.0 - decay))
    assert step.standard_error(0) == pytest.approx(2.7070075241e00, rel=1e-6)
    assert step.standard_error(1) == pytest.approx(7.2668688436e-06, rel=1e-6)
    assert abs(step.coefficients[0]) < 1e-6 * 2.7070075241e00
    assert abs(step.coefficients[1]) < 1e-6 * 7.2668688436e-06
    assert step.residual_squares == pytest.approx(1.2455138894e-01, rel=1e-9)  # from memory
