"""Uncertainty budgets against the worked examples of the GUM (JCGM 100:2008) and JCGM 101."""

from math import cos, inf, sin, sqrt
from pathlib import Path

import numpy as np
import pytest
import scipy
from scipy import stats

from rig.analysis.budget import RECTANGULAR, combined, propagated
from rig.analysis.lines import fit_linear
from rig.analysis.result import Component
from rig.analysis.student import coverage_factor, normal_cdf, normal_quantile, t_cdf, t_quantile

DATA = Path(__file__).parent / "data"


# -- H.1: end gauge calibration, lengths in nm -------------------------------------------------------

LENGTH_NM = 50.000623e6  # of the standard, u = 25 nm with 18 degrees of freedom


def test_h1_end_gauge_components_and_effective_freedom() -> None:
    difference = combined([Component("", 5.8, 24), Component("", 3.9, 5), Component("", 6.7, 8)])
    assert difference[0] == pytest.approx(9.7, abs=0.05)
    assert difference[1] == pytest.approx(25.6, abs=0.2)  # printed; 25.447 exactly
    theta, alpha = -0.1, 11.5e-6
    expansion = Component("difference of expansion", LENGTH_NM * abs(theta) * 1e-6 * RECTANGULAR, 50)
    temperature = Component("difference of temperature", LENGTH_NM * alpha * 0.05 * RECTANGULAR, 2)
    assert expansion.standard_uncertainty == pytest.approx(2.9, abs=0.05)
    assert temperature.standard_uncertainty == pytest.approx(16.6, abs=0.05)
    u, freedom = combined(
        [Component("standard", 25.0, 18), Component("readings", *difference), expansion, temperature]
    )
    assert u == pytest.approx(32.0, abs=0.5)  # H.1.5
    assert freedom == pytest.approx(16.75, abs=0.05)  # H.1.6: 16.7, then cut to 16
    k = coverage_factor(16.0, 0.99)
    assert k == pytest.approx(2.92, abs=0.005)
    assert k * u == pytest.approx(93.0, abs=1.0)


# -- H.2: resistance and reactance from correlated means ---------------------------------------------


def test_h2_impedance_from_correlated_means() -> None:
    data = np.loadtxt(DATA / "gum_h2_impedance.csv", delimiter=",", skiprows=1) * (1.0, 1e-3, 1.0)
    volt, ampere, phase = data.mean(axis=0)
    assert (volt, ampere, phase) == pytest.approx((4.999, 19.661e-3, 1.04446), rel=3e-5)
    covariance = np.cov(data.T) / len(data)
    correlation = covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    printed = (-0.36, 0.86, -0.65)
    assert (correlation[0, 1], correlation[0, 2], correlation[1, 2]) == pytest.approx(printed, abs=0.006)
    z = volt / ampere
    r, x = z * cos(phase), z * sin(phase)
    sensitivities = np.array(
        [[r / volt, -r / ampere, -x], [x / volt, -x / ampere, r], [z / volt, -z / ampere, 0.0]]
    )
    out = propagated(sensitivities, covariance)
    u = np.sqrt(np.diag(out))
    assert (r, x, z) == pytest.approx((127.732, 219.847, 254.260), abs=1e-3)
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=1e-3)
    assert (r, u[0]) == pytest.approx((127.732169928102, 0.071071407396995), rel=1e-9)  # GTC 1.5.1 doctest
    joint = out / np.outer(u, u)
    assert (joint[0, 1], joint[0, 2], joint[1, 2]) == pytest.approx((-0.588, -0.485, 0.993), abs=1e-3)


# -- H.3: thermometer line with correlated coefficients ----------------------------------------------


def test_h3_thermometer_line_at_a_far_point_needs_the_covariance() -> None:
    t, b = np.loadtxt(DATA / "gum_h3_thermometer.csv", delimiter=",", skiprows=1).T
    fit = fit_linear(np.stack((np.ones(len(t)), t - 20.0), axis=1), b)
    assert fit.coefficients == pytest.approx([-0.1712, 0.00218], abs=5e-5)  # printed
    assert fit.coefficients == pytest.approx([-0.17120379, 0.00218270], abs=1e-8)  # GTC, uncertainties
    assert fit.standard_error(0) == pytest.approx(0.00287760, abs=1e-8)
    assert fit.standard_error(1) == pytest.approx(0.00066794, abs=1e-8)
    assert fit.s == pytest.approx(0.00349756, abs=1e-8)
    r = fit.covariance[0, 1] / (fit.standard_error(0) * fit.standard_error(1))
    assert r == pytest.approx(-0.930, abs=5e-4)
    row = np.array([[1.0, 10.0]])
    assert float(row[0] @ fit.coefficients) == pytest.approx(-0.14937681, abs=1e-8)  # at 30 degrees
    assert sqrt(propagated(row, fit.covariance)[0, 0]) == pytest.approx(0.00413860, abs=1e-8)
    without = sqrt(fit.covariance[0, 0] + 100 * fit.covariance[1, 1])
    assert without > 1.7 * 0.00413860  # ignoring the correlation would nearly double it


def test_h3_a_bias_shared_by_all_points_counts_once_and_only_in_the_intercept() -> None:
    # GTC documentation: common systematic error of 0.005 makes u(intercept) 0.00576893
    u, _ = combined([Component("line", 0.00287760, 9), Component("bias", 0.005)])
    assert u == pytest.approx(0.0057689, abs=1e-6)


# -- JCGM 101: additive models -----------------------------------------------------------------------


def test_sum_of_four_normals() -> None:
    # JCGM 101, 9.2 (from memory): u 2.0, 95 % interval +-3.92
    u, freedom = combined([Component("", 1.0)] * 4)
    assert (u, freedom) == (2.0, inf)
    assert coverage_factor(freedom) * u == pytest.approx(3.92, abs=0.005)


def test_a_sum_of_four_rectangulars_is_covered_with_a_little_to_spare() -> None:
    # JCGM 101, 9.2.3 (from memory): +-3.88, so k = 1.96 is slightly wide; checked by a million draws
    random = np.random.default_rng(101)
    total = random.uniform(-sqrt(3.0), sqrt(3.0), (4, 1_000_000)).sum(axis=0)
    low, high = np.quantile(total, (0.025, 0.975))
    assert (low, high) == pytest.approx((-3.879, 3.879), abs=0.02)
    u, freedom = combined([Component("", 1.0)] * 4)
    assert coverage_factor(freedom) * u > high


def test_a_budget_with_few_degrees_of_freedom_covers_what_it_promises() -> None:
    # Repeated sampling: five readings of standard deviation 1, and a rectangular error of half width 1
    random = np.random.default_rng(102)
    runs = 4000
    readings = random.normal(size=(runs, 5))
    errors = readings.mean(axis=1) + random.uniform(-1.0, 1.0, runs)
    spreads = readings.std(axis=1, ddof=1) / sqrt(5)
    inside = 0
    for error, spread in zip(errors, spreads, strict=True):
        u, freedom = combined([Component("readings", spread, 4), Component("accuracy", RECTANGULAR)])
        inside += abs(error) <= coverage_factor(round(freedom, 1)) * u
    assert 0.94 < inside / runs < 0.98


# -- the distributions themselves --------------------------------------------------------------------


@pytest.mark.parametrize("freedom", [1, 1.3, 2, 2.7, 3, 5, 9, 16.75, 30.5, 100, 2000, 1e5, inf])
@pytest.mark.parametrize("probability", [0.6, 0.9, 0.975, 0.995, 0.9995])
def test_student_quantiles_agree_with_scipy(freedom: float, probability: float) -> None:
    want = stats.norm.ppf(probability) if freedom == inf else stats.t.ppf(probability, freedom)
    found = t_quantile(probability, freedom)
    assert found == pytest.approx(want, rel=1e-9), f"scipy {scipy.__version__}"
    assert t_quantile(1 - probability, freedom) == pytest.approx(-want, rel=1e-9)
    assert t_cdf(found, freedom) == pytest.approx(probability, abs=1e-10)


@pytest.mark.parametrize(
    ("freedom", "coverage", "printed", "places"),
    [  # GUM Table G.2 and common tables
        (16, 0.95, 2.12, 2),
        (16, 0.9545, 2.17, 2),
        (16, 0.99, 2.92, 2),
        (inf, 0.9545, 2.00, 2),
        (1, 0.95, 12.706, 3),
        (1, 0.99, 63.657, 3),
        (2, 0.95, 4.303, 3),
        (2, 0.99, 9.925, 3),
        (5, 0.95, 2.571, 3),
        (5, 0.99, 4.032, 3),
        (9, 0.95, 2.262, 3),
        (10, 0.95, 2.228, 3),
    ],
)
def test_coverage_factors_round_to_the_printed_table(
    freedom: float, coverage: float, printed: float, places: int
) -> None:
    assert round(coverage_factor(freedom, coverage), places) == printed


def test_normal_distribution_agrees_with_scipy() -> None:
    for z in (-6.0, -1.645, 0.0, 0.5, 3.0902):
        assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12)
    assert normal_quantile(0.95) == pytest.approx(1.6448536269514722, rel=1e-12)


@pytest.mark.parametrize(("probability", "freedom"), [(0.0, 5), (1.0, 5), (0.5, 0), (0.9, -1)])
def test_impossible_quantiles_are_refused(probability: float, freedom: float) -> None:
    with pytest.raises(ValueError, match="no Student quantile"):
        t_quantile(probability, freedom)
