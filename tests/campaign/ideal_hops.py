"""Hops of an ideal record: in which scan, every cell between two readings with its probability.

A hop is no corner: its place is known to a scan, and where it is small against the noise several cells are
likely. A single best cell would be too sure of itself; so all of them count, each as likely as the readings
make it (flat prior). Non-regular problem: no unbiased estimate is better than about
sqrt((r/f)^2 / 12 + 4 sp^2 / n) for a ramp r, f scans a second, noise sp on n readings of pressure before it.

It is a yardstick. The product (rig/analysis/stick.py) finds hops another way: on the simulated plant a hop
takes a scan or two and the stem creeps before it, and there this is further off (bias 0.015 psi).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from rig.analysis.broken_stick import fit_broken_stick
from rig.analysis.lines import Line, fit_line
from rig.analysis.samples import Floats
from tests.campaign.ideal import GAIN, TRUE, Setting, counts, pressures, settings

HOPS = (1.0, 2.5, 4.0, 6.0, 10.0)  # standard deviations of a reading of travel
SURE_SHARE = 0.6  # of the readings on either side of a coarse corner: surely before or after the hop


def hop_cells(travel: Floats, resting: Floats, sliding: Floats, noise: float) -> Floats:
    """Probability of each cell, shape (n + 1,): 0 before the first reading, n after the last.

    `travel` shape (n,) with white noise of variance `noise`; `resting` and `sliding` is what it would be
    without noise before and after the hop, shape (n,).
    """
    rather_rest = (travel - resting) ** 2 - (travel - sliding) ** 2
    weight = np.concatenate(([0.0], -np.cumsum(rather_rest))) / (2.0 * noise)
    likely = np.exp(weight - weight.max())
    return np.asarray(likely / likely.sum(), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Hop:
    """Pressure just before the hop, standard uncertainty of it, and the size of the hop in travel."""

    pressure: float
    uncertainty: float
    size: float


def pressure_at(cells: Floats, edges: Floats, line: Line) -> tuple[float, float]:
    """Mean and variance of the pressure on `line` (of time) at the hop; `edges`: times, shape (n + 2,).

    Within a cell every moment is alike.
    """
    low, high = edges[:-1], edges[1:]
    middle = 0.5 * (low + high)
    at = float(cells @ middle)
    variance = float(cells @ ((middle - at) ** 2 + (high - low) ** 2 / 12.0))
    return line.at(at), line.slope**2 * variance + line.s**2 * line.variance_factor(at)


def hop_on_straight_ramp(time: Floats, pressure: Floats, travel: Floats) -> Hop:
    """The hop of an ideal record: resting, then on the sliding line at once; white noise in both readings.

    Units are those of the data. Raises ValueError with fewer than 20 readings.
    """
    if len(time) < 20:
        raise ValueError("a hop needs 20 readings to be seen in")
    coarse = int(np.searchsorted(time, fit_broken_stick(time, travel).knot))
    coarse = min(max(coarse, 8), len(time) - 8)
    first = round(SURE_SHARE * coarse)
    last = coarse + round((1.0 - SURE_SHARE) * (len(time) - coarse))
    rest, slide = fit_line(time[:first], travel[:first]), fit_line(time[last:], travel[last:])
    resting = rest.mean_y + rest.slope * (time - rest.mean_x)
    sliding = slide.mean_y + slide.slope * (time - slide.mean_x)
    noise = (rest.residual_squares + slide.residual_squares) / (rest.n + slide.n - 4)
    cells = hop_cells(travel[first:last], resting[first:last], sliding[first:last], noise)
    edges = np.concatenate((time[first - 1 : last], time[last : last + 1]))
    at = first + int(np.argmax(cells))
    line = fit_line(time[:at], pressure[:at])
    value, variance = pressure_at(cells, edges, line)
    return Hop(value, sqrt(variance), float(sliding[at - 1] - resting[at - 1]))


def ramp(setting: Setting, hop: float, random: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Time, pressure [psi], travel [in] of a stem that hops by `hop` [in] onto its sliding line."""
    time, pressure = pressures(setting, random)
    travel = np.where(pressure < TRUE, 0.0, GAIN * (pressure - TRUE) + hop)
    return time, *counts(setting, pressure, travel, random)


@dataclass(frozen=True)
class HopScore:
    ratio: float  # RMSE over the bound
    coverage: float


def score(setting: Setting, hop_sd: float, runs: int) -> HopScore:
    """Of hops of `hop_sd` standard deviations of a reading."""
    random = np.random.default_rng(round(10 * hop_sd))
    sx, sp = setting.reading_sd
    bound = sqrt((setting.rate / setting.scans_per_s) ** 2 / 12.0 + 4.0 * sp**2 / setting.readings[0])
    errors, inside = np.empty(runs), 0
    for run in range(runs):
        found = hop_on_straight_ramp(*ramp(setting, hop_sd * sx, random))
        errors[run] = found.pressure - TRUE
        inside += bool(abs(errors[run]) <= 1.96 * found.uncertainty)
    return HopScore(float(np.sqrt(np.mean(errors**2))) / bound, inside / runs)


def row(hop_sd: float, runs: int) -> str:
    """One line of the table: all settings of a size of hop."""
    scores = [score(setting, hop_sd, runs) for setting in settings()]
    ratios, covers = [s.ratio for s in scores], [s.coverage for s in scores]
    near = sum(ratio <= 1.15 for ratio in ratios)
    return (
        f"{hop_sd:6.1f}{np.median(ratios):12.2f}{max(ratios):9.2f}{near:15d} of {len(ratios)}"
        f"{np.mean(covers):10.3f}{min(covers):9.3f}"
    )


HEADING = "hop/sd  RMSE/bound      max  within 1.15 in   cover95      min"
