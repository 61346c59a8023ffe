"""The stroke of the present cycle as a plot in text."""

from collections.abc import Iterable

from rich.text import Text

from rig.profile.model import Profile
from rig.report.braille import BLANK, BrailleGrid
from rig.report.words import ends, plain
from rig.units import Dimension, UnitSet

LABEL = 10  # columns of the names on the left
HEADROOM = 1.2  # highest pressure shown over the upper rated one


def plot_lines(
    profile: Profile, units: UnitSet, points: Iterable[tuple[float, float]], width: int, rows: int
) -> list[Text]:
    """Travel against pressure [SI points] in text; dotted verticals mark the rated range."""
    columns = max(10, min(width - LABEL - 2, 64))
    highest_pa = profile.bench_upper_pa * HEADROOM
    curve, rated = BrailleGrid(columns, rows), BrailleGrid(columns, rows)
    for level_pa in (profile.bench_lower_pa, profile.bench_upper_pa):
        for step in range(rows * 2):
            rated.set(level_pa / highest_pa, (2 * step + 0.5) / (rows * 4))
    for pressure_pa, travel_m in points:
        curve.set(pressure_pa / highest_pa, (travel_m / profile.rated_travel_m + 0.05) / 1.15)
    rest, end = ends(profile.action)
    names = {0: end, rows - 1: rest}
    lines = []
    for row, (front, back) in enumerate(zip(curve.lines(), rated.lines(), strict=True)):
        text = Text(f"{names.get(row, ''):<{LABEL}}")
        for mark, behind in zip(front, back, strict=True):
            text.append(*((mark, "bold cyan") if mark != BLANK else (behind, "dim")))
        lines.append(text)
    return [*lines, _pressure_scale(profile, units, columns)]


def _pressure_scale(profile: Profile, units: UnitSet, columns: int) -> Text:
    """The two rated pressures, written below their places."""
    scale = [" "] * columns
    for level_pa in (profile.bench_lower_pa, profile.bench_upper_pa):
        label = plain(units.to(Dimension.PRESSURE, level_pa))
        middle = int(level_pa / (profile.bench_upper_pa * HEADROOM) * columns)
        start = min(columns - len(label), max(0, middle - len(label) // 2))
        scale[start : start + len(label)] = label
    return Text(f"{units.symbol(Dimension.PRESSURE):<{LABEL}}{''.join(scale)}", "dim")
