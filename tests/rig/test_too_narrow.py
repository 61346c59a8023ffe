"""Tolerances that a stand cannot pass, with worked examples."""

from dataclasses import replace
from math import sqrt

import pytest

from rig.analysis.too_narrow import too_narrow
from rig.profile.model import Basis, DecisionRule, Tolerance

from .made_up import INCH, PROFILE, PSI
from .synthetic import SENSORS

K = 1.96  # coverage factor of a normal distribution
TIGHT = replace(PROFILE, lower_tolerance=Tolerance(0.1 * PSI, 0.1 * PSI))
COARSE = replace(SENSORS, pressure_accuracy_pa=0.1 * PSI, position_accuracy_m=0.001 * INCH)


def test_enough_room_is_told_by_nothing() -> None:
    assert too_narrow(PROFILE, COARSE, 0.0) == ()


def test_the_guard_bands_of_a_coarse_transmitter_take_a_narrow_tolerance() -> None:
    (found,) = too_narrow(TIGHT, COARSE, 0.02 * PSI)
    assert found.key == "lift_off"
    assert found.width == pytest.approx(0.2 * PSI)
    # By hand: 2 * 1.96 * sqrt(0.1^2 / 3 + 0.02^2) = 0.2396 psi.
    assert found.needed == pytest.approx(0.2396 * PSI, rel=1e-3)
    # By hand: sqrt(3 ((0.2 / 3.92)^2 - 0.02^2)) = 0.0813 psi: with that it just passes.
    assert found.accuracy == pytest.approx(0.0813 * PSI, rel=2e-3)
    better = replace(COARSE, pressure_accuracy_pa=0.99 * found.accuracy)
    assert too_narrow(TIGHT, better, 0.02 * PSI) == ()


def test_where_the_ramp_alone_is_too_uncertain_no_transmitter_helps() -> None:
    (found,) = too_narrow(TIGHT, COARSE, 0.06 * PSI)
    assert found.accuracy is None


def test_travel_is_a_difference_of_two_readings() -> None:
    profile = replace(PROFILE, travel_surplus_m=0.005 * INCH)
    sensors = replace(COARSE, position_accuracy_m=0.003 * INCH)
    (found,) = too_narrow(profile, sensors, 0.0)
    assert found.key == "travel"
    # By hand: 2 * 1.96 * sqrt(2) * 0.003 / sqrt(3) = 0.0096 in.
    assert found.needed == pytest.approx(2 * K * sqrt(2.0 / 3.0) * 0.003 * INCH, rel=1e-3)
    assert found.accuracy == pytest.approx(0.003 * INCH * 0.005 / 0.0096, rel=2e-3)


def test_the_upper_spring_only_end_is_read_at_a_travel() -> None:
    profile = replace(PROFILE, basis=Basis.SPRING_ONLY, upper_tolerance=Tolerance(0.1 * PSI, 0.1 * PSI))
    sensors = replace(COARSE, pressure_accuracy_pa=0.01 * PSI, position_accuracy_m=0.005 * INCH)
    (found,) = too_narrow(profile, sensors, 0.0)
    # By hand: 22 psi / 1.125 in * sqrt(2) * 0.005 in / sqrt(3) = 0.0798 psi; times 3.92 0.313 psi.
    assert found.needed == pytest.approx(0.313 * PSI, rel=5e-3)
    assert "position" in found.source


def test_shared_risk_decides_by_the_value_alone() -> None:
    assert too_narrow(replace(TIGHT, decision_rule=DecisionRule.SHARED), COARSE, 0.0) == ()
