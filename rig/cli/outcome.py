"""From a finished record to its result, its files and its exit code: for a fresh run and for a redo."""

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from rig.analysis.check import analyse
from rig.analysis.point_table import table_from_ramp
from rig.analysis.result import CheckResult, Outcome
from rig.analysis.terms import TERMS, terms_result
from rig.cli.exits import OF_OUTCOME
from rig.forces.balance import balance_of
from rig.forces.knowns import measured_of
from rig.profile.model import Profile
from rig.record.problem import RecordProblem
from rig.record.reader import Record, read_record, sensors_of
from rig.record.result_file import result_json, save_result
from rig.report.cycle_words import more_cycles_lines
from rig.report.forces_words import short_texts
from rig.report.point_rows import points_json
from rig.report.sheet import write_sheet
from rig.report.table import print_result
from rig.units import UNIT_SETS, UnitSet

BENCH_CHECK = "bench check"
CYCLES = "cycles"  # kind of the event that says why there were no more


def read_check(folder: Path) -> Record:
    """The record of a bench check; raises RecordProblem for that of another procedure."""
    return check_of(read_record(folder))


def check_of(record: Record) -> Record:
    """The same record where it is of a bench check; else raises RecordProblem."""
    procedure = str(record.run.get("procedure") or BENCH_CHECK)
    if procedure != BENCH_CHECK:
        raise RecordProblem(
            f"{record.folder}: is the record of another procedure ({procedure}), "
            "which has no result of a check\n"
            "    what was asked, answered and found is in its events.csv; name the record of a check"
        )
    return record


def result_of(record: Record, units: UnitSet = UNIT_SETS["psi"]) -> CheckResult:
    """Analyse a record; a run that was stopped judges nothing, whatever its numbers say."""
    result = analyse(record.samples, record.profile, sensors_of(record.stand), units=units)
    result = with_events(result, record)
    if result.outcome is Outcome.STOPPED:
        return result
    more = more_cycles_lines(result, record.profile.action, units)
    return replace(result, advice=result.advice + more + _short_in_service(record.profile, result, units))


def with_events(result: CheckResult, record: Record) -> CheckResult:
    """The result with what the run's events say: trips, remarks, and whether it came to its end.

    A record that was not ended in order is of a run that was stopped, whatever its numbers say: the program
    was killed, or could not write.
    """
    trips = tuple(event.text for event in record.events if event.kind == "trip")
    stopped = bool(trips) or not record.closed
    stopped |= any(event.kind in ("stop", "refusal") for event in record.events)
    remarks = tuple(event.text for event in record.events if event.kind == "remark")
    ended = next((event.text for event in reversed(record.events) if event.kind == CYCLES), "")
    result = replace(result, trips=trips, notes=result.notes + remarks, ended=ended)
    return _unjudged(result) if stopped else result


def _short_in_service(profile: Profile, result: CheckResult, units: UnitSet) -> tuple[str, ...]:
    """Margins of the force balance below 1, by what was measured: not judged by the check, but told."""
    short = short_texts(balance_of(profile, measured_of(result)), units)
    return tuple(f"{text} See the forces on the sheet, or stemrig forces --record." for text in short)


def _unjudged(result: CheckResult) -> CheckResult:
    """Of a run that did not come to its end: the numbers stay, their outcomes and the advice go."""
    quantities = {
        key: quantity
        if quantity.outcome is Outcome.NOT_MEASURED
        else replace(quantity, outcome=Outcome.NOT_JUDGED, conformity=None, risk="")
        for key, quantity in result.quantities.items()
    }
    return replace(result, outcome=Outcome.STOPPED, quantities=quantities, advice=())


def conclude(record: Record, units_name: str, as_json: bool) -> int:
    """Save result and sheet into the record, then show the result.

    A result that cannot be saved is shown all the same, and RecordProblem raised after it: a pass without
    its evidence is none.
    """
    units = UNIT_SETS[units_name]
    result = result_of(record, units)
    problem = _save(record, result, units)
    if as_json:
        told = result_json(result, units, record.folder, more=_performance(record, units))
        json.dump(told, sys.stdout, indent=2)
        print()
    else:
        from rich.console import Console

        print_result(Console(), result, units, record)
    if problem is not None:
        raise problem
    return OF_OUTCOME[result.outcome]


def _save(record: Record, result: CheckResult, units: UnitSet) -> RecordProblem | None:
    try:
        save_result(result, units, record.folder, more=_performance(record, units))
        write_sheet(record, result, record.folder / "sheet.html", units)
    except RecordProblem as problem:
        return problem
    return None


def _performance(record: Record, units: UnitSet) -> dict[str, Any]:
    """The standards' terms as far as ramps tell them: told, never judged, as nothing settled."""
    sensors = sensors_of(record.stand)
    table = table_from_ramp(record.samples, record.profile, sensors)
    terms = with_events(terms_result(table, record.profile, sensors), record)
    told = result_json(terms, units, record.folder, TERMS)
    return {"performance": {"quantities": told["quantities"], "points": points_json(table)}}
