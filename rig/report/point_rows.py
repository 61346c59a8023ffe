"""The calibration table of a step-and-settle run: errors at each point, cycle by cycle, and averages."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from rich.table import Table

from rig.analysis.performance import performance
from rig.analysis.point_table import PointTable


def heads(table: PointTable) -> list[str]:
    numbers = range(1, len(table.up) + 1)
    each = [f"{way} {n}" for n in numbers for way in ("up", "down")]
    return ["Input", *each, "mean up", "down", "both", "gap"]


def error_rows(table: PointTable) -> Iterator[list[str]]:
    """Errors in per cent of rated travel, one row a point; a dash where nothing was read."""
    points = np.array(table.points)
    up, down = table.up - points, table.down - points
    for column, point in enumerate(table.points):
        each = [value for pair in zip(up[:, column], down[:, column], strict=True) for value in pair]
        rising, falling = float(up[:, column].mean()), float(down[:, column].mean())
        last = [rising, falling, 0.5 * (rising + falling), abs(falling - rising)]
        yield [f"{100.0 * point:g}", *(_shown(float(value)) for value in (*each, *last))]


def _shown(share: float) -> str:
    return f"{100.0 * share:+.2f}" if np.isfinite(share) else "–"


def console_table(table: PointTable) -> Table:
    made = Table(box=None, pad_edge=False, header_style="bold", title_justify="left")
    for head in heads(table):
        made.add_column(head, justify="right")
    for row in error_rows(table):
        made.add_row(*row)
    return made


def html_table(table: PointTable) -> str:
    head = "".join(f'<th class="number">{name}</th>' for name in heads(table))
    rows = "".join(
        "<tr>" + "".join(f'<td class="number">{cell}</td>' for cell in row) + "</tr>"
        for row in error_rows(table)
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def points_json(table: PointTable) -> dict[str, Any]:
    """Inputs in per cent of the bench range, outputs in per cent of rated travel; null where not read."""

    def shown(values: Any) -> Any:
        return [round(100.0 * float(v), 5) if np.isfinite(v) else None for v in values]

    terms = None
    if table.whole:
        found = performance(np.array(table.points), table.up, table.down)
        terms = [round(100.0 * share, 5) for share in found.hysteresis]
    return {
        "settled": table.settled,
        "inputs": shown(table.points),
        "rising": [shown(row) for row in table.up],
        "falling": [shown(row) for row in table.down],
        "hysteresis_by_cycle": terms,
        "dead_bands": [
            {
                "at": round(100.0 * band.point, 5),
                "input_went": band.way.value,
                "dead_band": round(100.0 * band.share, 5),
            }
            for band in table.dead_bands
        ],
        "notes": list(table.notes),
    }
