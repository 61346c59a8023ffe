"""The JSON Schema of a valve profile; `python -m rig.profile.schema` prints profiles/valve.schema.json."""

import json

from rig.profile.model import Action, Basis, DecisionRule, Flow, Mounting, Plug, Term
from rig.schema_parts import Json, document, group, quantity, text, texts, words, yes_no
from rig.units import Dimension as D  # noqa: N817 - stands in every line here

REQUIRED = (
    "model",
    "title",
    "action",
    "effective_area",
    "rated_travel",
    "travel_surplus",
    "bench_range",
    "casing_maximum",
    "supply",
)


def schema() -> Json:
    """Ready for json.dump."""
    return document(
        "Valve profile",
        {
            "model": text("name of the model: letters, digits, dots and hyphens"),
            "title": text("what the valve is, in a few words"),
            "serial_number": text("of one valve; a profile of a model has none"),
            "action": words(Action, "what air does"),
            "effective_area": quantity(D.AREA, "effective area of the diaphragm"),
            "area_uncertainty": quantity(D.FRACTION, "half width, 3 % where it is not given"),
            "rated_travel": quantity(D.LENGTH, "the travel the trim was designed for; never less"),
            "travel_surplus": quantity(D.LENGTH, "accepted above rated travel"),
            "actuator_stroke": quantity(D.LENGTH, "the actuator's own stroke, uncoupled"),
            "bench_range": _bench(),
            "decision_rule": words(
                DecisionRule, "how near to a limit is decided; guarded acceptance where not given"
            ),
            "casing_maximum": quantity(D.PRESSURE, "highest pressure the casing may see"),
            "supply": quantity(D.PRESSURE, "the air the valve has in service"),
            "supply_margin": quantity(D.PRESSURE, "wanted above the lowest supply that does the work"),
            "spring_rate": quantity(D.SPRING_RATE, "rate of the spring"),
            "obtainable_ranges": texts("bench ranges of the springs to be had, such as 10 to 30 psi"),
            "adjuster_thread": text("1/2-20 UNF, M12 x 1.75 or the pitch alone: one turn of the adjuster"),
            "required_seat_load": quantity(D.FORCE, "force that the seat needs to be tight"),
            "trim": _trim(),
            "process": _process(),
            "performance_limits": _performance_limits(),
            "notes": texts("for the person at the stand"),
        },
        REQUIRED,
    )


def _bench() -> Json:
    either = {
        "anyOf": [_one_tolerance(), _two_tolerances()],
        "description": "allowed deviation from the rated end",
    }
    return group(
        {
            "lower": quantity(D.PRESSURE, "where the stem starts to move"),
            "upper": quantity(D.PRESSURE, "where it reaches rated travel"),
            "basis": words(Basis, "what the range is meant on"),
            "lower_tolerance": either,
            "upper_tolerance": either,
        },
        ("lower", "upper", "basis", "lower_tolerance", "upper_tolerance"),
        "rated bench range",
    )


def _one_tolerance() -> Json:
    return quantity(D.PRESSURE, "each way")


def _two_tolerances() -> Json:
    sides = {"minus": quantity(D.PRESSURE, "below"), "plus": quantity(D.PRESSURE, "above")}
    return group(sides, ("minus", "plus"), "each way its own")


def _performance_limits() -> Json:
    def limit(term: Term) -> Json:
        of = "input span" if term is Term.DEAD_BAND else "rated travel"
        sides = {
            "at_most": quantity(D.FRACTION, f"of the {of}"),
            "source": text("who says so: specification, order, clause"),
        }
        return group(sides, ("at_most", "source"), f"largest {term.value.replace('_', ' ')} allowed")

    return group(
        {term.value: limit(term) for term in Term}, (), "what the job allows when stepped, IEC 61298-2 terms"
    )


def _trim() -> Json:
    return group(
        {
            "seat_bore": quantity(D.LENGTH, "bore of the seat"),
            "seat_line_load": quantity(D.LINE_LOAD, "load per length of seat line for the leakage class"),
            "seat_line_load_source": text("where that figure comes from: published tables differ"),
            "stem_diameter": quantity(D.LENGTH, "of the plug stem in its packing"),
            "balanced": yes_no("whether the plug is balanced"),
            "balance_seal_bore": quantity(D.LENGTH, "bore that the seal of a balanced plug runs in"),
            "unbalanced_area": quantity(D.AREA, "seat area less seal area, signed"),
            "plug": words(Plug, "which way the stem pushes the plug onto its seat"),
            "flow": words(Flow, "which way the flow pushes the plug"),
            "packing_friction": quantity(D.FORCE, "half band, allowed for"),
            "moving_weight": quantity(D.MASS, "stem, plug and connector; a weight in lbf or N does too"),
            "mounting": words(Mounting, "how the actuator stands on the valve in service"),
        },
        (),
        "plug, seat and packing",
    )


def _process() -> Json:
    return group(
        {
            "upstream": quantity(D.PRESSURE, "at shut-off"),
            "downstream": quantity(D.PRESSURE, "at shut-off"),
            "open_upstream": quantity(D.PRESSURE, "wide open"),
            "open_downstream": quantity(D.PRESSURE, "wide open"),
        },
        (),
        "pressures of the process",
    )


if __name__ == "__main__":
    print(json.dumps(schema(), indent=2, ensure_ascii=False))
