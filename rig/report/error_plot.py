"""The errors of a step-and-settle run over the input: one line a cycle, up and down apart."""

import numpy as np

from rig.analysis.point_table import PointTable
from rig.report.svg import Axis, box, curve, drawing, line, text, ticks


def error_plot(table: PointTable, width: float, height: float) -> str:
    """Error [y], output less input in per cent of rated travel, against input [x] in per cent of range."""
    points = 100.0 * np.array(table.points)
    up, down = 100.0 * table.up - points, 100.0 * table.down - points
    errors = np.concatenate((up.ravel(), down.ravel()))
    errors = errors[np.isfinite(errors)]
    low, high = (min(0.0, float(errors.min())), max(0.0, float(errors.max()))) if errors.size else (0.0, 1.0)
    room = 0.12 * max(high - low, 0.1)
    y = Axis(low - room, high + room, height - 38.0, 20.0)
    x = Axis(float(points[0]) - 4.0, float(points[-1]) + 4.0, 52.0, width - 8.0) if len(points) else None
    if x is None:
        return drawing(width, height, "No point was read", [])
    parts = [line(x.start, y.at(0.0), x.end, y.at(0.0), "rated")]
    parts.append(box(x.start, y.start, x.end, y.end, "frame"))
    for kind, rows in (("up", up), ("down", down)):
        for row in rows:
            seen = np.isfinite(row)
            parts.append(curve(x.all_at(points[seen]).tolist(), y.all_at(row[seen]).tolist(), kind))
    for mark in points.tolist():
        parts.append(line(x.at(mark), y.start, x.at(mark), y.start + 4.0, "tick"))
        parts.append(text(x.at(mark), y.start + 15.0, f"{mark:g}", "middle"))
    for mark in ticks(y.low, y.high, 6):
        parts.append(line(x.start - 4.0, y.at(mark), x.start, y.at(mark), "tick"))
        parts.append(text(x.start - 6.0, y.at(mark) + 3.0, f"{mark:g}", "end"))
    parts.append(text(x.start, 12.0, "Error, % of rated travel: rising blue, falling orange", kind="axis"))
    parts.append(text((x.start + x.end) / 2.0, height - 6.0, "Input, % of the bench range", "middle", "axis"))
    return drawing(width, height, "Errors at each point, rising and falling", parts)
