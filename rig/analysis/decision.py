"""Pass, fail or undecided, with a known risk: decision rules in the terms of JCGM 106:2012.

The true value is taken as normal about the measured one with the combined standard uncertainty, or as
Student's t where the degrees of freedom are few. Probabilities are for the one item measured (specific
risk), without a prior: what other valves were like is not used.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, inf, isinf, pi, sqrt

from rig.analysis.result import Outcome
from rig.analysis.student import coverage_factor, normal_cdf, t_cdf
from rig.profile.model import DecisionRule

LEAST_RATIO = 4.0  # test uncertainty ratio below which people are warned; common practice


@dataclass(frozen=True, slots=True)
class Decision:
    outcome: Outcome
    conformity: float  # probability that the true value lies within the limits
    risk: str  # what may be wrong about the outcome, in words


def decide(
    value: float,
    u: float,
    limits: tuple[float, float],
    freedom: float = inf,
    rule: DecisionRule = DecisionRule.GUARDED,
    guard_band: float | None = None,
) -> Decision:
    """Judge one value against limits (either may be infinite); the guard band is U (95 %) by default.

    Raises ValueError for limits the wrong way round or a negative uncertainty.
    """
    low, high = limits
    if not low <= high or u < 0.0:
        raise ValueError(f"cannot judge against limits {limits} with uncertainty {u}")
    conformity = conformance_probability(value, u, limits, freedom)
    inside = low <= value <= high
    outcome = Outcome.PASS if inside else Outcome.FAIL
    guard = coverage_factor(_whole(freedom)) * u if guard_band is None else guard_band
    if rule is DecisionRule.GUARDED:
        nearest = min(value - low, high - value)  # > 0 inside
        if abs(nearest) < guard:
            outcome = Outcome.UNDECIDED
    elif rule is DecisionRule.SIMPLE and guard > (high - low) / LEAST_RATIO:
        # ILAC-G8 calls it simple acceptance only while the uncertainty is small against the tolerance.
        outcome = Outcome.UNDECIDED if abs(min(value - low, high - value)) < guard else outcome
    return Decision(outcome, conformity, risk_words(outcome, conformity))


def conformance_probability(
    value: float, u: float, limits: tuple[float, float], freedom: float = inf
) -> float:
    """P(low <= Y <= high) for Y about `value` with standard uncertainty u (JCGM 106, 7.2)."""
    low, high = limits
    if u == 0.0:
        return 1.0 if low <= value <= high else 0.0
    above = 1.0 if high == inf else t_cdf((high - value) / u, _whole(freedom))
    below = 0.0 if low == -inf else t_cdf((low - value) / u, _whole(freedom))
    return max(0.0, above - below)


def risk_words(outcome: Outcome, conformity: float) -> str:
    """'would be wrong less than 1 time in 40', for the outcome given."""
    if outcome is Outcome.PASS:
        return f"a pass would be wrong {_one_in(1.0 - conformity)}"
    if outcome is Outcome.FAIL:
        return f"a fail would be wrong {_one_in(conformity)}"
    return f"within its uncertainty of a limit: {conformity:.0%} likely to be within the limits"


def _one_in(risk: float) -> str:
    if risk > 0.25:
        return f"{risk:.0%} of the time"
    for times in (1000, 400, 200, 100, 40, 20, 10, 4):
        if risk <= 1.0 / times:
            return f"less than 1 time in {times}"
    return f"{risk:.0%} of the time"


def uncertainty_ratio(limits: tuple[float, float], expanded: float) -> float:
    """Half the tolerance over the expanded uncertainty; inf where there is only one limit."""
    low, high = limits
    if isinf(low) or isinf(high) or expanded <= 0.0:
        return inf
    return 0.5 * (high - low) / expanded


def can_pass(limits: tuple[float, float], u: float, freedom: float = inf) -> bool:
    """False where the guard bands leave nothing between the limits: say so before starting."""
    return limits[1] - limits[0] > 2.0 * coverage_factor(_whole(freedom)) * u


@dataclass(frozen=True, slots=True)
class GlobalRisk:
    """For an item drawn from a population and a meter (JCGM 106, 9.5)."""

    conforming: float  # share of good items made
    consumer: float  # made bad, accepted
    producer: float  # made good, refused


def global_risk(
    mean: float,
    spread: float,
    u: float,
    tolerance: tuple[float, float],
    acceptance: tuple[float, float],
    steps: int = 4000,
) -> GlobalRisk:
    """Risks for items N(mean, spread) and readings N(item, u), by Simpson's rule over the items."""

    def accepted(item: float) -> float:
        return normal_cdf((acceptance[1] - item) / u) - normal_cdf((acceptance[0] - item) / u)

    def density(item: float) -> float:
        z = (item - mean) / spread
        return exp(-0.5 * z * z) / (spread * sqrt(2.0 * pi))

    low, high = max(tolerance[0], mean - 9.0 * spread), min(tolerance[1], mean + 9.0 * spread)
    good_accepted = _simpson(lambda x: density(x) * accepted(x), low, high, steps)
    all_accepted = _simpson(
        lambda x: density(x) * accepted(x), mean - 9.0 * spread, mean + 9.0 * spread, steps
    )
    conforming = normal_cdf((tolerance[1] - mean) / spread) - normal_cdf((tolerance[0] - mean) / spread)
    return GlobalRisk(conforming, all_accepted - good_accepted, conforming - good_accepted)


def _simpson(f: Callable[[float], float], low: float, high: float, steps: int) -> float:
    width = (high - low) / steps
    inner = sum((4.0 if i % 2 else 2.0) * f(low + i * width) for i in range(1, steps))
    return float(width / 3.0 * (f(low) + inner + f(high)))


def _whole(freedom: float) -> float:
    """Degrees of freedom as a t distribution takes them: rounded to a tenth, so that factors are cached."""
    return max(1.0, round(freedom, 1)) if freedom < 1000.0 else inf
