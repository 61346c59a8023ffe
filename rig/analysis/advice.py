"""What to do about it, in a technician's words. Numbers carry their uncertainty; nothing is guessed."""

from collections.abc import Mapping
from math import sqrt

from rig.analysis.decision import LEAST_RATIO, uncertainty_ratio
from rig.analysis.result import Outcome, Quantity
from rig.profile.model import Action, Basis, Profile
from rig.units import Dimension, UnitSet

FRICTION_SHARE = 0.1  # of the rated range: a half band beyond this is high (common practice, no source)
RATE_SHARE = 0.1  # spring rate off by more than this beyond its uncertainty: another spring


def advise(quantities: Mapping[str, Quantity], profile: Profile, sticking: bool, units: UnitSet) -> list[str]:
    with_friction = profile.basis is Basis.FRICTION_INCLUDED
    lower = quantities["lift_off" if with_friction else "spring_only_lower"]
    upper = quantities["full_travel" if with_friction else "spring_only_upper"]
    span = _span(lower, upper, quantities, profile, units)
    return [
        *(span or _adjuster(lower, upper, quantities["spring_rate"], profile, units)),
        *_travel(quantities["travel"], profile, units),
        *_seat_load(quantities["seat_load"], profile, units),
        *_friction(quantities["friction"], profile, sticking),
        *ratio_advice(quantities),
    ]


def turns(
    error_pa: float, error_u: float, rate_n_per_m: float, rate_u: float, profile: Profile
) -> tuple[float, float]:
    """Turns of the adjuster that shift pressures by `error_pa`, and their expanded uncertainty.

    turns = A dP / (k pitch); positive tightens. Area and rate share the area's error (k = A dP/dx), so only
    the slope's own part of the rate's uncertainty counts: A / k is 1 / slope.
    """
    pitch = profile.adjuster_pitch_m
    if pitch is None:
        raise ValueError("the profile gives no adjuster thread")
    number = profile.area_m2 * error_pa / (rate_n_per_m * pitch)
    share = sqrt((error_u / error_pa) ** 2 + (rate_u / rate_n_per_m) ** 2) if error_pa else 0.0
    return number, abs(number) * share


def _adjuster(
    lower: Quantity, upper: Quantity, rate: Quantity, profile: Profile, units: UnitSet
) -> list[str]:
    if lower.value is None or lower.outcome not in (Outcome.FAIL, Outcome.UNDECIDED):
        return []
    error = profile.bench_lower_pa - lower.value
    if lower.outcome is Outcome.UNDECIDED and abs(error) < (lower.expanded_uncertainty or 0.0):
        return []
    way = "Tighten" if error > 0 else "Back off"
    effect = "raises" if error > 0 else "lowers"
    what = "the lower end"
    if rate.value is None or profile.adjuster_pitch_m is None:
        missing = "a measured spring rate" if rate.value is None else "the adjuster's thread in the profile"
        return [
            f"{way} the adjuster: it {effect} {what} and the upper end alike. How many turns cannot be told "
            f"without {missing}."
        ]
    slope_u = _without_area(rate)
    number, spread = turns(error, lower.expanded_uncertainty or 0.0, rate.value, slope_u, profile)
    text = (
        f"{way} the adjuster {abs(number):.1f} turns (± {max(spread, 0.05):.1f}): that {effect} both ends by "
    )
    rated = units.text(Dimension.PRESSURE, profile.bench_lower_pa)
    text += f"{units.text(Dimension.PRESSURE, abs(error))} and puts {what} on its rated {rated}."
    if upper.value is not None and upper.limits is not None:
        after = upper.value + error
        low, high = upper.limits
        if not low <= after <= high:
            told = units.text(Dimension.PRESSURE, after)
            text += f" The upper end would then be at {told}, outside its limits."
    return [text]


def _without_area(rate: Quantity) -> float:
    """Expanded uncertainty of the spring rate but for the effective area, which cancels in A / k."""
    parts = [c.standard_uncertainty**2 for c in rate.budget if "area" not in c.source]
    return rate.coverage_factor * sqrt(sum(parts))


def _span(
    lower: Quantity, upper: Quantity, quantities: Mapping[str, Quantity], profile: Profile, units: UnitSet
) -> list[str]:
    """Lower right and upper wrong cannot be mended by turning: the span belongs to the spring."""
    if lower.value is None or upper.value is None or upper.limits is None or lower.limits is None:
        return []
    span = upper.value - lower.value
    rated = profile.bench_upper_pa - profile.bench_lower_pa
    allowance = 0.25 * ((upper.limits[1] - upper.limits[0]) + (lower.limits[1] - lower.limits[0]))
    spread = sqrt((upper.expanded_uncertainty or 0.0) ** 2 + (lower.expanded_uncertainty or 0.0) ** 2)
    if abs(span - rated) <= allowance + spread:
        return []
    wide = "wider" if span > rated else "narrower"
    seen, wanted = units.text(Dimension.PRESSURE, span), units.text(Dimension.PRESSURE, rated)
    lines = [
        f"The span is {seen}, {wide} than the rated {wanted}. No turning of the "
        "adjuster mends that: check the spring, the travel and the effective area."
    ]
    rate = quantities["spring_rate"].value
    if rate is not None and profile.spring_rate_n_per_m is not None:
        off = rate / profile.spring_rate_n_per_m - 1.0
        u = (quantities["spring_rate"].expanded_uncertainty or 0.0) / profile.spring_rate_n_per_m
        if abs(off) > RATE_SHARE + u:
            lines.append(
                f"The spring is {abs(off):.0%} {'stiffer' if off > 0 else 'softer'} than the profile's."
            )
    return lines


def _travel(travel: Quantity, profile: Profile, units: UnitSet) -> list[str]:
    if travel.value is None:
        return [f"Travel was not measured: {travel.why}."] if travel.why else []
    missing = profile.rated_travel_m - travel.value
    told = units.text(Dimension.LENGTH, abs(missing))
    if travel.outcome is Outcome.FAIL and missing > 0.0:
        return [
            f"Travel is short by {told}. Do not accept it: look "
            "for a stop that comes too early, a wrong coupling, or a plug that does not reach its seat."
        ]
    if travel.outcome is Outcome.FAIL:
        return [
            f"Travel is {told} more than rated, beyond what is accepted: was the plug on "
            "its seat when it was coupled?"
        ]
    if travel.outcome is Outcome.UNDECIDED:
        return ["Travel is too near to its limit to be called: set it clear of rated, or measure it better."]
    return []


def _seat_load(load: Quantity, profile: Profile, units: UnitSet) -> list[str]:
    if load.value is None or load.limits is None or load.outcome is Outcome.PASS:
        return []

    def told(force_n: float) -> str:
        return units.text(Dimension.FORCE, force_n)

    short = told(load.limits[0] - load.value)
    doubt = f"{told(load.value)} ± {told(load.expanded_uncertainty or 0.0)} against {told(load.limits[0])}"
    if load.outcome is Outcome.UNDECIDED:
        return [f"Seat load is too near to what is required to be called: {doubt}."]
    cure = (
        "more supply or less friction"
        if profile.action is Action.AIR_TO_CLOSE
        else ("a higher lower end (tighten the adjuster) or less friction")
    )
    return [f"Seat load is short by {short} ({doubt}): it takes {cure}."]


def _friction(friction: Quantity, profile: Profile, sticking: bool) -> list[str]:
    lines = []
    if friction.value is not None:
        share = friction.value / profile.area_m2 / (profile.bench_upper_pa - profile.bench_lower_pa)
        u = (friction.expanded_uncertainty or 0.0) / max(friction.value, 1e-9) * share
        if share > FRICTION_SHARE + u:
            lines.append(
                f"Friction is high: its half band is {share:.0%} of the rated range. Look at packing, guides "
                "and stem before setting the spring."
            )
    if sticking:
        lines.append(
            "The stem sticks and moves in hops. Lift-off is read as the pressure before the first hop; the "
            "sliding line would cross earlier."
        )
    return lines


def ratio_advice(quantities: Mapping[str, Quantity]) -> list[str]:
    poor = []
    for quantity in quantities.values():
        if quantity.limits is None or quantity.expanded_uncertainty is None:
            continue
        ratio = uncertainty_ratio(quantity.limits, quantity.expanded_uncertainty)
        if ratio < LEAST_RATIO:
            poor.append(f"{quantity.key.replace('_', ' ')} {ratio:.1f}:1")
    if not poor:
        return []
    return [
        "The measurement is coarse for these tolerances (tolerance to uncertainty below "
        f"{LEAST_RATIO:.0f}:1): {', '.join(poor)}."
    ]
