"""Terms of IEC 61298-2 and ISA-51.1 with their uncertainty, from a table of points; limits from the profile.

Shares of rated travel (dead band: of the input span). The terms are defined in performance.py; here is how
sure they are. A deviation at a point carries the accuracies of both transmitters once. A difference of two
readings at one point (hysteresis, non-repeatability) has both at nearly the same place of the transmitters,
so only their span and their resolution come in, and their scatter. A straight line takes zero and span off,
and what is left of the accuracy (the bend of a transmitter) is not known apart: it is kept whole.
"""

from collections.abc import Sequence
from math import inf, sqrt

import numpy as np

from rig.analysis.advice import ratio_advice
from rig.analysis.budget import combined
from rig.analysis.corner import PSI
from rig.analysis.instruments import Instruments, usual_lag
from rig.analysis.judge import judge, overall
from rig.analysis.measured import Combined, Measured
from rig.analysis.performance import Performance, performance
from rig.analysis.point_table import DeadBand, PointTable
from rig.analysis.result import CheckResult, Component, Estimate, Outcome
from rig.analysis.samples import Floats, Sensors
from rig.profile.model import Profile, Term

TERMS = (
    "inaccuracy_above",
    "inaccuracy_below",
    "travel_hysteresis",
    "dead_band",
    "non_repeatability",
    "linearity_terminal",
    "linearity_independent",
    "linearity_zero_based",
)
_LIMITED_BY = {
    "inaccuracy_above": Term.INACCURACY,
    "inaccuracy_below": Term.INACCURACY,
    "travel_hysteresis": Term.HYSTERESIS,
    "dead_band": Term.DEAD_BAND,
    "non_repeatability": Term.NON_REPEATABILITY,
    "linearity_terminal": Term.LINEARITY_TERMINAL,
    "linearity_independent": Term.LINEARITY_INDEPENDENT,
    "linearity_zero_based": Term.LINEARITY_ZERO_BASED,
}
# What is left of friction that has not finished reversing; settled on simulated actuators.
REVERSAL_FLOOR_PA = 0.006 * PSI
ONE_CYCLE = "one cycle repeats nothing: at least two are needed"
NO_REVERSAL = "no reversal was made"


def terms_result(table: PointTable, profile: Profile, sensors: Sensors) -> CheckResult:
    """All terms: judged by the profile's limits where the run settled, only told where it did not."""
    measured = _measured(table, profile, sensors)
    quantities = {}
    for key in TERMS:
        one, found = measured[key]
        limits = limits_of_term(profile, key) if table.settled else None
        quantities[key] = judge(one, found, limits, profile.decision_rule)
    outcome = overall(quantities.values())
    if not any(q.limits is not None for q in quantities.values()):
        outcome = Outcome.NOT_JUDGED if table.whole else Outcome.UNDECIDED
    cycles: tuple[dict[str, Estimate], ...] = tuple({} for _ in table.up)
    advice = tuple(ratio_advice(quantities))
    return CheckResult(outcome, profile.basis.value, quantities, cycles, advice, notes=table.notes)


def limits_of_term(profile: Profile, key: str) -> tuple[float, float] | None:
    """From the profile alone: what is allowed depends on the job."""
    for limit in profile.performance_limits:
        if limit.term is _LIMITED_BY[key]:
            two_sided = limit.term is Term.INACCURACY
            return (-limit.at_most if two_sided else -inf, limit.at_most)
    return None


def _measured(
    table: PointTable, profile: Profile, sensors: Sensors
) -> dict[str, tuple[Measured, Combined | None]]:
    dead = _dead_band(table, profile, sensors)
    if not table.whole:
        found = {key: (Measured(key, why=table.missing), None) for key in TERMS}
        return found | {"dead_band": dead}
    points = np.array(table.points)
    terms = performance(points, table.up, table.down)
    budget = _Budgets(table, profile, sensors)
    how = "settled at each point" if table.settled else "read off the ramps"
    made: dict[str, tuple[Measured, Combined | None]] = {"dead_band": dead}
    for key, value, parts, method in _each(terms, budget, table):
        made[key] = _told(key, value, parts, f"{method}; {how}")
    if len(table.up) < 2:
        made["non_repeatability"] = Measured("non_repeatability", why=ONE_CYCLE), None
    return made


def _told(
    key: str, value: float, parts: Sequence[Component], method: str
) -> tuple[Measured, Combined | None]:
    u, freedom = combined(parts)
    return Measured(key, method=method), Combined(value, u, freedom, tuple(parts))


def _each(
    terms: Performance, budget: "_Budgets", table: PointTable
) -> list[tuple[str, float, list[Component], str]]:
    below, above = terms.inaccuracy
    of_line = budget.deviation(1.0 / sqrt(2.0 * len(table.up)))
    lines = (
        ("linearity_terminal", terms.terminal_linearity, "line through both ends"),
        ("linearity_independent", terms.independent_linearity, "line of smallest largest deviation"),
        ("linearity_zero_based", terms.zero_based_linearity, "best line through the lower end"),
    )
    return [
        ("inaccuracy_above", max(above, 0.0), budget.deviation(), "largest deviation above the ideal line"),
        ("inaccuracy_below", min(below, 0.0), budget.deviation(), "largest deviation below the ideal line"),
        (
            "travel_hysteresis",
            terms.average_hysteresis,
            budget.difference(terms.average_hysteresis, sqrt(2.0 / len(table.up))),
            "largest difference at one point of the averages falling and rising",
        ),
        (
            "non_repeatability",
            terms.non_repeatability,
            budget.spread(terms.non_repeatability),
            "largest spread over the cycles at one point from one side",
        ),
        *((key, value, of_line, f"average curve against the {line}") for key, value, line in lines),
    ]


class _Budgets:
    """Components of the terms, as shares; `scatter` is of one reading, pooled over points and ways."""

    def __init__(self, table: PointTable, profile: Profile, sensors: Sensors) -> None:
        self.span = profile.bench_upper_pa - profile.bench_lower_pa
        self.rated = profile.rated_travel_m
        self.table, self.sensors = table, sensors
        lag_s = usual_lag(sensors, profile)[1]  # a settled stem lags by nothing
        self.instruments = Instruments(sensors, profile, table.strokes, table.rate_pa_per_s, lag_s)
        self.scatter, self.freedom = _scatter(table)

    def deviation(self, scatter_factor: float = 1.0) -> list[Component]:
        return [
            self._statistics(scatter_factor),
            *self.instruments.pressure(1.0 / self.span),
            *self.instruments.travel(1.0 / self.rated),
        ]

    def difference(self, share: float, scatter_factor: float) -> list[Component]:
        sensors = self.sensors
        wide = 2.0 * sensors.position_accuracy_m / sensors.position_span_m if sensors.position_span_m else 0.0
        parts = [
            self._statistics(scatter_factor),
            *self.instruments.pressure_difference(
                abs(share) * self.span, 1.0 / self.span, 2.0 * self.table.rate_pa_per_s
            ),
            Component("span of the position transmitter", wide * abs(share) / sqrt(3.0)),
            *self.resolution(),
        ]
        return [part for part in parts if part.statistical or part.standard_uncertainty > 0.0]

    def spread(self, share: float) -> list[Component]:
        """A range over the cycles is made of readings: their noise, not their scatter, makes it uncertain."""
        noise = Component("noise of the readings", sqrt(2.0) * self.table.noise, inf, True)
        return [noise, *self.difference(share, 0.0)[1:]]

    def resolution(self) -> list[Component]:
        """Two readings, each rounded to a count that noise does not smear out."""
        both = [
            (
                "resolution of pressure",
                self.sensors.pressure_resolution_pa,
                self.table.strokes.zero_sd_pa,
                self.span,
            ),
            (
                "resolution of position",
                self.sensors.position_resolution_m,
                sqrt(self.table.strokes.noise_x),
                self.rated,
            ),
        ]
        return [
            Component(name, sqrt(2.0) * count / sqrt(12.0) / scale)
            for name, count, noise, scale in both
            if noise < 0.5 * count
        ]

    def _statistics(self, factor: float) -> Component:
        return Component("scatter of readings and cycles", factor * self.scatter, self.freedom, True)


def _scatter(table: PointTable) -> tuple[float, float]:
    """Standard deviation of one reading over the cycles, at least what noise gives; degrees of freedom."""
    cycles = len(table.up)
    both = np.concatenate((table.up, table.down), axis=1) if cycles else np.zeros((0, 0))
    if cycles < 2:
        return table.noise, inf
    freedom = (cycles - 1) * both.shape[1]
    seen = sqrt(float(((both - both.mean(axis=0)) ** 2).sum()) / freedom)
    return (seen, float(freedom)) if seen > table.noise else (table.noise, inf)


def _dead_band(table: PointTable, profile: Profile, sensors: Sensors) -> tuple[Measured, Combined | None]:
    """Widest over places and ways of the mean over cycles; how far the repeats differ is its scatter."""
    places: dict[tuple[float, str], list[DeadBand]] = {}
    for band in table.dead_bands:
        places.setdefault((band.point, band.way.value), []).append(band)
    if not places:
        return Measured("dead_band", why=NO_REVERSAL), None
    widest = max(places.values(), key=lambda bands: sum(b.share for b in bands) / len(bands))
    shares: Floats = np.array([band.share for band in widest])
    noise = float(np.mean([band.variance for band in widest]))
    freedom = float(sum(len(bands) - 1 for bands in places.values()))
    squares = sum(
        float(((s := np.array([b.share for b in bands])) - s.mean()) @ (s - s.mean()))
        for bands in places.values()
    )
    pooled = squares / freedom if freedom else 0.0
    variance, of = (pooled, freedom) if pooled > noise else (noise, inf)
    value = float(shares.mean())
    budget = _Budgets(table, profile, sensors)
    speed = float(np.mean([band.per_s for band in widest])) * budget.span
    instruments = budget.instruments.pressure_difference(value * budget.span, 1.0 / budget.span, speed)
    parts = [
        Component("scatter of readings and cycles", sqrt(variance / len(shares)), of, True),
        Component("roundness of the reversal", REVERSAL_FLOOR_PA / budget.span),
        *instruments,
        *(part for part in budget.resolution() if "pressure" in part.source),
    ]
    where = f"{100.0 * widest[0].point:g} %, then {widest[0].way.value}"
    return _told("dead_band", value, parts, f"input from a reversal to the stem's movement, at {where}")


def limit_source(profile: Profile, key: str) -> str:
    """Where the limit of a term comes from, as the person wrote it; empty without one."""
    found = [limit.source for limit in profile.performance_limits if limit.term is _LIMITED_BY[key]]
    return found[0] if found else ""
