"""A profile proposed from a measured stroke: what was measured, what was given, what is not known."""

from dataclasses import replace

import pytest

from rig.analysis.result import Outcome, Quantity
from rig.profile.load import load_profile_text
from rig.profile.model import Basis
from rig.report.proposal import NotMeasured, Proposal
from rig.units import UNIT_SETS
from tests.rig.force_valves import INCH, PSI
from tests.rig.made_up import PROFILE, made_up_result


def proposal(units: str = "psi", **changes: float | None) -> Proposal:
    """From the made-up result with some quantities changed, or not measured (None)."""
    result = made_up_result()
    quantities = dict(result.quantities)
    for key, value in changes.items():
        if value is None:
            quantities[key] = Quantity(key, None, None, None, Outcome.NOT_MEASURED, why="the stem stuck")
        else:
            quantities[key] = replace(quantities[key], value=value)
    return Proposal(PROFILE, replace(result, quantities=quantities), UNIT_SETS[units], "x", "record 7")


def test_values_carry_their_uncertainty_and_where_they_come_from() -> None:
    text = proposal().text()
    assert "  lower: 8.050 psi # measured: 8.050 ± 0.070 psi" in text
    assert "effective_area: 69 in² # given: no stroke measures it" in text
    assert "  packing_friction: 51.7 lbf # measured: 51.7 ± 2.0 lbf; half band" in text
    assert "record 7" in text


def test_the_ends_are_read_on_the_basis_of_the_range() -> None:
    alone = replace(proposal(), profile=replace(PROFILE, basis=Basis.SPRING_ONLY))
    profile = load_profile_text(alone.text(), "proposed")
    assert profile.basis is Basis.SPRING_ONLY
    assert profile.bench_lower_pa == pytest.approx(7.30 * PSI, rel=1e-4)
    assert profile.bench_upper_pa == pytest.approx(29.20 * PSI, rel=1e-4)


@pytest.mark.parametrize(
    ("measured_in", "rated"),
    [(1.129, "1-1/8"), (1.1245, "1-1/8"), (1.120, "1-3/32"), (1.153, "1-1/8"), (1.155, "1-5/32")],
)
def test_rated_travel_is_rounded_down_but_for_a_tenth_of_a_step(measured_in: float, rated: str) -> None:
    assert f"rated_travel: {rated} in #" in proposal(travel=measured_in * INCH).text()


def test_in_millimetres_it_is_rounded_down_to_a_half() -> None:
    text = proposal("bar", travel=28.82e-3).text()
    assert "rated_travel: 28.5 mm #" in text
    assert "psi" not in text


def test_what_may_be_left_out_is_left_out_with_the_reason() -> None:
    text = proposal(spring_rate=None, friction=None).text()
    profile = load_profile_text(text, "proposed")
    assert profile.spring_rate_n_per_m is None
    assert profile.trim.packing_friction_n is None
    assert "# spring_rate: not measured: the stem stuck" in text


@pytest.mark.parametrize("key", ["travel", "lift_off", "full_travel"])
def test_without_what_a_profile_needs_nothing_is_proposed(key: str) -> None:
    with pytest.raises(NotMeasured, match=key.replace("_", " ") + r".*the stem stuck"):
        proposal(**{key: None}).text()
