"""Which limits apply to which quantity, and what the whole check comes to."""

from collections.abc import Iterable
from math import inf

from rig.analysis.decision import decide
from rig.analysis.measured import Combined, Measured
from rig.analysis.result import Outcome, Quantity
from rig.analysis.student import coverage_factor
from rig.profile.model import Basis, DecisionRule, Profile

Limits = tuple[float, float]


def limits_of(profile: Profile) -> dict[str, Limits]:
    """Limits by quantity [SI]. The bench range counts on the profile's basis; travel is never short."""
    lower, upper = profile.lower_tolerance, profile.upper_tolerance
    low = (profile.bench_lower_pa - lower.minus, profile.bench_lower_pa + lower.plus)
    high = (profile.bench_upper_pa - upper.minus, profile.bench_upper_pa + upper.plus)
    with_friction = profile.basis is Basis.FRICTION_INCLUDED
    limits = {
        "lift_off" if with_friction else "spring_only_lower": low,
        "full_travel" if with_friction else "spring_only_upper": high,
        "travel": (profile.rated_travel_m, profile.rated_travel_m + profile.travel_surplus_m),
    }
    if profile.needed_seat_load_n is not None:
        limits["seat_load"] = (profile.needed_seat_load_n, inf)
    return limits


def judge(
    measured: Measured, combined: Combined | None, limits: Limits | None, rule: DecisionRule
) -> Quantity:
    """One line of the result. Not measured is never a pass."""
    if combined is None:
        return Quantity(measured.key, None, None, limits, Outcome.NOT_MEASURED, measured.method, measured.why)
    freedom = _whole(combined.degrees_of_freedom)
    factor = coverage_factor(freedom)
    decision = None
    if limits is not None:
        decision = decide(combined.value, combined.standard_uncertainty, limits, freedom, rule)
    return Quantity(
        measured.key,
        combined.value,
        factor * combined.standard_uncertainty,
        limits,
        decision.outcome if decision else Outcome.NOT_JUDGED,
        measured.method,
        decision.risk if decision else "",
        standard_uncertainty=combined.standard_uncertainty,
        degrees_of_freedom=combined.degrees_of_freedom,
        coverage_factor=factor,
        budget=combined.components,
        conformity=decision.conformity if decision else None,
        risk=decision.risk if decision else "",
    )


def overall(quantities: Iterable[Quantity]) -> Outcome:
    """The worst of what was asked: fail, else undecided (not measured counts as that), else pass."""
    outcomes = {q.outcome for q in quantities if q.limits is not None}
    if Outcome.FAIL in outcomes:
        return Outcome.FAIL
    if not outcomes or outcomes & {Outcome.UNDECIDED, Outcome.NOT_MEASURED}:
        return Outcome.UNDECIDED
    return Outcome.PASS


def _whole(freedom: float) -> float:
    return max(1.0, round(freedom, 1)) if freedom < 1000.0 else inf
