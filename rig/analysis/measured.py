"""A quantity seen in several cycles, and how the cycles become one value with a budget."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

from rig.analysis.budget import combined
from rig.analysis.result import Component, Estimate

OWN_SCATTER = 5.3  # times the pooled scatter: 0.5 % point of chi-square over its 2 degrees of freedom


@dataclass(frozen=True, slots=True)
class Seen:
    """A value from one cycle and the variance that noise gives it [SI, SI^2]."""

    cycle: int
    value: float
    variance: float


@dataclass(frozen=True, slots=True)
class Measured:
    """A quantity cycle by cycle; `shared` components are the same in every cycle and do not average out."""

    key: str
    seen: tuple[Seen, ...] = ()
    shared: tuple[Component, ...] = ()
    method: str = ""
    why: str = ""  # why it was not measured
    own_scatter: bool = False  # its cycles really differ (break-away): judge it by its own scatter


@dataclass(frozen=True, slots=True)
class Combined:
    """Mean over cycles with its budget."""

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    components: tuple[Component, ...]


@dataclass(frozen=True, slots=True)
class Scatter:
    """Between-cycle variance over what noise explains, pooled over quantities; at least 1."""

    ratio: float = 1.0
    degrees_of_freedom: float = inf


def pooled_scatter(quantities: Sequence[Measured]) -> Scatter:
    """How much more the cycles differ than noise explains. Pooling saves the degrees of freedom."""
    excess, freedom = 0.0, 0
    for quantity in quantities:
        if len(quantity.seen) >= 2 and not quantity.own_scatter:
            ratio, own = _scatter(quantity.seen)
            excess += ratio * own
            freedom += own
    if freedom == 0 or excess <= freedom:
        return Scatter()
    return Scatter(excess / freedom, float(freedom))


def combine(measured: Measured, scatter: Scatter) -> Combined:
    """Mean over the cycles; raises ValueError when nothing was seen."""
    seen = measured.seen
    if not seen:
        raise ValueError(f"{measured.key} was not measured: {measured.why}")
    n = len(seen)
    value = sum(s.value for s in seen) / n
    noise = sum(s.variance for s in seen) / n
    ratio, freedom = scatter.ratio, scatter.degrees_of_freedom
    if n >= 2:
        own, own_freedom = _scatter(seen)
        if own > (1.0 if measured.own_scatter else OWN_SCATTER) * ratio:
            ratio, freedom = own, float(own_freedom)
    statistics = Component("scatter of readings and cycles", sqrt(noise * ratio / n), freedom, True)
    components = (statistics, *measured.shared)
    u, effective = combined(components)
    return Combined(value, u, effective, components)


def estimates(measured: Measured, scatter: Scatter) -> dict[int, Estimate]:
    """The same quantity cycle by cycle, each with the uncertainty of one cycle."""
    result = {}
    for seen in measured.seen:
        statistics = Component("", sqrt(seen.variance * scatter.ratio), scatter.degrees_of_freedom, True)
        u, freedom = combined((statistics, *measured.shared))
        result[seen.cycle] = Estimate(seen.value, u, freedom, measured.method)
    return result


def _scatter(seen: Sequence[Seen]) -> tuple[float, int]:
    """Variance between cycles over the variance expected from noise, and its degrees of freedom."""
    n = len(seen)
    mean = sum(s.value for s in seen) / n
    noise = sum(s.variance for s in seen) / n
    if noise <= 0.0:
        return 1.0, n - 1
    return sum((s.value - mean) ** 2 for s in seen) / (n - 1) / noise, n - 1
