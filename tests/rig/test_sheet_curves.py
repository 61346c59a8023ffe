"""Curves for the sheet: travel whichever way the transmitter reads, and thinning that keeps extremes."""

import numpy as np
import pytest

from rig.analysis.samples import ZERO
from rig.profile.model import Action
from rig.report.curves import curves_of, thinned, travel_of
from rig.report.svg import Axis, steps, ticks
from rig.report.words import decimals_for, plain

from .made_up import PROFILE, columns, run_of

SAMPLES = columns(run_of(Action.AIR_TO_OPEN, 1))


def test_travel_is_zero_at_rest_and_grows_the_way_air_moves_the_stem() -> None:
    travel = travel_of(SAMPLES)  # the made-up transmitter reads backwards from 2.6 in
    assert np.median(travel[SAMPLES.stage == ZERO]) == pytest.approx(0.0, abs=1e-6)
    assert np.quantile(travel, 0.95) == pytest.approx(PROFILE.rated_travel_m, rel=0.01)
    assert travel.min() > -0.1 * PROFILE.rated_travel_m


def test_every_cycle_has_a_way_up_and_a_way_back() -> None:
    curves = curves_of(columns(run_of(Action.AIR_TO_OPEN)))
    assert len(curves.up) == len(curves.down) == 3
    for up, down in zip(curves.up, curves.down, strict=True):
        assert up[-1] < down[0]


def test_thinning_leaves_no_point_farther_than_asked_from_what_is_kept() -> None:
    rng = np.random.default_rng(5)
    xs = np.cumsum(rng.normal(0, 0.3, 4000))
    ys = np.cumsum(rng.normal(0, 0.3, 4000))
    kept_x, kept_y = thinned(xs, ys, apart=0.5, most=10_000)
    kept = np.column_stack([kept_x, kept_y])
    for x, y in zip(xs, ys, strict=True):
        assert np.abs(kept - (x, y)).max(axis=1).min() <= 0.5
    assert max(kept_y) == pytest.approx(ys.max(), abs=0.5)


def test_thinning_never_leaves_more_points_than_asked() -> None:
    rng = np.random.default_rng(6)
    xs, ys = rng.uniform(0, 400, 9000), rng.uniform(0, 300, 9000)
    assert len(thinned(xs, ys, most=1500)[0]) <= 1500


def test_thinning_drops_what_was_not_measured() -> None:
    xs = np.array([0.0, np.nan, 5.0, 9.0])
    ys = np.array([0.0, 1.0, np.nan, 9.0])
    assert thinned(xs, ys) == ([0.0, 9.0], [0.0, 9.0])
    assert thinned(np.full(3, np.nan), ys[:3]) == ([], [])


def test_ticks_are_round_values_within_the_axis() -> None:
    assert ticks(0.0, 36.0, 8) == [0, 5, 10, 15, 20, 25, 30, 35]
    assert ticks(0.0, 2.4, 8) == pytest.approx([0, 0.5, 1.0, 1.5, 2.0])
    assert steps(0.0, 1.2, 0.25) == [0, 0.25, 0.5, 0.75, 1.0]


def test_an_axis_may_run_either_way() -> None:
    assert Axis(0, 10, 100, 0).at(2.5) == 75
    assert Axis(0, 10, 0, 100).clamped(12) == 100


@pytest.mark.parametrize(
    ("uncertainty", "decimals"), [(0.07, 3), (0.0024, 4), (15.0, 0), (150.0, 0), (1.3, 1), (None, 2)]
)
def test_an_uncertainty_is_shown_with_two_digits(uncertainty: float | None, decimals: int) -> None:
    assert decimals_for(uncertainty, 8.0) == decimals


@pytest.mark.parametrize(
    ("value", "shown"), [(8.0, "8"), (7.5, "7.5"), (0.55158, "0.5516"), (427.14, "427.1"), (0.0, "0")]
)
def test_limits_have_no_idle_zeros(value: float, shown: str) -> None:
    assert plain(value) == shown
