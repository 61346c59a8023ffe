"""The force diagram along the travel: in text for a terminal, as SVG for the sheet."""

from dataclasses import dataclass
from textwrap import wrap

from rig.forces.diagram import Diagram
from rig.report.braille import BrailleGrid
from rig.report.svg import Axis, box, drawing, line, text, ticks
from rig.report.words import plain, travel_text
from rig.units import Dimension, UnitSet

ROWS, MOST_COLUMNS, LABEL = 14, 56, 11
HEADROOM = 1.06
STYLE = """<style>
.f-spring{stroke:#1d4e89;stroke-width:2;fill:none}
.f-process{stroke:#1d4e89;stroke-width:1.4;stroke-dasharray:2 2;fill:none}
.f-friction{fill:#1d4e89;fill-opacity:.14;stroke:none}
.f-air{stroke:#5b5b5b;stroke-width:1;stroke-dasharray:6 3}
.f-seat{stroke:#b35c00;stroke-width:5}
.f-frame{fill:none;stroke:#333;stroke-width:1}
.f-tick{stroke:#333;stroke-width:1}
</style>"""


@dataclass(frozen=True, slots=True)
class _Named:
    """A level to be written at the right of the text diagram."""

    share: float  # of the height, 0 at the bottom
    words: str


def text_diagram(diagram: Diagram, units: UnitSet, width: int) -> list[str]:
    """Force upwards, travel to the right; the names stand at the right ends of their lines."""
    columns = max(20, min(MOST_COLUMNS, width - LABEL - 24))
    top = diagram.highest_n * HEADROOM
    grid = BrailleGrid(columns, ROWS)
    _sloped(grid, diagram.spring_n, top, 1)
    for half in (-1.0, 1.0) if diagram.friction_n else ():
        shift = half * (diagram.friction_n or 0.0)
        _sloped(grid, (diagram.spring_n[0] + shift, diagram.spring_n[1] + shift), top, 4)
    if diagram.process_n is not None:
        _sloped(grid, diagram.process_n, top, 3)
    for level in diagram.air:
        _sloped(grid, (level.force_n, level.force_n), top, 6)
    _seat_bar(grid, diagram, top)
    names = _at_rows(_names(diagram, units, top))
    force = units.symbol(Dimension.FORCE)
    marks = {0: plain(_three(units.to(Dimension.FORCE, top))), ROWS - 1: "0"}
    words = f"Force along the travel, {force} – line: spring; dots: friction; dashes: air; bar: seat"
    lines = wrap(words, width)
    for row, cells in enumerate(grid.lines()):
        lines.append(f"{marks.get(row, ''):>{LABEL - 2}} ┤{cells} {names.get(row, '')}".rstrip())
    ends = ("seat", "open stop") if diagram.seat_at_rest else ("open stop", "seat")
    scale = f"{ends[0]}{travel_text(units, diagram.travel_m) + ', ' + ends[1]:>{columns - len(ends[0])}}"
    return [*lines, " " * LABEL + scale]


def _three(value: float) -> float:
    return float(f"{value:.3g}")


def _sloped(grid: BrailleGrid, forces: tuple[float, float], top: float, every: int) -> None:
    """A line of dots from left to right, every so many columns of dots."""
    dots = grid.columns * 2
    for index in range(0, dots, every):
        share = index / (dots - 1)
        grid.set((index + 0.5) / dots, (forces[0] + share * (forces[1] - forces[0])) / top)


def _seat_bar(grid: BrailleGrid, diagram: Diagram, top: float) -> None:
    if diagram.seat_n is None:
        return
    low, high = diagram.seat_n
    steps = ROWS * 4
    for index in range(steps + 1):
        level = index / steps
        if low / top <= level <= high / top:
            for column in (0.25, 0.75, 1.25):
                share = column / grid.columns
                grid.set(share if diagram.seat_at_rest else 1.0 - share, level)


def _names(diagram: Diagram, units: UnitSet, top: float) -> list[_Named]:
    named = [
        _Named(level.force_n / top, f"{level.name} {_pressure(units, level.pressure_pa)}")
        for level in diagram.air
    ]
    named.append(_Named(diagram.spring_n[1] / top, "spring"))
    if diagram.process_n is not None:
        named.append(_Named(diagram.process_n[1] / top, "spring and process"))
    return named


def _at_rows(named: list[_Named]) -> dict[int, str]:
    """Names that share a row stand behind one another."""
    rows: dict[int, str] = {}
    for one in named:
        row = min(ROWS - 1, max(0, int((1.0 - one.share) * ROWS)))
        rows[row] = f"{rows[row]}, {one.words}" if row in rows else one.words
    return rows


def _pressure(units: UnitSet, pressure_pa: float) -> str:
    return f"{plain(units.to(Dimension.PRESSURE, pressure_pa))} {units.symbol(Dimension.PRESSURE)}"


# -- SVG ---------------------------------------------------------------------------------------------


def svg_diagram(diagram: Diagram, units: UnitSet, width: float = 436.0, height: float = 240.0) -> str:
    """The same diagram for the sheet; every line is named at its end, so that it survives a grey print."""
    x = Axis(0.0, diagram.travel_m, 52.0, width - 96.0)
    y = Axis(0.0, diagram.highest_n * HEADROOM, height - 34.0, 18.0)
    parts = [STYLE]
    parts += _svg_friction(diagram, x, y)
    for level in diagram.air:
        parts.append(line(x.start, y.at(level.force_n), x.end, y.at(level.force_n), "f-air"))
    parts.append(line(x.start, y.at(diagram.spring_n[0]), x.end, y.at(diagram.spring_n[1]), "f-spring"))
    if diagram.process_n is not None:
        parts.append(
            line(
                x.start, y.clamped(diagram.process_n[0]), x.end, y.clamped(diagram.process_n[1]), "f-process"
            )
        )
    if diagram.seat_n is not None:
        at = x.start + 3.0 if diagram.seat_at_rest else x.end - 3.0
        parts.append(line(at, y.clamped(diagram.seat_n[0]), at, y.clamped(diagram.seat_n[1]), "f-seat"))
    parts.append(box(x.start, y.end, x.end, y.start, "f-frame"))
    parts += _svg_names(diagram, units, x, y)
    parts += _svg_axes(diagram, units, x, y)
    return drawing(width, height, "Forces along the travel: spring, friction, air and seat load", parts)


def _svg_friction(diagram: Diagram, x: Axis, y: Axis) -> list[str]:
    half = diagram.friction_n
    if half is None:
        return []
    start, end = diagram.spring_n
    corners = (
        (x.start, start + half),
        (x.end, end + half),
        (x.end, end - half),
        (x.start, start - half),
    )
    points = " ".join(f"{at:.1f},{y.clamped(force):.1f}" for at, force in corners)
    return [f'<polygon points="{points}" class="f-friction"/>']


def _svg_names(diagram: Diagram, units: UnitSet, x: Axis, y: Axis) -> list[str]:
    """Beside the right ends of the lines, moved apart where they would touch."""
    top = diagram.highest_n * HEADROOM
    parts: list[str] = []
    last = -1e9
    for named in sorted(_names(diagram, units, top), key=lambda n: -n.share):
        at = max(y.clamped(named.share * top) + 3.5, last + 11.0)
        parts.append(text(x.end + 5.0, at, named.words))
        last = at
    if diagram.seat_n is not None:
        middle = (y.clamped(diagram.seat_n[0]) + y.clamped(diagram.seat_n[1])) / 2.0
        at, anchor = (x.start + 9.0, "start") if diagram.seat_at_rest else (x.end - 9.0, "end")
        parts.append(text(at, middle + 3.5, "seat load", anchor))
    return parts


def _svg_axes(diagram: Diagram, units: UnitSet, x: Axis, y: Axis) -> list[str]:
    per_unit = 1.0 / units.to(Dimension.FORCE, 1.0)
    parts: list[str] = []
    for mark in ticks(0.0, y.high / per_unit, 6):
        at = y.at(mark * per_unit)
        parts.append(line(x.start - 4.0, at, x.start, at, "f-tick"))
        parts.append(text(x.start - 7.0, at + 3.5, f"{mark:g}", "end"))
    ends = ("on the seat", "open stop") if diagram.seat_at_rest else ("open stop", "on the seat")
    parts.append(text(x.start, y.start + 14.0, ends[0]))
    parts.append(text(x.end, y.start + 14.0, f"{travel_text(units, diagram.travel_m)}, {ends[1]}", "end"))
    parts.append(text(4.0, 11.0, f"Force along the stem, {units.symbol(Dimension.FORCE)}", kind="axis"))
    return parts
