"""Broken-stick regression on the stagnant band data of Bacon & Watts, Biometrika 58 (1971) 525-534."""

from pathlib import Path

import numpy as np
import pytest

from rig.analysis.broken_stick import (
    corner_on_straight_ramp,
    fit_broken_stick,
    profile_interval,
    residual_squares,
)
from rig.analysis.samples import Floats

DATA = Path(__file__).parent / "data" / "bacon_watts_stagnant.csv"


def stagnant(rows: int) -> tuple[Floats, Floats]:
    data = np.loadtxt(DATA, delimiter=",", skiprows=1)
    if rows == 28:
        data = data[data[:, 2] == 1]
    data = data[np.argsort(data[:, 0], kind="stable")]
    assert len(data) == rows
    return data[:, 0], data[:, 1]


# R package segmented 1.6-2, an own profile search and piecewise-regression agree on these to 1e-8.
PUBLISHED = {
    29: {
        "knot": 0.0359119977,
        "error": 0.0218860582,
        "slopes": (-0.42207681, -1.01659270),
        "intercepts": (0.54466108, 0.56601133),
        "s": 0.0193714870,
        "squares": 0.0093813627,
        "delta": (-0.0091632, 0.0809872),
        "profile": (-0.0321, 0.0809),
    },
    28: {
        "knot": 0.0411057858,
        "error": 0.0228348068,
        "slopes": (-0.42207681, -1.02056750),
        "intercepts": (0.5446611, 0.5692625),
        "s": 0.0195151621,
        "squares": 0.0091401972,
        "delta": (-0.0060229, 0.0882345),
        "profile": (-0.0281, 0.0879),
    },
}


@pytest.mark.parametrize("rows", [29, 28])
def test_knot_lines_and_scatter(rows: int) -> None:
    x, y = stagnant(rows)
    found, want = fit_broken_stick(x, y), PUBLISHED[rows]
    assert found.knot == pytest.approx(want["knot"], abs=1e-6)
    assert found.knot_error == pytest.approx(want["error"], abs=1e-6)
    assert (found.slope, found.slope_after) == pytest.approx(want["slopes"], abs=1e-6)
    assert (found.intercept, found.intercept_after) == pytest.approx(want["intercepts"], abs=1e-6)
    assert found.s == pytest.approx(want["s"], abs=1e-7)
    assert found.residual_squares == pytest.approx(want["squares"], abs=1e-7)
    assert found.degrees_of_freedom == rows - 4


@pytest.mark.parametrize("rows", [29, 28])
def test_delta_and_profile_intervals_differ_and_both_are_right(rows: int) -> None:
    x, y = stagnant(rows)
    assert fit_broken_stick(x, y).interval() == pytest.approx(PUBLISHED[rows]["delta"], abs=1e-6)
    # F profile: computed by a scan of the squares; the delta interval is too narrow on its lower side
    assert profile_interval(x, y) == pytest.approx(PUBLISHED[rows]["profile"], abs=2e-4)


@pytest.mark.parametrize(("rows", "score"), [(29, (-0.0441607, 0.0884362)), (28, (-0.0463287, 0.1606259))])
def test_a_third_interval_holds_both_others(rows: int, score: tuple[float, float]) -> None:
    # Score interval of Muggeo (2017) by R segmented 1.6-2: not a method of ours. It is the widest of the
    # three: which one is told has to be said.
    x, y = stagnant(rows)
    low, high = profile_interval(x, y)
    assert score[0] < low < fit_broken_stick(x, y).knot < high < score[1]
    assert score[0] < fit_broken_stick(x, y).interval()[0]


def test_one_line_is_refused_clearly() -> None:
    # Davies' test gives p = 1.5e-18 (R segmented): only the decision is compared, by the F of two more
    # coefficients, which is far out on this data.
    x, y = stagnant(29)
    one = float(residual_squares(x, y, np.array([x[-1] + 1.0]))[0])  # a knot beyond the data: one line
    two = fit_broken_stick(x, y)
    assert (one - two.residual_squares) / 2 / two.s**2 > 100


def test_the_estimate_lies_inside_the_published_bayesian_interval() -> None:
    # OpenBUGS example "Stagnant": change point 95 % interval -0.0352 .. 0.0849, sigma 0.022 (0.0033)
    found = fit_broken_stick(*stagnant(29))
    assert -0.0352 < found.knot < 0.0849
    assert found.s == pytest.approx(0.02204, abs=2 * 0.003286)


def test_intervals_on_fifty_simulated_ramps_hold_what_they_promise() -> None:
    covered = 0
    for seed in range(50):
        random = np.random.default_rng(seed)
        time = np.arange(400) * 0.02
        travel = 0.4 * np.maximum(time - 3.7, 0.0) + 0.02 * random.normal(size=400)
        low, high = fit_broken_stick(time, travel).interval()
        covered += low <= 3.7 <= high
    assert 45 <= covered <= 50


def test_the_corner_of_a_straight_ramp_takes_both_noises_into_account() -> None:
    errors, claimed = [], []
    for seed in range(200):
        random = np.random.default_rng(seed)
        time = np.arange(400) * 0.02
        pressure = 6.0 + time + 0.06 * random.normal(size=400)
        travel = 0.05625 * np.maximum(time - 4.0, 0.0) + 0.002 * random.normal(size=400)
        corner = corner_on_straight_ramp(time, pressure, travel)
        errors.append(corner.pressure - 10.0)
        claimed.append(corner.uncertainty)
    ratio = float(np.std(errors)) / float(np.mean(claimed))
    assert 0.88 < ratio < 1.12  # 200 runs tell a standard deviation to 5 %
    assert abs(float(np.mean(errors))) < 3 * float(np.std(errors)) / 200**0.5


def test_a_stick_bent_exactly_at_a_reading_is_found_there() -> None:
    x = np.arange(11.0)
    found = fit_broken_stick(x, np.maximum(x - 5.0, 0.0))
    assert found.knot == pytest.approx(5.0, abs=1e-9)
    assert found.residual_squares == pytest.approx(0.0, abs=1e-18)


def test_data_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="must not fall"):
        fit_broken_stick(np.array([0.0, 2.0, 1.0, 3.0, 4.0, 5.0]), np.zeros(6))
