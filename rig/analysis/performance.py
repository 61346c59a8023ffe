"""Performance terms of instruments and actuators: inaccuracy, hysteresis, non-repeatability, linearity.

Terms as IEC 61298-2 and ISA-51.1 define them (definitions as quoted in open glossaries; linearity and
non-repeatability as commonly understood, from memory). There are no limits here: what is allowed depends on
the job, and comes from the person with its source.

Readings are deviations or outputs at the same test points in every cycle, shape (cycles, points), in per
cent of span or any one unit; `ideal` is what each point should read.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from rig.analysis.samples import Floats


@dataclass(frozen=True, slots=True)
class Performance:
    inaccuracy: tuple[float, float]  # largest negative and positive deviation from the ideal
    hysteresis: tuple[float, ...]  # largest difference of down and up at one point, cycle by cycle
    average_hysteresis: float  # the same on the averages over cycles
    non_repeatability: float  # largest spread over cycles at one point in one direction
    average_curve: Floats  # mean of the averages up and down
    terminal_linearity: float  # largest deviation from the line through both ends
    independent_linearity: float  # from the line that makes it smallest
    zero_based_linearity: float  # from the line through the lower end that makes it smallest


def performance(points: Floats, up: Floats, down: Floats, ideal: Floats | None = None) -> Performance:
    """All terms from up and down readings; raises ValueError when the shapes do not fit each other.

    `points` are the inputs, rising; `ideal` is the output each should give, the points themselves if None.
    """
    if up.shape != down.shape or up.ndim != 2 or up.shape[1] != len(points):
        raise ValueError(f"up {up.shape} and down {down.shape} must be (cycles, {len(points)})")
    wanted = points if ideal is None else ideal
    deviations = np.concatenate((up - wanted, down - wanted))
    gaps = np.abs(down - up).max(axis=1)
    mean_up, mean_down = up.mean(axis=0), down.mean(axis=0)
    curve = 0.5 * (mean_up + mean_down)
    return Performance(
        inaccuracy=(float(deviations.min()), float(deviations.max())),
        hysteresis=tuple(float(gap) for gap in gaps),
        average_hysteresis=float(np.abs(mean_down - mean_up).max()),
        non_repeatability=float(max(np.ptp(up, axis=0).max(), np.ptp(down, axis=0).max())),
        average_curve=curve,
        terminal_linearity=_terminal(points, curve),
        independent_linearity=_independent(points, curve),
        zero_based_linearity=_zero_based(points, curve),
    )


def _terminal(x: Floats, y: Floats) -> float:
    line = y[0] + (y[-1] - y[0]) * (x - x[0]) / (x[-1] - x[0])
    return float(np.abs(y - line).max())


def _independent(x: Floats, y: Floats) -> float:
    """Chebyshev line: parallel to a line through two of the points, half way across the rest."""
    best = np.inf
    for i, j in combinations(range(len(x)), 2):
        rest = y - (y[j] - y[i]) / (x[j] - x[i]) * x
        best = min(best, 0.5 * float(np.ptp(rest)))
    return float(best)


def _zero_based(x: Floats, y: Floats) -> float:
    """Slope through the first point; at the best one two deviations are equal in size, or one is smallest."""
    u, v = x[1:] - x[0], y[1:] - y[0]
    slopes = list(v / u)
    for i, j in combinations(range(len(u)), 2):
        slopes.append((v[i] + v[j]) / (u[i] + u[j]))
        if u[i] != u[j]:
            slopes.append((v[i] - v[j]) / (u[i] - u[j]))
    return float(min(np.abs(v - slope * u).max() for slope in slopes))


def dead_band(pressure: Floats, travel: Floats, moved: float) -> float:
    """Change of input after a reversal that produces no travel beyond `moved`, from one reversal on.

    `pressure` and `travel` start at the reversal; nan when the stem never moved by `moved`.
    """
    away = np.flatnonzero(np.abs(travel - travel[0]) > moved)
    return float(abs(pressure[away[0]] - pressure[0])) if len(away) else float("nan")
