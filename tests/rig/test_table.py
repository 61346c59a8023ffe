"""The result on the terminal."""

from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from rig.analysis.result import CheckResult, Outcome
from rig.profile.model import Action
from rig.record.reader import Event, Record
from rig.report.table import print_result
from rig.stand.notice import AIR_LEFT
from rig.units import UNIT_SETS, Dimension

from .made_up import DOSING, STAND, made_up_record, made_up_result, stopped_result


def printed(result: CheckResult, record: Record | None = None, width: int = 80, units: str = "psi") -> str:
    console = Console(file=StringIO(), width=width)
    print_result(console, result, UNIT_SETS[units], record or made_up_record())
    assert isinstance(console.file, StringIO)
    return console.file.getvalue()


def test_every_quantity_has_value_uncertainty_unit_limits_and_outcome() -> None:
    lines = [" ".join(line.split()) for line in printed(made_up_result()).splitlines()]
    assert "Lift-off 8.050 0.070 psi 7.5 to 8.5 pass" in lines
    assert "Seat load, no air 453 15 lbf at least 427.1 pass" in lines
    assert "Reseat 6.560 0.070 psi not judged" in lines
    assert "PASS Brine let-down valve, friction included" in lines


def test_the_table_fits_eighty_columns() -> None:
    record = replace(made_up_record(Action.AIR_TO_CLOSE), folder=made_up_record().folder)
    words = printed(made_up_result(DOSING), record)
    assert "Seat load at supply" in words
    assert "…" not in words


def test_a_stopped_run_names_its_first_cause_first_and_measures_nothing() -> None:
    words = printed(stopped_result(("Emergency stop", "Pressure still there")))
    assert words.startswith("Stopped, first cause: Emergency stop\nStopped, then: Pressure still there\n")
    assert words.count("not measured") == 12
    assert "STOPPED" in words


def test_a_casing_that_may_still_hold_pressure_is_told() -> None:
    record = replace(made_up_record(), events=(Event(31.0, "warning", "Vent it by hand."),))
    assert "Warning: Vent it by hand." in printed(made_up_result(), record)


def test_whether_the_air_is_gone_is_told_at_the_end() -> None:
    record = made_up_record()
    last = UNIT_SETS["psi"].to(Dimension.PRESSURE, record.samples.pressure_pa[-1])
    assert f"At the end the casing read {last:z.2f} psi: vented." in printed(
        stopped_result(("Guard open",)), record
    )
    assert "taken as vented only because" in " ".join(
        printed(made_up_result(), made_up_record(stand=replace(STAND, casing_pressure=None))).split()
    )


@pytest.mark.parametrize(
    "record",
    [
        replace(made_up_record(), closed=False),
        replace(made_up_record(), events=(Event(31.0, "warning", AIR_LEFT),)),
    ],
)
def test_it_is_not_called_vented_where_that_is_not_known(record: Record) -> None:
    assert "vented." not in printed(made_up_result(), record)


def test_text_with_brackets_is_printed_as_it_is() -> None:
    result = replace(made_up_result(), advice=("[bold]turn[/bold] the [adjuster]",))
    assert "– [bold]turn[/bold] the [adjuster]" in printed(result)


def test_inferred_pressure_is_said() -> None:
    record = made_up_record(stand=replace(STAND, casing_pressure=None))
    assert "inferred from the I/P" in printed(made_up_result(), record)


@pytest.mark.parametrize("outcome", [Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED])
def test_the_outcome_is_a_word(outcome: Outcome) -> None:
    assert outcome.value.upper() in printed(made_up_result(outcome=outcome))
