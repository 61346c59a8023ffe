"""From the record of a step-and-settle run to its result, its files and its exit code; for a redo too."""

import json
import sys
from pathlib import Path

from rich.console import Console
from rich.text import Text

from rig.analysis.point_table import PointTable, table_from_steps
from rig.analysis.result import CheckResult
from rig.analysis.terms import TERMS, terms_result
from rig.cli.exits import OF_OUTCOME, PASS
from rig.cli.outcome import with_events
from rig.record.problem import RecordProblem
from rig.record.reader import Record, sensors_of
from rig.record.result_file import result_json, save_result
from rig.report.point_rows import console_table, points_json
from rig.report.steps_sheet import judged_by, sources, write_steps_sheet
from rig.report.table import OUTCOME_STYLE, print_causes, print_end, result_table
from rig.units import UNIT_SETS, UnitSet

STEPS = "step and settle"


def is_steps(record: Record) -> bool:
    return record.run.get("procedure") == STEPS


def read_steps(record: Record) -> tuple[CheckResult, PointTable]:
    sensors = sensors_of(record.stand)
    table = table_from_steps(record.samples, record.profile, sensors)
    return with_events(terms_result(table, record.profile, sensors), record), table


def conclude_steps(record: Record, units_name: str, as_json: bool) -> int:
    """Save result and sheet into the record, then show the result; raises RecordProblem after that where
    they could not be saved."""
    units = UNIT_SETS[units_name]
    result, table = read_steps(record)
    more = {"points": points_json(table)}
    problem: RecordProblem | None = None
    try:
        save_result(result, units, record.folder, TERMS, more)
        steps_sheet(record, record.folder / "sheet.html", units)
    except RecordProblem as found:
        problem = found
    if as_json:
        json.dump(result_json(result, units, record.folder, TERMS, more), sys.stdout, indent=2)
        print()
    else:
        _print(Console(), result, table, units, record)
    if problem is not None:
        raise problem
    return OF_OUTCOME.get(result.outcome, PASS)


def steps_sheet(record: Record, path: Path, units: UnitSet) -> None:
    """Raises RecordProblem."""
    write_steps_sheet(record, *read_steps(record), path, units)


def _print(console: Console, result: CheckResult, table: PointTable, units: UnitSet, record: Record) -> None:
    print_causes(console, record, result)
    console.print(Text("Errors, % of rated travel; input in % of the bench range", "bold"))
    console.print(console_table(table))
    console.print()
    console.print(result_table(result, units, record))
    for line in (*result.advice, *sources(record, result), *result.notes):
        console.print(Text(f"– {line}"))
    print_end(console, record, units)
    word = result.outcome.value.upper()
    console.print(
        Text.assemble((word, OUTCOME_STYLE[result.outcome]), f"  {record.profile.title}, {judged_by(result)}")
    )
    console.print(Text(f"Record: {record.folder}"), soft_wrap=True)
