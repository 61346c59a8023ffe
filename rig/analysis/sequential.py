"""After which cycle is enough known? A verdict that is certain needs no more cycles; one that is not may.

Looking after every cycle gives chance more than one try. Each look accepts wrongly at a limit at most 1 time
in 40 (guard band U); so two looks at most 1 in 20, and what the looks have in common makes it less.
tests/campaign/looks.py measures it.
"""

from math import ceil

from rig.analysis.result import CheckResult, Outcome, Quantity

SURE = 0.975  # probability of conformity, or of its opposite, that makes a verdict certain
MOST_CYCLES = 12  # nobody waits for more


def is_certain(result: CheckResult) -> bool:
    """Every quantity that has limits is within or outside them beyond doubt."""
    judged = judged_of(result)
    return bool(judged) and all(map(_sure, judged))


def judged_of(result: CheckResult) -> list[Quantity]:
    return [quantity for quantity in result.quantities.values() if quantity.limits is not None]


def _sure(quantity: Quantity) -> bool:
    if quantity.outcome not in (Outcome.PASS, Outcome.FAIL) or quantity.conformity is None:
        return False
    return max(quantity.conformity, 1.0 - quantity.conformity) >= SURE


def cycles_to_decide(quantity: Quantity, cycles: int) -> int | None:
    """How many cycles would probably decide an undecided quantity; None where none would.

    The scatter's part of the variance goes down with the number of cycles, the rest stays: with d the
    distance to the nearest limit and k the coverage factor, d^2 = k^2 (u_rest^2 + u_scatter^2 n / N).
    """
    if quantity.value is None or quantity.limits is None:
        return None
    low, high = quantity.limits
    distance = min(abs(quantity.value - low), abs(high - quantity.value))
    room = (distance / quantity.coverage_factor) ** 2 - _squares(quantity, statistical=False)
    if room <= 0.0:
        return None
    needed = max(cycles + 1, ceil(cycles * _squares(quantity, statistical=True) / room))
    return needed if needed <= MOST_CYCLES else None


def biggest_source(quantity: Quantity) -> tuple[str, float]:
    """The largest line of a budget, and its standard uncertainty."""
    part = max(quantity.budget, key=lambda component: component.standard_uncertainty)
    return part.source, part.standard_uncertainty


def _squares(quantity: Quantity, statistical: bool) -> float:
    return sum(c.standard_uncertainty**2 for c in quantity.budget if c.statistical is statistical)
