"""The table of quantities on a sheet, each with a ruler that shows where it lies in its limits."""

from html import escape
from math import inf

from rig.analysis.result import QUANTITIES, CheckResult, Outcome, Quantity
from rig.profile.model import Action
from rig.report.svg import Axis, box, line
from rig.report.words import limits_text, measured_text, quantity_meaning, quantity_name
from rig.units import QUANTITY_DIMENSION, UnitSet

WIDTH, HEIGHT = 110.0, 14.0  # of a ruler [px]
SHARED_FROM = 4  # this many quantities not measured for one reason share a row


def rows(result: CheckResult, action: Action, units: UnitSet, keys: tuple[str, ...] = QUANTITIES) -> str:
    """One row a quantity; what was not measured for one and the same reason shares a row when it is much."""
    alike: dict[str, list[str]] = {}  # keys by why they were not measured
    for quantity in result.quantities.values():
        if not _measured(quantity):
            alike.setdefault(quantity.why, []).append(quantity.key)
    shared = {why: of for why, of in alike.items() if len(of) >= SHARED_FROM}
    in_shared = {key for of in shared.values() for key in of}
    single = [key for key in keys if key in result.quantities and key not in in_shared]
    lines = [_row(result.quantities[key], action, units) for key in single]
    lines += [_shared_row(why, [key for key in keys if key in of], action) for why, of in shared.items()]
    return "\n".join(lines)


def _measured(quantity: Quantity) -> bool:
    return quantity.value is not None and quantity.outcome is not Outcome.NOT_MEASURED


def _shared_row(why: str, keys: list[str], action: Action) -> str:
    names = "; ".join(quantity_name(key, action).lower() for key in keys)
    words = f"{names}: {why or 'no reason given'}"
    return (
        f'<tr><td class="name">{len(keys)} quantities</td>'
        f'<td class="meaning" colspan="6">{escape(words)}</td>'
        f"<td>{verdict(Outcome.NOT_MEASURED)}</td></tr>"
    )


def verdict(outcome: Outcome) -> str:
    """The outcome in words, with a mark whose shape and colour repeat it (IEC 60073: never colour alone)."""
    judged = outcome in (Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED, Outcome.STOPPED)
    kind = outcome.value if judged else "none"
    return f'<span class="verdict {kind}"><i></i>{escape(outcome.value)}</span>'


def _row(quantity: Quantity, action: Action, units: UnitSet) -> str:
    name = escape(quantity_name(quantity.key, action))
    judged = " class=judged" if quantity.limits is not None else ""
    end = f"<td>{verdict(quantity.outcome)}</td></tr>"
    if not _measured(quantity):
        why = escape(quantity.why or "not measured")
        return f'<tr{judged}><td class="name">{name}</td><td class="meaning" colspan="6">{why}</td>{end}'
    value, spread = measured_text(quantity, units)
    return (
        f'<tr{judged}><td class="name">{name}</td>'
        f'<td class="meaning">{_meaning(quantity, action)}</td>'
        f'<td class="value">{value}</td><td class="spread">{spread}</td>'
        f"<td>{escape(units.symbol(QUANTITY_DIMENSION[quantity.key]))}</td>"
        f"<td>{escape(limits_text(quantity, units))}</td>"
        f'<td class="ruler">{ruler(quantity)}</td>{end}'
    )


def _meaning(quantity: Quantity, action: Action) -> str:
    """What its outcome risks, where it was judged; else what it means."""
    if quantity.risk:
        return f"<small>{escape(quantity.risk)}</small>"
    return escape(quantity_meaning(quantity.key, action))


def ruler(quantity: Quantity) -> str:
    """Limits as a shaded stretch, value and expanded uncertainty on it; an arrow when it lies outside."""
    if quantity.value is None or quantity.limits is None:
        return ""
    spread = quantity.expanded_uncertainty or 0.0
    axis, low, high = _ruler_axis(quantity.value, spread, quantity.limits)
    middle = HEIGHT / 2.0
    parts = [box(axis.clamped(low), 2.0, axis.clamped(high), HEIGHT - 2.0, "allowed")]
    for edge in quantity.limits:
        if abs(edge) != inf:
            parts.append(line(axis.at(edge), 0.5, axis.at(edge), HEIGHT - 0.5, "edge"))
    value = quantity.value
    start, end = axis.clamped(value - spread), axis.clamped(value + spread)
    parts.append(line(start, middle, end, middle, "spread-line"))
    parts.append(_point(axis, value, middle))
    return f'<svg viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" aria-hidden="true">{"".join(parts)}</svg>'


def _ruler_axis(value: float, spread: float, limits: tuple[float, float]) -> tuple[Axis, float, float]:
    low, high = limits
    if low == -inf or high == inf:
        edge = high if low == -inf else low
        reach = max(4.0 * spread, 0.15 * abs(edge), 1.3 * min(abs(value - edge), 0.6 * abs(edge)))
        axis = Axis(edge - reach, edge + reach, 2.0, WIDTH - 2.0)
        return axis, max(low, axis.low), min(high, axis.high)
    width = max(high - low, spread, 1e-12)
    return Axis(low - 0.6 * width, high + 0.6 * width, 2.0, WIDTH - 2.0), low, high


def _point(axis: Axis, value: float, middle: float) -> str:
    x = axis.clamped(value)
    if axis.low <= value <= axis.high:
        return f'<circle cx="{x:.1f}" cy="{middle:.1f}" r="3" class="point"/>'
    tip, back = (x + 1.5, x - 6.0) if value > axis.high else (x - 1.5, x + 6.0)
    points = f"{tip:.1f},{middle:.1f} {back:.1f},{middle - 4.5:.1f} {back:.1f},{middle + 4.5:.1f}"
    return f'<polygon points="{points}" class="point"/>'
