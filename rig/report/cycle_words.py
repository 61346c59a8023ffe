"""Whether more cycles would decide what is undecided, in plain words."""

from rig.analysis.result import CheckResult, Outcome
from rig.analysis.sequential import biggest_source, cycles_to_decide
from rig.profile.model import Action
from rig.report.words import quantity_name
from rig.units import QUANTITY_DIMENSION, UnitSet


def more_cycles_lines(result: CheckResult, action: Action, units: UnitSet) -> tuple[str, ...]:
    """One line for each undecided quantity: how many cycles may decide it, or what stands in the way."""
    lines = []
    for key, quantity in result.quantities.items():
        if quantity.outcome is not Outcome.UNDECIDED or not quantity.budget:
            continue
        name = quantity_name(key, action)
        needed = cycles_to_decide(quantity, len(result.cycles))
        if needed is not None:
            lines.append(f"{name} is undecided: --cycles {needed} may decide it.")
            continue
        source, u = biggest_source(quantity)
        told = units.text(QUANTITY_DIMENSION[key], quantity.coverage_factor * u, 2)
        lines.append(f"{name} is undecided, and more cycles would not help: ± {told} of it is {source}.")
    return tuple(lines)
