"""Independent libraries on the same data: other people's code for corners, lines, budgets and change points.

The published numbers themselves stand in test_breakpoint.py, test_regression.py and test_gum.py; here it is
that our code and theirs agree beyond the printed digits, and on simulated ramps, where nothing is printed.
"""

from importlib.metadata import version
from math import sqrt

import GTC
import numpy as np
import piecewise_regression
import pytest
import ruptures
import statsmodels.api
import uncertainties
from statsmodels.datasets import longley
from uncertainties import umath

from rig.analysis.broken_stick import fit_broken_stick
from rig.analysis.budget import RECTANGULAR, combined, propagated
from rig.analysis.lines import fit_line, fit_linear
from rig.analysis.result import Component
from rig.analysis.samples import Floats

from .test_breakpoint import stagnant
from .test_gum import DATA


def by(*names: str) -> str:
    return ", ".join(f"{name} {version(name)}" for name in names)


# -- corners -----------------------------------------------------------------------------------------


def piecewise(x: Floats, y: Floats, start: float) -> dict[str, dict[str, object]]:
    """Muggeo's iteration (2003), restarted from bootstrap samples."""
    np.random.seed(1)
    fit = piecewise_regression.Fit(x.tolist(), y.tolist(), start_values=[start], n_breakpoints=1, n_boot=10)
    estimates: dict[str, dict[str, object]] = fit.get_results()["estimates"]
    return estimates


@pytest.mark.filterwarnings("ignore")  # its test of one line makes a singular design on purpose
@pytest.mark.parametrize("rows", [29, 28])
def test_bacon_and_watts_by_another_iteration(rows: int) -> None:
    x, y = stagnant(rows)
    theirs, ours = piecewise(x, y, 0.0), fit_broken_stick(x, y)
    who = by("piecewise-regression", "statsmodels")
    assert ours.knot == pytest.approx(theirs["breakpoint1"]["estimate"], abs=1e-7), who
    assert ours.knot_error == pytest.approx(theirs["breakpoint1"]["se"], rel=1e-5), who
    assert ours.interval() == pytest.approx(theirs["breakpoint1"]["confidence_interval"], abs=1e-6), who
    assert ours.slope == pytest.approx(theirs["alpha1"]["estimate"], abs=1e-7), who
    assert ours.slope_after == pytest.approx(theirs["alpha2"]["estimate"], abs=1e-7), who


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", range(8))
def test_simulated_ramps_by_another_iteration_and_by_a_search_of_change_points(seed: int) -> None:
    random = np.random.default_rng(seed)
    x = np.linspace(0.0, 1.0, 201)
    y = 0.05 * x + np.maximum(x - 0.3, 0.0) + 0.003 * random.normal(size=201)
    theirs, ours = piecewise(x, y, 0.5)["breakpoint1"], fit_broken_stick(x, y)
    who = by("piecewise-regression", "ruptures")
    assert ours.knot == pytest.approx(theirs["estimate"], abs=1e-6), who
    assert ours.interval() == pytest.approx(theirs["confidence_interval"], abs=1e-5), who
    signal = np.column_stack((y, np.ones(201), x))
    index = ruptures.Dynp(model="linear", min_size=5, jump=1).fit(signal).predict(n_bkps=1)[0]
    assert abs(float(x[index]) - ours.knot) < 0.02, who  # it cuts between two free lines: coarse


# -- lines -------------------------------------------------------------------------------------------


def test_longley_in_the_copy_of_another_library() -> None:
    data = longley.load()
    y = np.asarray(data.endog, dtype=np.float64)
    design = np.column_stack((np.ones(len(y)), np.asarray(data.exog, dtype=np.float64)))
    theirs, ours = statsmodels.api.OLS(y, design).fit(), fit_linear(design, y)
    assert ours.coefficients == pytest.approx(theirs.params, rel=1e-7), by("statsmodels")
    assert np.sqrt(np.diag(ours.covariance)) == pytest.approx(theirs.bse, rel=1e-7), by("statsmodels")
    assert ours.s == pytest.approx(sqrt(theirs.mse_resid), rel=1e-9)


def test_the_covariance_of_a_line_by_another_library() -> None:
    y, x = np.loadtxt(DATA / "nist_strd_norris.csv", delimiter=",", skiprows=1).T
    design = np.stack((np.ones(len(x)), x), axis=1)
    theirs, ours = statsmodels.api.OLS(y, design).fit(), fit_linear(design, y)
    assert ours.covariance.ravel() == pytest.approx(np.asarray(theirs.cov_params()).ravel(), rel=1e-9)
    line = fit_line(x, y)
    mean = theirs.get_prediction(np.array([[1.0, 500.0]])).se_mean[0]
    assert line.s * sqrt(line.variance_factor(500.0)) == pytest.approx(mean, rel=1e-9), by("statsmodels")


# -- budgets -----------------------------------------------------------------------------------------


def test_h1_end_gauge_by_another_library() -> None:
    ls = GTC.ureal(50.000623e6, 25.0, 18)
    parts = [GTC.ureal(215.0, 5.8, 24), GTC.ureal(0.0, 3.9, 5), GTC.ureal(0.0, 6.7, 8)]
    d_alpha = GTC.ureal(0.0, 1e-6 * RECTANGULAR, 50)
    d_theta = GTC.ureal(0.0, 0.05 * RECTANGULAR, 2)
    theirs = ls + sum(parts) - 50.000623e6 * (d_alpha * -0.1 + 11.5e-6 * d_theta)
    u, freedom = combined(
        [
            Component("standard", 25.0, 18),
            *(Component("comparison", part, of) for part, of in ((5.8, 24), (3.9, 5), (6.7, 8))),
            Component("expansion", 50.000623e6 * 0.1 * 1e-6 * RECTANGULAR, 50),
            Component("temperature", 50.000623e6 * 11.5e-6 * 0.05 * RECTANGULAR, 2),
        ]
    )
    assert u == pytest.approx(GTC.uncertainty(theirs), rel=1e-9), by("GTC")
    assert freedom == pytest.approx(GTC.dof(theirs), rel=1e-6), by("GTC")


def impedance() -> tuple[Floats, Floats]:
    data = np.loadtxt(DATA / "gum_h2_impedance.csv", delimiter=",", skiprows=1) * (1.0, 1e-3, 1.0)
    return data, np.cov(data.T) / len(data)


def test_h2_impedance_by_two_libraries() -> None:
    data, covariance = impedance()
    volt, ampere, phase = data.mean(axis=0)
    r, x, z = volt / ampere * np.cos(phase), volt / ampere * np.sin(phase), volt / ampere
    jacobian = np.array(
        [[r / volt, -r / ampere, -x], [x / volt, -x / ampere, r], [z / volt, -z / ampere, 0.0]]
    )
    ours = propagated(jacobian, covariance)
    v, i, p = uncertainties.correlated_values([volt, ampere, phase], covariance)
    theirs = uncertainties.covariance_matrix([v / i * umath.cos(p), v / i * umath.sin(p), v / i])
    assert ours.ravel() == pytest.approx(np.array(theirs).ravel(), rel=1e-9), by("uncertainties")
    a, b, c = GTC.type_a.multi_estimate_real(data.T.tolist())
    third = a / b * GTC.cos(c)
    assert sqrt(ours[0, 0]) == pytest.approx(GTC.uncertainty(third), rel=1e-9), by("GTC")


def test_h3_thermometer_and_a_bias_shared_by_all_its_points_by_another_library() -> None:
    """T20: a systematic error of 0.005 that all readings share counts once, in the intercept alone."""
    t, b = np.loadtxt(DATA / "gum_h3_thermometer.csv", delimiter=",", skiprows=1).T
    fit = fit_linear(np.stack((np.ones(len(t)), t - 20.0), axis=1), b)
    line = GTC.type_a.line_fit((t - 20.0).tolist(), b.tolist())
    assert fit.standard_error(0) == pytest.approx(GTC.uncertainty(line.intercept), rel=1e-9), by("GTC")
    assert fit.standard_error(1) == pytest.approx(GTC.uncertainty(line.slope), rel=1e-9), by("GTC")
    row = np.array([[1.0, 10.0]])
    at_30 = line.intercept + 10.0 * line.slope
    assert sqrt(propagated(row, fit.covariance)[0, 0]) == pytest.approx(GTC.uncertainty(at_30), rel=1e-9)
    bias = GTC.ureal(0.0, 0.005)
    shared = GTC.type_a.line_fit((t - 20.0).tolist(), b.tolist()).intercept + bias
    u, _ = combined([Component("line", fit.standard_error(0), 9), Component("bias", 0.005)])
    assert u == pytest.approx(GTC.uncertainty(shared), rel=1e-9), by("GTC")
    assert u == pytest.approx(0.00576893, abs=1e-8)
