"""The result object: what --json prints and result.json holds."""

import json
from dataclasses import replace
from math import inf
from pathlib import Path

import pytest

from rig.analysis.result import QUANTITIES, Outcome, Quantity
from rig.record.problem import RecordProblem
from rig.record.result_file import result_json, save_result
from rig.units import UNIT_SETS

from .made_up import INCH, PSI, made_up_result, stopped_result

HERE = Path("records/2026-11-25_141503_brine-letdown")
PSI_SET, BAR_SET = UNIT_SETS["psi"], UNIT_SETS["bar"]


BUDGET_KEYS = {
    "method",
    "standard_uncertainty",
    "degrees_of_freedom",
    "coverage_factor",
    "budget",
    "probability_of_conformity",
    "risk",
}


def test_the_object_has_exactly_its_keys_and_every_quantity() -> None:
    made = result_json(made_up_result(), PSI_SET, HERE)
    assert list(made) == ["outcome", "basis", "cycles", "quantities", "trips", "advice", "record"]
    assert tuple(made["quantities"]) == QUANTITIES
    for quantity in made["quantities"].values():
        assert list(quantity)[:5] == ["value", "uncertainty", "unit", "limits", "outcome"]
        assert set(list(quantity)[5:]) == BUDGET_KEYS
    assert (made["outcome"], made["basis"], made["record"]) == ("pass", "friction included", str(HERE))


def test_values_are_in_the_units_asked_for() -> None:
    lift_off = result_json(made_up_result(), PSI_SET, HERE)["quantities"]["lift_off"]
    assert lift_off["value"] == pytest.approx(8.05, rel=1e-6)
    assert lift_off["uncertainty"] == pytest.approx(0.07, rel=1e-6)
    assert lift_off["limits"] == pytest.approx([7.5, 8.5], rel=1e-6)
    assert lift_off["unit"] == "psi"
    travel = result_json(made_up_result(), BAR_SET, HERE)["quantities"]["travel"]
    assert (travel["value"], travel["unit"]) == (pytest.approx(1.129 * INCH * 1000, rel=1e-6), "mm")


def test_not_measured_is_null_never_a_number() -> None:
    made = result_json(stopped_result(("Emergency stop",)), PSI_SET, HERE)
    assert made["trips"] == ["Emergency stop"]
    for quantity in made["quantities"].values():
        assert (quantity["value"], quantity["uncertainty"]) == (None, None)
        assert quantity["outcome"] == "not measured"


def test_a_number_left_in_a_quantity_that_was_not_measured_does_not_come_out() -> None:
    result = made_up_result()
    stale = Quantity("reseat", 5.0 * PSI, 0.1 * PSI, None, Outcome.NOT_MEASURED)
    result = replace(result, quantities=result.quantities | {"reseat": stale})
    assert result_json(result, PSI_SET, HERE)["quantities"]["reseat"]["value"] is None


def test_a_quantity_that_is_missing_altogether_is_not_measured() -> None:
    result = replace(made_up_result(), quantities={})
    assert result_json(result, PSI_SET, HERE)["quantities"]["travel"]["outcome"] == "not measured"


def test_a_side_without_limit_is_null_and_no_limits_are_null() -> None:
    quantities = result_json(made_up_result(), PSI_SET, HERE)["quantities"]
    low, high = quantities["seat_load"]["limits"]
    assert low == pytest.approx(427.1, abs=0.05)
    assert high is None
    assert quantities["friction"]["limits"] is None


def test_an_uncertainty_that_is_not_finite_is_null_and_the_file_stays_json(tmp_path: Path) -> None:
    result = made_up_result()
    odd = Quantity("friction", 230.0, inf, None, Outcome.NOT_JUDGED)
    path = save_result(replace(result, quantities=result.quantities | {"friction": odd}), PSI_SET, tmp_path)
    assert json.loads(path.read_text())["quantities"]["friction"]["uncertainty"] is None


def test_the_result_file_replaces_an_older_one_whole(tmp_path: Path) -> None:
    save_result(stopped_result(("x",)), PSI_SET, tmp_path)
    path = save_result(made_up_result(), PSI_SET, tmp_path)
    assert json.loads(path.read_text())["outcome"] == "pass"
    assert [p.name for p in tmp_path.iterdir()] == ["result.json"]


def test_a_result_that_cannot_be_saved_is_told(tmp_path: Path) -> None:
    with pytest.raises(RecordProblem, match="could not be written"):
        save_result(made_up_result(), PSI_SET, tmp_path / "gone")
