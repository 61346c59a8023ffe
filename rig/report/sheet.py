"""The sheet: one printable page that says what was measured, made from the record and its result alone."""

from collections.abc import Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template

from rig import __version__
from rig.analysis.result import CheckResult, Outcome
from rig.record.atomic import save_text
from rig.record.reader import Record
from rig.report.budget_page import budget_page
from rig.report.curves import curves_of
from rig.report.facts import fact_list, run_facts, stand_facts, started_on, valve_facts
from rig.report.forces_block import forces_page
from rig.report.plot import over_time, pressure_travel
from rig.report.rows import rows
from rig.report.words import ON_THE_SHEET, causes_of, pressure_range_text, travel_text, warnings_of
from rig.units import Dimension, UnitSet

# The page is laid out for 190 mm x 255 mm, which fits A4 and Letter with 10 mm margins. The style sheet
# shrinks the plots when the words need more room than reckoned here, so that it is one page always.
PAGE_PX = 255.0 / 25.4 * 96.0
PLOT_WIDTH, TIME_WIDTH = 436.0, 276.0
TALLEST_PX, LOWEST_PX = 360.0, 190.0  # of the plots
HEAD_AND_FOOT_PX = 155.0  # header, signatures, footer and the gaps between all parts
FACT_PX, ROW_PX, RISK_PX, WORD_PX = 13.8, 19.2, 9.0, 13.4  # heights of one line of each
LETTERS_A_LINE, LETTERS_A_WIDE_LINE, LETTERS_A_CAUSE_LINE = 66, 112, 78
MOST_WORD_LINES = 16  # of advice and causes together
MOST_LATER = 4  # causes after the first

_MARKS = {
    Outcome.PASS: '<circle cx="20" cy="20" r="18" fill="#1b7f3b"/>'
    '<path d="M11 21l6 6 12-14" fill="none" stroke="#fff" stroke-width="4"/>',
    Outcome.FAIL: '<rect x="3" y="3" width="34" height="34" fill="#b3261e"/>'
    '<path d="M12 12l16 16M28 12L12 28" stroke="#fff" stroke-width="4"/>',
    Outcome.UNDECIDED: '<path d="M20 1l19 19-19 19L1 20z" fill="#f2c200" stroke="#4d3c00"/>'
    '<text x="20" y="27.5" text-anchor="middle" style="font:bold 22px sans-serif">?</text>',
    Outcome.NOT_JUDGED: '<circle cx="20" cy="20" r="17" fill="none" stroke="#55656f" stroke-width="3"/>',
    Outcome.STOPPED: '<path d="M13 2h14l11 11v14L27 38H13L2 27V13z" fill="#b3261e"/>'
    '<rect x="13" y="13" width="14" height="14" fill="#fff"/>',
}


def write_sheet(record: Record, result: CheckResult, path: Path, units: UnitSet) -> None:
    """Write the sheet as one self-contained HTML file; raises RecordProblem when it cannot be written."""
    save_text(path, sheet_html(record, result, units))


def sheet_html(record: Record, result: CheckResult, units: UnitSet) -> str:
    profile, run = record.profile, record.run
    serial = str(run.get("serial_number") or profile.serial_number)
    curves = curves_of(record.samples)
    causes = causes_of(record, result)
    advice = _fitting(_advice(record, result), MOST_WORD_LINES - _cause_lines(causes))
    valve = valve_facts(profile, units, serial)
    stand = stand_facts(record, units, started_on(record))
    ran = run_facts(record, units)
    table = rows(result, profile.action, units)
    height = _plot_height(causes, advice, max(len(valve), len(stand), len(ran)), table)
    room = files("rig.report")
    person = run.get("person")
    return Template(room.joinpath("sheet.html").read_text(encoding="utf-8")).substitute(
        css=room.joinpath("sheet.css").read_text(encoding="utf-8"),
        title=escape(f"{result.outcome.value.upper()} – {profile.title} – {record.folder.name}"),
        heading=escape(profile.title),
        subheading=escape(subheading(record, units, serial)),
        outcome=outcome_block(result),
        cause=cause_block(causes),
        valve=fact_list(valve),
        stand=fact_list(stand),
        run=fact_list(ran),
        stroke_plot=pressure_travel(curves, profile, result, units, PLOT_WIDTH, height),
        time_plot=over_time(curves, profile, units, TIME_WIDTH, height),
        rows=table,
        advice=items(advice),
        cautions=items(ON_THE_SHEET),
        person=f": {escape(str(person))}" if person else "",
        record_id=escape(record.record_id),
        version=escape(__version__),
        budget=budget_page(profile, result, units, record.record_id),
        forces=forces_page(profile, result, units, record.record_id),
    )


def subheading(record: Record, units: UnitSet, serial: str) -> str:
    profile = record.profile
    parts = [
        profile.model,
        f"serial {serial}" if serial else "",
        profile.action.value,
        units.text(Dimension.AREA, profile.area_m2, 3),
        pressure_range_text(units, profile.bench_lower_pa, profile.bench_upper_pa),
        travel_text(units, profile.rated_travel_m),
    ]
    return " · ".join(part for part in parts if part)


def outcome_block(result: CheckResult, judged: str = "") -> str:
    """The outcome large, with a mark whose shape repeats it; below it, `judged`: by what."""
    word = result.outcome.value
    judged = judged or f"judged {result.basis}"
    basis = "not completed" if result.outcome is Outcome.STOPPED else judged
    return (
        f'<div class="outcome {word.split()[0]}">'
        f'<svg viewBox="0 0 40 40" aria-hidden="true">{_MARKS[result.outcome]}</svg>'
        f'<div><p class="word">{escape(word.upper())}</p><p class="basis">{escape(basis)}</p></div></div>'
    )


def cause_block(causes: Sequence[str]) -> str:
    """The first cause, large; what followed it, small."""
    if not causes:
        return ""
    first, *later = causes
    follow = "".join(f"<li>then: {escape(trip)}</li>" for trip in later[:MOST_LATER])
    return (
        '<section class="cause"><p class="label">Stopped: first cause</p>'
        f'<p class="first">{escape(first)}</p>{f"<ul>{follow}</ul>" if follow else ""}</section>'
    )


def _advice(record: Record, result: CheckResult) -> list[str]:
    advice = [*warnings_of(record), *result.advice]
    if record.pressure_is_inferred:
        advice.append(
            "The stand has no casing-pressure transmitter: pressures are inferred from the I/P's "
            "calibration, with its larger uncertainty."
        )
    advice += result.notes
    return advice or ["Nothing to add."]


def items(texts: list[str] | tuple[str, ...]) -> str:
    return "\n".join(f"<li>{escape(text)}</li>" for text in texts)


def _lines(words: str, letters: int = LETTERS_A_LINE) -> int:
    return 1 + len(words) // letters


def _cause_lines(causes: Sequence[str]) -> int:
    """Lines of the causes after the first, which has its own room."""
    return sum(_lines(f"then: {trip}", LETTERS_A_WIDE_LINE) for trip in causes[1 : 1 + MOST_LATER])


def _fitting(texts: list[str], most_lines: int) -> list[str]:
    """As much as leaves room for the plots; what does not fit is counted, and told where it is."""
    used = 0
    for index, words in enumerate(texts):
        used += _lines(words)
        if used > most_lines:
            return [*texts[:index], f"{len(texts) - index} more: stemrig redo prints all of them."]
    return texts


def _plot_height(causes: Sequence[str], advice: list[str], facts: int, table: str) -> float:
    """What is left for the plots when the words have had their room [px]."""
    words = max(6, sum(_lines(text) for text in advice))
    used = HEAD_AND_FOOT_PX + 20.0 + facts * FACT_PX + 20.0 + words * WORD_PX
    used += ROW_PX * (1 + table.count("<tr")) + RISK_PX * table.count("<small")
    if causes:
        used += 38.0 + 20.0 * _lines(causes[0], LETTERS_A_CAUSE_LINE) + WORD_PX * _cause_lines(causes)
    return min(TALLEST_PX, max(LOWEST_PX, PAGE_PX - used))
