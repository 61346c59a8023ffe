"""Decision rules against the terms and examples of JCGM 106:2012."""

from math import inf

import pytest
from scipy import stats

from rig.analysis.decision import (
    can_pass,
    conformance_probability,
    decide,
    global_risk,
    risk_words,
    uncertainty_ratio,
)
from rig.analysis.result import Outcome
from rig.analysis.student import normal_quantile
from rig.profile.model import DecisionRule


def test_conformance_probability_with_one_limit() -> None:
    # JCGM 106 example of a voltage reference (from memory): -5.47 V, u 0.05 V, limit -5.40 V: 0.92
    found = conformance_probability(-5.47, 0.05, (-inf, -5.40))
    assert found == pytest.approx(0.9192, abs=5e-5)
    assert found == pytest.approx(stats.norm.cdf(1.4), abs=1e-12)


@pytest.mark.parametrize("freedom", [3.0, 12.0, inf])
@pytest.mark.parametrize("value", [9.6, 10.0, 10.4, 10.7])
def test_conformance_probability_with_two_limits_and_few_degrees_of_freedom(
    value: float, freedom: float
) -> None:
    law = stats.norm if freedom == inf else stats.t(freedom)
    want = law.cdf((10.5 - value) / 0.1) - law.cdf((9.5 - value) / 0.1)
    assert conformance_probability(value, 0.1, (9.5, 10.5), freedom) == pytest.approx(want, abs=1e-9)


def test_global_risks_of_a_resistor_maker() -> None:
    # Items N(1500, 0.12), meter u 0.04, tolerance +-0.20, accepted +-0.18 (believed to be the resistor
    # example of JCGM 106, about 1 % and 7 %); the numbers by quadrature with scipy
    risk = global_risk(1500.0, 0.12, 0.04, (1499.8, 1500.2), (1499.82, 1500.18))
    assert risk.conforming == pytest.approx(0.904419, abs=1e-5)
    assert risk.consumer == pytest.approx(0.0098783, abs=1e-5)
    assert risk.producer == pytest.approx(0.0690265, abs=1e-5)


def test_a_guard_band_must_use_the_uncertainty_at_the_right_place() -> None:
    # Speed limit 100 km/h, u = 2 % of the speed, 0.1 % false alarms: JCGM 106 rounds to 107 km/h
    z = normal_quantile(0.999)
    assert z == pytest.approx(3.0902, abs=5e-5)
    at_limit = 100 + z * 2.0
    at_reading = 100 / (1 - z * 0.02)
    assert at_limit == pytest.approx(106.18, abs=0.005)
    assert at_reading == pytest.approx(106.59, abs=0.005)


@pytest.mark.parametrize(
    ("guard_in_u", "risk"),
    [(2.0, 0.0228), (1.645, 0.05), (0.0, 0.5)],  # w = U (k = 2), w = 1.645 u, shared risk
)
def test_wrong_acceptance_at_the_acceptance_limit(guard_in_u: float, risk: float) -> None:
    u = 0.1
    just_inside = 10.0 - guard_in_u * u - 1e-9
    decision = decide(just_inside, u, (-inf, 10.0), rule=DecisionRule.GUARDED, guard_band=guard_in_u * u)
    assert decision.outcome is Outcome.PASS
    assert 1 - decision.conformity == pytest.approx(risk, abs=5e-4)


# -- the rules ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        (10.0, Outcome.PASS),
        (10.303, Outcome.PASS),  # U = 1.96 x 0.1: the guard band ends at 10.304
        (10.305, Outcome.UNDECIDED),
        (10.695, Outcome.UNDECIDED),
        (10.697, Outcome.FAIL),
        (9.305, Outcome.UNDECIDED),
        (9.303, Outcome.FAIL),
    ],
)
def test_guarded_acceptance_is_undecided_within_u_of_a_limit(value: float, outcome: Outcome) -> None:
    assert decide(value, 0.1, (9.5, 10.5)).outcome is outcome


def test_shared_risk_always_decides_on_the_value() -> None:
    assert decide(10.499, 0.1, (9.5, 10.5), rule=DecisionRule.SHARED).outcome is Outcome.PASS
    assert decide(10.501, 0.1, (9.5, 10.5), rule=DecisionRule.SHARED).outcome is Outcome.FAIL


def test_simple_acceptance_decides_only_while_the_uncertainty_is_small() -> None:
    assert decide(10.45, 0.1, (9.5, 10.5), rule=DecisionRule.SIMPLE).outcome is Outcome.PASS
    assert decide(10.45, 0.2, (9.5, 10.5), rule=DecisionRule.SIMPLE).outcome is Outcome.UNDECIDED


def test_few_degrees_of_freedom_widen_the_guard_band() -> None:
    assert decide(10.25, 0.1, (9.5, 10.5)).outcome is Outcome.PASS
    assert decide(10.25, 0.1, (9.5, 10.5), freedom=2.0).outcome is Outcome.UNDECIDED


def test_a_tolerance_that_guard_bands_swallow_can_pass_nothing() -> None:
    assert can_pass((9.5, 10.5), 0.25)
    assert not can_pass((9.5, 10.5), 0.26)
    assert decide(10.0, 0.26, (9.5, 10.5)).outcome is Outcome.UNDECIDED


@pytest.mark.parametrize(
    ("outcome", "conformity", "words"),
    [
        (Outcome.PASS, 0.976, "wrong less than 1 time in 40"),
        (Outcome.PASS, 0.974, "wrong less than 1 time in 20"),
        (Outcome.PASS, 0.5, "wrong 50% of the time"),
        (Outcome.FAIL, 0.0005, "wrong less than 1 time in 1000"),
        (Outcome.UNDECIDED, 0.31, "31% likely"),
    ],
)
def test_risk_in_words(outcome: Outcome, conformity: float, words: str) -> None:
    assert words in risk_words(outcome, conformity)


def test_uncertainty_ratio() -> None:
    assert uncertainty_ratio((9.5, 10.5), 0.125) == pytest.approx(4.0)
    assert uncertainty_ratio((9.5, inf), 0.1) == inf


def test_limits_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(ValueError, match="cannot judge"):
        decide(1.0, 0.1, (2.0, 1.0))
