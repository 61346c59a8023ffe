"""A force balance as lines of text, for a terminal of 80 columns or more."""

from collections.abc import Sequence
from textwrap import wrap

from rig.forces.balance import Balance
from rig.forces.line import Line
from rig.profile.model import Basis
from rig.report.forces_diagram import text_diagram
from rig.report.forces_words import (
    best_text,
    choice_text,
    factor_text,
    numbers_text,
    price_text,
    sum_text,
    value_text,
    verdict_texts,
    why_not,
)
from rig.report.words import AID_NOT_SAFETY, pressure_range_text, travel_text
from rig.units import Dimension, UnitSet

NAME, VALUE = 34, 15  # columns of a line's name and value
LABEL, CELL = 21, 27  # columns of the table of meanings
INDENT = " " * (NAME + VALUE + 2)


def sections(balance: Balance) -> list[tuple[str, tuple[Line, ...]]]:
    """The lines in reading order: given, at rest, on the way, at the seat, in service."""
    knowns, stroke, process = balance.knowns, balance.stroke, balance.process
    opens = knowns.opens_with_air
    margin = (knowns.margin,) if knowns.margin else ()
    service: tuple[Line, ...] = ()
    if process.stated:
        service = (
            process.unbalanced_area,
            process.stem_area,
            process.opening_shut,
            process.opening_open,
            process.mounting_shift,
            process.resisting_rest,
            process.resisting_full,
            stroke.lift_off_service,
            stroke.full_travel_service,
            stroke.seat_load_service,
            balance.lift_off_needed_service,
            stroke.supply_service,
        )
    at_rest = (stroke.seat_load,) if opens else (stroke.stop_force,)
    at_supply = (stroke.stop_force,) if opens else (stroke.seat_load,)
    return [
        ("Given", (knowns.friction, knowns.friction_pa, knowns.supply, *margin, knowns.casing)),
        (
            "At rest, no air",
            (knowns.setting.spring_lower, stroke.preload, balance.weight, stroke.reseat, *at_rest),
        ),
        ("Lift-off" if opens else "Leaving the open stop", (stroke.lift_off,)),
        (
            "Full travel" if opens else "Meeting the seat",
            (knowns.setting.rate, stroke.spring_full, stroke.full_travel, stroke.return_start),
        ),
        ("At supply", (*at_supply, stroke.supply)),
        ("What the seat asks for", (balance.required, balance.lift_off_needed)),
        ("In service", service),
    ]


def balance_lines(
    balance: Balance, units: UnitSet, contradictions: Sequence[str] = (), width: int = 100
) -> list[str]:
    """The whole balance, worst news first."""
    lines = [_heading(balance, units), ""]
    lines += _bullets((*contradictions, *verdict_texts(balance, units)), width)
    for title, rows in sections(balance):
        if rows:
            lines += ["", title]
            for row in rows:
                lines += _row(row, units, width)
    lines += ["", "Margins (there ÷ needed)", *_margins(balance, units, width)]
    lines += ["", "Both meanings of the bench range", *_meanings(balance, units, width)]
    if balance.ranges:
        lines += ["", "Obtainable bench ranges"]
        lines += _bullets(
            [best_text(balance, units), *(choice_text(c, units) for c in balance.ranges)], width
        )
    if balance.diagram is not None:
        lines += ["", *text_diagram(balance.diagram, units, width)]
    return [*lines, "", AID_NOT_SAFETY]


def _heading(balance: Balance, units: UnitSet) -> str:
    profile = balance.knowns.profile
    bench = pressure_range_text(units, profile.bench_lower_pa, profile.bench_upper_pa)
    origin = "as measured" if balance.measured else "as rated"
    return (
        f"Forces of {profile.title} ({profile.model}), {origin}: {profile.action.value}, "
        f"{units.text(Dimension.AREA, profile.area_m2, 3)}, {travel_text(units, profile.rated_travel_m)}, "
        f"{bench} {profile.basis.value}"
    )


def _bullets(texts: Sequence[str], width: int) -> list[str]:
    lines: list[str] = []
    for text in texts:
        lines += wrap(text, width, initial_indent="  • ", subsequent_indent="    ")
    return lines


def _row(line: Line, units: UnitSet, width: int) -> list[str]:
    """Name and value; beside it where it comes from: the formula in words, in numbers, and a note."""
    name = line.name[:1].upper() + line.name[1:]
    if line.value is None:
        return wrap(f"  {name}: {why_not(line.needs)}", width, subsequent_indent="    ")
    beside = []
    if line.formula:
        beside = [f"= {line.words}"]
        if line.formula != "{}":
            beside.append(f"= {numbers_text(line, units)}")
    if line.note:
        beside.append(line.note)
    room = max(24, width - len(INDENT))
    texts = [part for text in beside for part in wrap(text, room, subsequent_indent="  ")]
    head = f"  {name:<{NAME - 2}}{value_text(line, units):>{VALUE}}  "
    first, *rest = texts or [""]
    return [(head + first).rstrip(), *(INDENT + text for text in rest)]


def _margins(balance: Balance, units: UnitSet, width: int) -> list[str]:
    lines = []
    for margin in balance.margins:
        if margin.factor is None:
            lines += wrap(f"  {margin.name}: {why_not(margin.needs)}", width, subsequent_indent="    ")
            continue
        mark = "  ← first" if margin is balance.first_out else ""
        lines.append(f"  {margin.name:<52}{factor_text(margin):>8}   {sum_text(margin, units)}{mark}")
    return lines


def _meanings(balance: Balance, units: UnitSet, width: int) -> list[str]:
    """Side by side, as found first; where a figure needs something, it is said once below."""
    found = [(balance.stroke, balance.first_out)] if balance.measured else []
    found += [(m.stroke, m.first_out) for m in balance.meanings]
    names = ["as found"] if balance.measured else []
    names += [m.basis.value + (" ◄" if m.chosen else "") for m in balance.meanings]
    columns, needs = [("", names)], list[str]()
    for key in ("lift_off", "full_travel", "seat_load", "supply"):
        lines: list[Line] = [getattr(stroke, key) for stroke, _ in found]
        columns.append((lines[0].name, [value_text(line, units) for line in lines]))
        needs += [need for line in lines for need in line.needs]
    cell = min(CELL, (width - LABEL) // len(names))
    firsts = [first.name if first else "–" for _, first in found]
    factors = [factor_text(first) if first else "–" for _, first in found]
    if cell == CELL:
        columns += [("runs out first", firsts), ("its factor", factors)]
    rows = [f"  {name:<{LABEL - 2}}" + "".join(f"{one:>{cell}}" for one in cells) for name, cells in columns]
    if cell < CELL:  # no room for the names of margins in the table
        each = zip(names, firsts, factors, strict=True)
        words = "; ".join(f"{name.removesuffix(' ◄')}: {first} {factor}" for name, first, factor in each)
        rows += wrap(f"runs out first – {words}", width, initial_indent="  ", subsequent_indent="  ")
    if needs:
        rows.append(f"  {why_not(tuple(dict.fromkeys(needs)))}")
    chosen = balance.knowns.profile.basis
    other = Basis.SPRING_ONLY if chosen is Basis.FRICTION_INCLUDED else Basis.FRICTION_INCLUDED
    told = f"◄ the profile's choice: {chosen.value}, not {other.value}. {price_text(balance, units)}"
    return rows + wrap(told, width, initial_indent="  ", subsequent_indent="  ")
