"""The sheet of a step-and-settle run: one printable page, made from the record and its result alone."""

from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template

from rig import __version__
from rig.analysis.point_table import PointTable
from rig.analysis.result import CheckResult, Outcome
from rig.analysis.terms import TERMS, limit_source
from rig.record.atomic import save_text
from rig.record.reader import Record
from rig.report.budget_page import budget_page
from rig.report.error_plot import error_plot
from rig.report.facts import fact_list, run_facts, stand_facts, started_on, valve_facts
from rig.report.point_rows import html_table
from rig.report.rows import rows
from rig.report.sheet import cause_block, items, outcome_block, subheading
from rig.report.words import ON_THE_SHEET, causes_of, quantity_name, warnings_of
from rig.units import UnitSet

PLOT_WIDTH, PLOT_HEIGHT = 712.0, 200.0
HOW = (
    "Each point was come to from one side only and read once pressure and stem were steady. Errors are "
    "travel in % of rated travel less pressure in % of the bench range. Terms as IEC 61298-2 and ISA-51.1 "
    "define them; limits are those of the profile alone."
)


def write_steps_sheet(
    record: Record, result: CheckResult, table: PointTable, path: Path, units: UnitSet
) -> None:
    """Write the sheet as one self-contained HTML file; raises RecordProblem when it cannot be written."""
    save_text(path, steps_sheet_html(record, result, table, units))


def steps_sheet_html(record: Record, result: CheckResult, table: PointTable, units: UnitSet) -> str:
    profile, run = record.profile, record.run
    serial = str(run.get("serial_number") or profile.serial_number)
    room, person = files("rig.report"), run.get("person")
    return Template(room.joinpath("steps_sheet.html").read_text(encoding="utf-8")).substitute(
        css=room.joinpath("sheet.css").read_text(encoding="utf-8"),
        title=escape(f"{result.outcome.value.upper()} – {profile.title} – {record.folder.name}"),
        heading=escape(profile.title),
        subheading=escape(subheading(record, units, serial)),
        outcome=outcome_block(result, judged_by(result)),
        cause=cause_block(causes_of(record, result)),
        valve=fact_list(valve_facts(profile, units, serial)),
        stand=fact_list(stand_facts(record, units, started_on(record))),
        run=fact_list(run_facts(record, units)),
        plot=error_plot(table, PLOT_WIDTH, PLOT_HEIGHT),
        points=html_table(table),
        rows=rows(result, profile.action, units, TERMS),
        advice=items([*warnings_of(record), *result.advice, *sources(record, result), *result.notes, HOW]),
        cautions=items(ON_THE_SHEET),
        person=f": {escape(str(person))}" if person else "",
        record_id=escape(record.record_id),
        version=escape(__version__),
        budget=budget_page(profile, result, units, record.record_id),
    )


def judged_by(result: CheckResult) -> str:
    """By what the outcome was found."""
    if result.outcome is Outcome.NOT_JUDGED:
        return "the profile sets no limits"
    return "by the profile's limits"


def sources(record: Record, result: CheckResult) -> list[str]:
    """Where each limit that was judged by comes from, as the person wrote it."""
    found = [
        (quantity_name(key, record.profile.action), limit_source(record.profile, key))
        for key, quantity in result.quantities.items()
        if quantity.limits is not None
    ]
    return [f"Limit of {name.lower()}: {source}." for name, source in found if source]
