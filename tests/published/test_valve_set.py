"""A published valve ridden up and down on the simulated stand: lift-off, full travel, return, reseat."""

from dataclasses import replace
from functools import cache

import pytest

from simulator.truth import truth
from tests.simulator.ride import Ride, ride
from tests.simulator.valve_set_a import COULOMB_A, HIGHEST_PA, LOWEST_PA, VALVE_A


def test_physical_and_empirical_stiction_parameters_agree() -> None:
    # constants of the thesis' public code (facts): S 25.287, J 1.29678, D 11.4947 % of the signal range
    area, span = VALVE_A.area_m2, HIGHEST_PA - LOWEST_PA
    friction = VALVE_A.friction
    static_n = friction.coulomb_n * friction.static_ratio
    assert 100 * 2 * static_n / (area * span) == pytest.approx(25.28722068157489, rel=1e-12)
    jump = 100 * (static_n - friction.coulomb_n) / (area * span)
    assert jump == pytest.approx(1.296780547773071, rel=1e-12)
    dead = 100 * (VALVE_A.preload_n - area * LOWEST_PA) / (area * span)
    assert dead == pytest.approx(11.49472761448789, rel=1e-12)


def test_bench_range_without_friction() -> None:
    # F_init / A = 57.3034 kPa, (F_init + k x) / A = 194.4766 kPa (computed)
    t = truth(replace(VALVE_A, friction=replace(VALVE_A.friction, coulomb_n=0.0)))
    assert t.spring_only_lower == pytest.approx(57303.4, abs=0.05)
    assert t.spring_only_upper == pytest.approx(194476.6, abs=0.05)
    assert t.lift_off == t.reseat == t.spring_only_lower


def test_truth_of_the_coulomb_valve() -> None:
    # computed, closed form and play-operator march: up 73.0337 and 210.2070, down 178.7463 and 41.5730 kPa
    t = truth(COULOMB_A)
    got = [t.lift_off, t.full_travel, t.return_start, t.reseat]
    assert got == pytest.approx([73033.7, 210207.0, 178746.3, 41573.0], abs=0.05)
    assert t.hysteresis == pytest.approx(31460.7, abs=0.05)


def test_static_friction_lifts_later_by_its_surplus() -> None:
    # (780 - 700) / 0.0445 = 1.80 kPa above the sliding line: 74.8315 kPa
    t = truth(VALVE_A)
    assert t.lift_off == pytest.approx(74831.5, abs=0.05)
    assert t.break_away_step == pytest.approx(80.0 / 0.0445, rel=1e-9)


@cache
def coulomb_ride() -> Ride:
    """0 to 240 kPa and back at 700 Pa/s: a step of 20 ms is 14 Pa."""
    return ride(COULOMB_A, top_pa=240e3, rate_pa_per_s=2000.0)


STEP_PA = 2000.0 * 0.02


def test_the_ridden_coulomb_valve_lifts_stops_returns_and_reseats_where_it_should() -> None:
    r = coulomb_ride()
    # half of the travel before sliding and of the squeeze at the contacts rounds the corners: they are read
    # where the running lines cross x = 0 and x = travel
    assert r.crossing_up(0.0) == pytest.approx(73033.7, abs=2 * STEP_PA)
    assert r.crossing_up(0.029) == pytest.approx(210207.0, abs=2 * STEP_PA)
    assert r.crossing_down(0.029) == pytest.approx(178746.3, abs=2 * STEP_PA)
    assert r.crossing_down(0.0) == pytest.approx(41573.0, abs=2 * STEP_PA)


def test_the_ridden_loop_has_the_published_width_and_spring_rate() -> None:
    r = coulomb_ride()
    for share in (0.2, 0.5, 0.8):
        x = share * 0.029
        assert r.up_at(x) - r.down_at(x) == pytest.approx(31460.7, rel=2e-3)
    assert 0.0445 * r.slope_up() == pytest.approx(210490.0, rel=1e-3)
    middle = 0.5 * (r.up_at(0.0145) + r.down_at(0.0145))
    assert middle == pytest.approx(0.5 * (57303.4 + 194476.6), rel=1e-3)


def test_the_published_valve_does_not_reach_full_travel_at_its_highest_pressure() -> None:
    r = ride(VALVE_A, top_pa=HIGHEST_PA, rate_pa_per_s=2000.0)
    assert max(r.stem_m) < 0.9 * 0.029
