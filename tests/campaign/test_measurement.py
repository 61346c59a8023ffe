"""The measurement campaigns in short: the same code as the long form, few runs, wide limits."""

import pytest

from tests.campaign import ideal, ideal_hops, moves
from tests.campaign.measurement import one_healthy, one_sticking
from tests.campaign.physical import PSI
from tests.campaign.score import Board


@pytest.mark.parametrize("setting", list(ideal.settings())[5::9], ids=str)
def test_the_core_reaches_the_bound_on_straight_ramps(setting: ideal.Setting) -> None:
    found = ideal.score(setting, 100)  # 100 runs tell a standard deviation to 7 %
    assert 0.8 < found.ratio < 1.2
    assert abs(found.bias) < 0.35
    assert found.coverage >= 0.87


def test_healthy_actuators_on_the_simulated_plant() -> None:
    board = Board()
    for seed in range(900, 906):
        result, true, area, sticking = one_healthy("single", 1e-3, seed)
        assert not sticking
        board.add(result, true, area)
    limits = {  # psi; twice the goals of the long form, for 6 runs
        "lift_off": 0.026,
        "full_travel": 0.024,
        "return_start": 0.036,
        "reseat": 0.024,
        "spring_only_lower": 0.02,
        "spring_only_upper": 0.02,
    }
    for key, limit in limits.items():
        score = board.scores[key]
        assert score.missing == 0
        assert score.rmse < limit * PSI, key
        assert score.coverage >= 0.6, key
    assert board.scores["travel"].rmse < 0.002 * 0.0254


def test_a_sticking_stem_is_told_and_its_first_hop_found() -> None:
    rows = [one_sticking(5e-4, seed) for seed in (0, 2)]
    hopping = [row for row in rows if row.hops]
    assert hopping
    for row in hopping:
        assert row.flagged
        assert abs(row.error) < 0.12 * PSI


def test_the_watch_on_the_stem_is_as_quick_as_it_says() -> None:
    """0.1 % noise at 1 psi/s: 0.142 psi on average over 400 starts, none of them before lift-off."""
    found = moves.delays_psi(0.1, 1.0, 40)
    assert found[0] > 0.0
    assert sum(found) / len(found) < 0.17


def test_a_sliding_stem_is_not_taken_for_one_at_its_stop() -> None:
    assert moves.false_stops(0.25, 1.0, 5_000) == 0


def test_the_yardstick_for_hops_covers_small_ones_and_reaches_the_bound_on_large_ones() -> None:
    setting = ideal.Setting(noise=0.001, bits=12, scans_per_s=100.0, rate=0.3)
    small, large = ideal_hops.score(setting, 2.5, 80), ideal_hops.score(setting, 10.0, 80)
    assert small.coverage >= 0.85  # 95 % of 80, four standard deviations below
    assert large.coverage >= 0.85
    assert large.ratio < 1.4  # 80 runs tell it to 8 %
