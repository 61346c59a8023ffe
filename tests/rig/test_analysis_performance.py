"""Terms of performance on a constructed example, worked out by hand."""

import numpy as np
import pytest
from scipy.optimize import linprog

from rig.analysis.performance import dead_band, performance
from rig.analysis.samples import Floats

POINTS = np.array([0.0, 25.0, 50.0, 75.0, 100.0])
UP = np.array([[0.0, 24.6, 49.4, 74.4, 100.0], [0.0, 24.8, 49.4, 74.6, 100.2]])
DOWN = np.array([[0.4, 25.6, 50.6, 75.4, 100.0], [0.4, 25.6, 50.4, 75.4, 100.2]])


def test_worked_example() -> None:
    found = performance(POINTS, UP, DOWN)
    assert found.inaccuracy == pytest.approx((-0.6, 0.6))
    assert found.hysteresis == pytest.approx((1.2, 1.0))
    assert found.average_hysteresis == pytest.approx(1.1)
    assert found.non_repeatability == pytest.approx(0.2)
    assert found.average_curve == pytest.approx([0.20, 25.15, 49.95, 74.95, 100.10])
    assert found.terminal_linearity == pytest.approx(0.20)
    assert found.independent_linearity == pytest.approx(0.10)
    assert found.zero_based_linearity == pytest.approx(0.13333, abs=1e-5)


def minimax(design: Floats, y: Floats) -> float:
    """Smallest largest deviation, by linear programming."""
    ones = np.ones((len(y), 1))
    above, below = np.hstack((design, -ones)), np.hstack((-design, -ones))
    n = design.shape[1]
    found = linprog(
        np.r_[np.zeros(n), 1.0],
        A_ub=np.vstack((above, below)),
        b_ub=np.r_[y, -y],
        bounds=[(None, None)] * n + [(0, None)],
    )
    return float(found.fun)


@pytest.mark.parametrize("seed", range(20))
def test_linearity_agrees_with_linear_programming(seed: int) -> None:
    curve = POINTS + np.random.default_rng(seed).normal(size=5)
    found = performance(POINTS, curve[None, :], curve[None, :])
    want = minimax(np.stack((np.ones(5), POINTS), axis=1), curve)
    assert found.independent_linearity == pytest.approx(want, abs=1e-9)
    from_zero = minimax((POINTS[1:] - POINTS[0])[:, None], curve[1:] - curve[0])
    assert found.zero_based_linearity == pytest.approx(from_zero, abs=1e-9)


def test_readings_that_do_not_fit_the_points_are_refused() -> None:
    with pytest.raises(ValueError, match="must be"):
        performance(POINTS, UP[:, :4], DOWN[:, :4])


def test_dead_band_is_the_pressure_needed_to_move_back() -> None:
    pressure = np.linspace(20.0, 15.0, 51)
    travel = np.minimum(0.0, pressure - 19.0)  # nothing moves for the first unit
    assert dead_band(pressure, travel, 0.05) == pytest.approx(1.1, abs=0.1)
    assert np.isnan(dead_band(pressure, np.zeros(51), 0.05))
