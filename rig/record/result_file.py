"""The result as one object of plain values: what `--json` prints and `result.json` holds."""

import json
from collections.abc import Mapping
from math import isinf
from pathlib import Path
from typing import Any

from rig.analysis.result import QUANTITIES, CheckResult, Outcome, Quantity
from rig.record.atomic import save_text
from rig.units import QUANTITY_DIMENSION, UnitSet

RESULT_FILE = "result.json"


def result_json(
    result: CheckResult,
    units: UnitSet,
    record_path: Path,
    keys: tuple[str, ...] = QUANTITIES,
    more: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Values in the unit set's units; null where not measured, and for a side that has no limit.

    Uncertainties of a budget are in the quantity's unit; degrees of freedom are null where infinite. `more`
    is what a procedure has to tell beside.
    """
    quantities = {}
    for key in keys:
        quantity = result.quantities.get(key)
        if quantity is None:
            quantity = Quantity(key, None, None, None, Outcome.NOT_MEASURED)
        quantities[key] = _quantity_json(quantity, units)
    return {
        "outcome": result.outcome.value,
        "basis": result.basis,
        "cycles": {"measured": len(result.cycles), "ended": result.ended},
        "quantities": quantities,
        **(more or {}),
        "trips": list(result.trips),
        "advice": list(result.advice),
        "record": str(record_path),
    }


def save_result(
    result: CheckResult,
    units: UnitSet,
    record_path: Path,
    keys: tuple[str, ...] = QUANTITIES,
    more: Mapping[str, Any] | None = None,
) -> Path:
    """Write result.json in the record folder, whole or not at all; raises RecordProblem."""
    path = record_path / RESULT_FILE
    told = result_json(result, units, record_path, keys, more)
    text = json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False)
    save_text(path, text + "\n")
    return path


def _quantity_json(quantity: Quantity, units: UnitSet) -> dict[str, Any]:
    dimension = QUANTITY_DIMENSION[quantity.key]

    def shown(si: float | None) -> float | None:
        if si is None or si != si or si in (float("inf"), float("-inf")):
            return None
        return float(f"{units.to(dimension, si):.7g}")

    def finite(number: float) -> float | None:
        return None if isinf(number) else round(number, 3)

    measured = quantity.outcome is not Outcome.NOT_MEASURED
    return {
        "value": shown(quantity.value) if measured else None,
        "uncertainty": shown(quantity.expanded_uncertainty) if measured else None,
        "unit": units.symbol(dimension),
        "limits": [shown(limit) for limit in quantity.limits] if quantity.limits else None,
        "outcome": quantity.outcome.value,
        "method": quantity.method,
        "standard_uncertainty": shown(quantity.standard_uncertainty) if measured else None,
        "degrees_of_freedom": finite(quantity.degrees_of_freedom) if measured else None,
        "coverage_factor": finite(quantity.coverage_factor) if measured else None,
        "budget": [
            {
                "source": part.source,
                "standard_uncertainty": shown(part.standard_uncertainty),
                "degrees_of_freedom": finite(part.degrees_of_freedom),
                "evaluation": "type A" if part.statistical else "type B",  # in the GUM's terms
            }
            for part in quantity.budget
        ],
        "probability_of_conformity": quantity.conformity,
        "risk": quantity.risk,
    }
