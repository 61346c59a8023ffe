"""A coupling as people and records keep it: what was held, what the strokes proved, what went wrong."""

from typing import Any

from rig.analysis.result import Estimate
from rig.procedure.couple import Coupling


def coupling_record(coupling: Coupling) -> dict[str, Any]:
    """For coupling.json, SI; standard uncertainties."""
    proof = coupling.proof
    kept: dict[str, Any] = {
        "way": coupling.way.value,
        "verdict": "" if proof is None else proof.verdict.value,
        "coupled right": coupling.right,
        "why not": coupling.why,
        "slack of the actuator alone (m)": coupling.slack_m,
        "height when connected (m)": coupling.held_m,
        "travel (m)": _pair(coupling.travel_m),
        "closed mark met": coupling.mark_met,
        "remarks": list(coupling.remarks),
    }
    if proof is None:
        return kept
    return kept | {
        "gap to the actuator's own stop, closed (m)": _pair(proof.gap_m),
        "rise of the pressure at closed (Pa)": _pair(proof.rise_pa),
        "rate times gap (Pa)": _pair(proof.expected_rise_pa),
        "packing friction (N)": _pair(proof.packing_n),
        "seat load (N)": _pair(proof.seat_load_n),
        "seat load proven": proof.seat_load_proven,
        "closed position moved between strokes (m)": proof.moved_m,
    }


def coupling_lines(coupling: Coupling) -> list[str]:
    """The findings, then the reason where it did not come out right."""
    return [*coupling.remarks, *([coupling.why] if coupling.why else [])]


def _pair(found: Estimate | None) -> dict[str, float] | None:
    if found is None:
        return None
    return {"value": found.value, "standard uncertainty": found.standard_uncertainty}
