"""The uncertainty budget on the sheet and in the result object, and the decision rule of a profile."""

import re
from math import hypot

import pytest

from rig.analysis.check import analyse
from rig.analysis.result import Outcome
from rig.files import FileProblems
from rig.profile.load import load_profile_text, profile_text
from rig.profile.model import DecisionRule, Tolerance
from rig.record.result_file import result_json
from rig.report.budget_page import budget_page
from rig.units import UNIT_SETS

from .synthetic import PSI, SENSORS, IdealValve, Rig, profile_for, record

VALVE = IdealValve()

UNITS = UNIT_SETS["psi"]


@pytest.mark.parametrize("key", ["lift_off", "travel", "spring_rate", "seat_load"])
def test_the_parts_of_a_budget_make_up_its_combined_uncertainty(key: str, tmp_path) -> None:  # type: ignore[no-untyped-def]
    result = analyse(record(VALVE, Rig()), profile_for(VALVE), SENSORS)
    told = result_json(result, UNITS, tmp_path)["quantities"][key]
    parts = [part["standard_uncertainty"] for part in told["budget"]]
    assert len(parts) >= 2
    assert hypot(*parts) == pytest.approx(told["standard_uncertainty"], rel=1e-3)
    assert told["uncertainty"] == pytest.approx(
        told["coverage_factor"] * told["standard_uncertainty"], rel=1e-3
    )


def test_the_page_names_every_source_once_and_every_measured_quantity() -> None:
    result = analyse(record(VALVE, Rig()), profile_for(VALVE), SENSORS)
    page = budget_page(profile_for(VALVE), result, UNITS, "r1")
    sources = {part.source for quantity in result.quantities.values() for part in quantity.budget}
    for source in sources:
        assert page.count(f">{source} (type ") == 1
    rows = re.findall(r"<tr.*?</tr>", page)
    assert len({row.count("<td") + row.count("<th") for row in rows}) == 1


def test_nothing_measured_makes_no_page() -> None:
    nothing = analyse(record(VALVE, Rig()), profile_for(VALVE), SENSORS)
    for quantity in list(nothing.quantities):
        del nothing.quantities[quantity]
    assert budget_page(profile_for(VALVE), nothing, UNITS, "r1") == ""


@pytest.mark.parametrize(
    ("rule", "outcome"), [("guarded acceptance", Outcome.UNDECIDED), ("shared risk", Outcome.PASS)]
)
def test_the_profile_chooses_how_near_to_a_limit_is_decided(rule: str, outcome: Outcome) -> None:
    """Tolerance of 0.01 psi, far below the expanded uncertainty, about the value measured."""
    plain = profile_for(VALVE)
    seen = analyse(record(VALVE, Rig()), plain, SENSORS).quantities["lift_off"].value
    assert seen is not None
    close = Tolerance(0.005 * PSI, 0.005 * PSI)
    profile = profile_for(VALVE, bench_lower_pa=seen, lower_tolerance=close, decision_rule=DecisionRule(rule))
    assert analyse(record(VALVE, Rig()), profile, SENSORS).quantities["lift_off"].outcome is outcome


def test_a_profile_names_its_rule_and_an_unknown_one_is_told() -> None:
    text = profile_text("brine-letdown")
    assert load_profile_text(text, "x").decision_rule is DecisionRule.GUARDED
    assert (
        load_profile_text(text + "\ndecision_rule: shared risk\n", "x").decision_rule is DecisionRule.SHARED
    )
    with pytest.raises(FileProblems, match="guarded acceptance"):
        load_profile_text(text + "\ndecision_rule: lenient\n", "x")
