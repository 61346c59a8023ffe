"""The force balance as the second page of a sheet: lines, margins, both meanings, ranges, diagram."""

from collections.abc import Iterable
from html import escape

from rig.analysis.result import CheckResult
from rig.forces.balance import Balance, balance_of
from rig.forces.knowns import measured_of
from rig.forces.line import Line
from rig.profile.model import Profile, Trim
from rig.report.forces import sections
from rig.report.forces_diagram import svg_diagram
from rig.report.forces_words import (
    best_text,
    factor_text,
    numbers_text,
    price_text,
    sum_text,
    value_text,
    verdict_texts,
    why_not,
)
from rig.report.words import AID_NOT_SAFETY, pressure_range_text
from rig.units import UnitSet

MOST_NEWS, MOST_RANGES = 7, 7  # what one page holds; 'stemrig forces' prints all

STYLE = """<style>
.forces { break-before: page; }
.forces table { table-layout: auto; }
.forces { gap: 1.8mm; }
.forces td { white-space: normal; font-size: 7.2pt; line-height: 1.12; padding: .2mm 1mm; }
.forces td.name { width: 44mm; } .forces td.value { width: 21mm; white-space: nowrap; }
.forces td.formula { color: var(--soft); font-size: 6.6pt; }
.forces .beside td.name, .forces .beside td.value { width: auto; } .forces .beside td { white-space: nowrap; }
.forces tr.head td { color: var(--accent); font-weight: 700; border-bottom: .25mm solid var(--ink); }
.forces tr.short { background: #fbe9e7; font-weight: 700; }
.forces .news li { list-style: none; font-weight: 700; }
.forces .beside { display: grid; grid-template-columns: 1.15fr 1fr; gap: 4mm; align-items: start; }
.forces .beside svg { width: 100%; height: auto; }
.forces p.small { font-size: 7.2pt; }
</style>"""


def forces_page(profile: Profile, result: CheckResult, units: UnitSet, record_id: str) -> str:
    """The page, or nothing where the profile says nothing of trim, springs or margins."""
    said = profile.trim != Trim() or profile.obtainable_ranges_pa or profile.supply_margin_pa is not None
    if not said:
        return ""
    return forces_block(balance_of(profile, measured_of(result)), units, record_id)


def forces_block(balance: Balance, units: UnitSet, record_id: str = "") -> str:
    origin = "as measured" if balance.measured else "as rated"
    diagram = svg_diagram(balance.diagram, units, 400.0, 196.0) if balance.diagram is not None else ""
    record = f"Record {escape(record_id)}" if record_id else ""
    footer = f"<footer><span>{record}</span><span>{escape(AID_NOT_SAFETY)}</span></footer>"
    return (
        f'{STYLE}<main class="page forces"><header><div class="what"><p class="kind">Forces · {origin}</p>'
        f"<h1>{escape(balance.knowns.profile.title)}</h1></div></header>"
        f'<ul class="news">{_items(verdict_texts(balance, units)[:MOST_NEWS])}</ul>'
        f'<section class="beside"><div>{diagram}</div><div>{_margins(balance, units)}</div></section>'
        f"<section>{_lines(balance, units)}</section>"
        f'<section class="beside"><div>{_meanings(balance, units)}</div><div>{_ranges(balance, units)}</div>'
        f"</section>{footer}</main>"
    )


def _items(texts: Iterable[str]) -> str:
    return "".join(f"<li>{escape(text)}</li>" for text in texts)


def _cells(*cells: tuple[str, str]) -> str:
    return "".join(f'<td class="{kind}">{escape(words)}</td>' for kind, words in cells)


def _lines(balance: Balance, units: UnitSet) -> str:
    rows = []
    for title, lines in sections(balance):
        if lines:
            rows.append(f'<tr class="head"><td colspan="3">{escape(title)}</td></tr>')
            rows += [f"<tr>{_line(line, units)}</tr>" for line in lines]
    return f"<table>{''.join(rows)}</table>"


def _line(line: Line, units: UnitSet) -> str:
    name = line.name[:1].upper() + line.name[1:]
    if line.value is None:
        return _cells(("name", name), ("value", "–"), ("formula", why_not(line.needs)))
    parts = []
    if line.formula:
        parts.append(line.words if line.formula == "{}" else f"{line.words} = {numbers_text(line, units)}")
    if line.note:
        parts.append(line.note)
    return _cells(("name", name), ("value", value_text(line, units)), ("formula", "; ".join(parts)))


def _margins(balance: Balance, units: UnitSet) -> str:
    rows = ['<tr class="head"><td>Margin</td><td>factor</td><td>there ÷ needed</td></tr>']
    for margin in balance.margins:
        beside = why_not(margin.needs) if margin.factor is None else sum_text(margin, units)
        first = " (first)" if margin is balance.first_out else ""
        cells = _cells(("name", margin.name + first), ("value", factor_text(margin)), ("formula", beside))
        rows.append(f"<tr{' class=short' if margin.short else ''}>{cells}</tr>")
    return f"<table>{''.join(rows)}</table>"


def _meanings(balance: Balance, units: UnitSet) -> str:
    names = "".join(
        f"<td>{m.basis.value}{' (the profile’s)' if m.chosen else ''}</td>" for m in balance.meanings
    )
    rows = [f'<tr class="head"><td>Bench range meant</td>{names}</tr>']
    for key in ("lift_off", "full_travel", "seat_load", "supply"):
        lines: list[Line] = [getattr(m.stroke, key) for m in balance.meanings]
        cells = _cells(("name", lines[0].name), *(("value", value_text(line, units)) for line in lines))
        rows.append(f"<tr>{cells}</tr>")
    return f'<table>{"".join(rows)}</table><p class="small">{escape(price_text(balance, units))}</p>'


def _ranges(balance: Balance, units: UnitSet) -> str:
    """Each range in one line: what runs out first decides."""
    if not balance.ranges:
        return ""
    rows = ['<tr class="head"><td>Obtainable range</td><td>serves</td><td>runs out first</td></tr>']
    for choice in balance.ranges[:MOST_RANGES]:
        first = choice.first_out
        serves = "yes" if choice.serves else "no" if choice.judged else "not judged"
        told = f"{first.name} {factor_text(first)}" if first is not None else ""
        name = pressure_range_text(units, choice.lower_pa, choice.upper_pa)
        rows.append(f"<tr>{_cells(('name', name), ('value', serves), ('formula', told))}</tr>")
    return f'<table>{"".join(rows)}</table><p class="small">{escape(best_text(balance, units))}</p>'
