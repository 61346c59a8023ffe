"""Straight lines and linear models against certified and printed results."""

from pathlib import Path

import numpy as np
import pytest

from rig.analysis.lines import fit_line, fit_linear

DATA = Path(__file__).parent / "data"


def test_norris_straight_line() -> None:
    # NIST StRD, linear regression, Norris: certified values
    y, x = np.loadtxt(DATA / "nist_strd_norris.csv", delimiter=",", skiprows=1).T
    line = fit_line(x, y)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.s == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.residual_squares == pytest.approx(26.6173985294224, rel=1e-10)
    assert line.s / line.spread**0.5 == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.s * line.variance_factor(0.0) ** 0.5 == pytest.approx(0.232818234301152, rel=1e-10)


def test_norris_by_the_general_model() -> None:
    y, x = np.loadtxt(DATA / "nist_strd_norris.csv", delimiter=",", skiprows=1).T
    fit = fit_linear(np.stack((np.ones(len(x)), x), axis=1), y)
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert fit.standard_error(0) == pytest.approx(0.232818234301152, rel=1e-10)
    assert fit.standard_error(1) == pytest.approx(0.429796848199937e-03, rel=1e-10)
    explained = float(np.sum((y - y.mean()) ** 2)) - fit.residual_squares
    assert explained / fit.s**2 == pytest.approx(5436385.54079785, rel=1e-8)  # certified F


# Longley (1967), the classic ill-conditioned set; data from memory, proved by the certified results below.
LONGLEY = np.array(
    [
        [60323, 83.0, 234289, 2356, 1590, 107608, 1947],
        [61122, 88.5, 259426, 2325, 1456, 108632, 1948],
        [60171, 88.2, 258054, 3682, 1616, 109773, 1949],
        [61187, 89.5, 284599, 3351, 1650, 110929, 1950],
        [63221, 96.2, 328975, 2099, 3099, 112075, 1951],
        [63639, 98.1, 346999, 1932, 3594, 113270, 1952],
        [64989, 99.0, 365385, 1870, 3547, 115094, 1953],
        [63761, 100.0, 363112, 3578, 3350, 116219, 1954],
        [66019, 101.2, 397469, 2904, 3048, 117388, 1955],
        [67857, 104.6, 419180, 2822, 2857, 118734, 1956],
        [68169, 108.4, 442769, 2936, 2798, 120445, 1957],
        [66513, 110.8, 444546, 4681, 2637, 121950, 1958],
        [68655, 112.6, 482704, 3813, 2552, 123366, 1959],
        [69564, 114.2, 502601, 3931, 2514, 125368, 1960],
        [69331, 115.7, 518173, 4806, 2572, 127852, 1961],
        [70551, 116.9, 554894, 4007, 2827, 130081, 1962],
    ],
    dtype=np.float64,
)


def test_longley_with_nearly_dependent_columns() -> None:
    # NIST StRD, Longley: certified values
    y, x = LONGLEY[:, 0], LONGLEY[:, 1:]
    fit = fit_linear(np.column_stack((np.ones(len(y)), x)), y)
    assert fit.coefficients[0] == pytest.approx(-3482258.63459582, rel=1e-9)
    assert fit.coefficients[1] == pytest.approx(15.0618722713733, rel=1e-9)
    assert fit.coefficients[6] == pytest.approx(1829.15146461355, rel=1e-9)
    assert fit.standard_error(0) == pytest.approx(890420.383607373, rel=1e-9)
    assert fit.standard_error(1) == pytest.approx(84.9149257747669, rel=1e-9)
    assert fit.standard_error(6) == pytest.approx(455.478499142212, rel=1e-9)
    assert fit.s**2 == pytest.approx(92936.0061673238, rel=1e-9)
    total = float(np.sum((y - y.mean()) ** 2))
    assert 1.0 - fit.residual_squares / total == pytest.approx(0.995479004577296, rel=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "slope", "error", "s"),
    [
        # NIST StRD NoInt1 and NoInt2 (through the origin), from memory and computed
        (range(60, 71), range(130, 141), 2.07438016528926, 0.165289256198347e-01, 3.56753034006338),
        ((4, 5, 6), (3, 4, 4), 0.727272727272727, 0.420827318078432e-01, 0.369274472937998),
    ],
)
def test_lines_through_the_origin(x: range, y: range, slope: float, error: float, s: float) -> None:
    fit = fit_linear(np.array(x, dtype=float)[:, None], np.array(y, dtype=float))
    assert fit.coefficients[0] == pytest.approx(slope, rel=1e-12)
    assert fit.standard_error(0) == pytest.approx(error, rel=1e-12)
    assert fit.s == pytest.approx(s, rel=1e-12)


def test_a_large_offset_costs_no_digits_of_the_scatter() -> None:
    # NIST StRD NumAcc1 and NumAcc2, from memory and computed: sd 1 about 1e7, sd 0.1 about 1.2
    for values, sd in (([10000001.0, 10000003.0, 10000002.0], 1.0), ([1.2] + [1.1, 1.3] * 500, 0.1)):
        y = np.array(values)
        fit = fit_linear(np.ones((len(y), 1)), y)
        assert fit.s == pytest.approx(sd, rel=1e-9)


def test_columns_that_depend_on_each_other_are_refused() -> None:
    x = np.arange(6.0)
    with pytest.raises(ValueError, match="depend"):
        fit_linear(np.stack((x, 2 * x), axis=1), x)
    with pytest.raises(ValueError, match="cannot carry"):
        fit_linear(np.ones((2, 3)), np.ones(2))
