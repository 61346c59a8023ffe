"""Loading a valve profile: from a file, from a shipped name, from the text kept in a record."""

from collections.abc import Mapping
from math import isnan
from pathlib import Path

from rig.files import Document, Section, find, read_text, shipped
from rig.profile.model import Action, Basis, DecisionRule, Profile, Term, TermLimit, Tolerance
from rig.profile.plausible import check
from rig.profile.thread import EXAMPLE as THREAD
from rig.profile.thread import thread_pitch_m
from rig.profile.trim import check_trim, read_ranges, read_trim
from rig.units import Dimension, UnitError

PACKAGE, KIND = "profiles.valves", "a valve profile"
PERFORMANCE = "{hysteresis: {at_most: 8 %, source: order 4711, clause 3}}"
BENCH = "{lower: 10 psi, upper: 30 psi, basis: friction included, ...}"


def shipped_profiles() -> Mapping[str, Path]:
    """The profiles that come with the program, by name."""
    return shipped(PACKAGE)


def load_profile(path_or_name: str | Path) -> Profile:
    """A profile file, or a shipped one by its bare name. Raises FileProblems with everything found."""
    path = find(path_or_name, PACKAGE, KIND)
    return load_profile_text(read_text(path), str(path))


def profile_text(path_or_name: str | Path) -> str:
    """The file as it stands, for the record's copy. Raises FileProblems."""
    return read_text(find(path_or_name, PACKAGE, KIND))


def load_profile_text(text: str, source: str) -> Profile:
    """A profile from the text of its file. Raises FileProblems with everything found."""
    document = Document(text, source, KIND)
    profile = _read(document.root, source)
    check(document.root, profile)
    check_trim(document.root, profile)
    document.raise_problems()
    return profile


def _read(root: Section, source: str) -> Profile:
    """What the file says; stand-ins (nan) where it says it wrongly."""
    bench = root.section("bench_range", BENCH)
    lower, upper, basis, lower_tolerance, upper_tolerance = _bench(bench)
    uncertainty = root.quantity_or_none("area_uncertainty", Dimension.FRACTION)
    profile = Profile(
        model=_model(root),
        title=root.text("title", "Brine let-down valve"),
        action=root.choice("action", Action),
        area_m2=root.quantity("effective_area", Dimension.AREA),
        rated_travel_m=root.quantity("rated_travel", Dimension.LENGTH),
        travel_surplus_m=root.quantity("travel_surplus", Dimension.LENGTH, "1/32 in"),
        bench_lower_pa=lower,
        bench_upper_pa=upper,
        lower_tolerance=lower_tolerance,
        upper_tolerance=upper_tolerance,
        basis=basis,
        casing_maximum_pa=root.quantity("casing_maximum", Dimension.PRESSURE),
        supply_pa=root.quantity("supply", Dimension.PRESSURE),
        spring_rate_n_per_m=root.quantity_or_none("spring_rate", Dimension.SPRING_RATE),
        adjuster_pitch_m=_pitch(root),
        required_seat_load_n=root.quantity_or_none("required_seat_load", Dimension.FORCE),
        actuator_stroke_m=root.quantity_or_none("actuator_stroke", Dimension.LENGTH),
        serial_number=root.text_or_none("serial_number") or "",
        area_relative_uncertainty=0.03 if uncertainty is None else uncertainty,
        notes=root.texts("notes"),
        source=source,
        trim=read_trim(root),
        obtainable_ranges_pa=read_ranges(root),
        decision_rule=root.choice("decision_rule", DecisionRule, DecisionRule.GUARDED),
        supply_margin_pa=root.quantity_or_none("supply_margin", Dimension.PRESSURE),
        performance_limits=_performance_limits(root),
    )
    root.finish()
    return profile


def _model(root: Section) -> str:
    """The name goes into the names of record folders."""
    model = root.text("model", "brine-letdown")
    if model and not all(c.isalnum() or c in "-_." for c in model):
        root.problem("model", f"'{model}' cannot name a folder", "use letters, digits, dots and hyphens only")
    return model


def _bench(bench: Section | None) -> tuple[float, float, Basis, Tolerance, Tolerance]:
    nothing = Tolerance(float("nan"), float("nan"))
    if bench is None:
        return nothing.minus, nothing.plus, Basis.FRICTION_INCLUDED, nothing, nothing
    found = (
        bench.quantity("lower", Dimension.PRESSURE, "10 psi"),
        bench.quantity("upper", Dimension.PRESSURE, "30 psi"),
        bench.choice("basis", Basis),
        _tolerance(bench, "lower_tolerance", "0.5 psi"),
        _tolerance(bench, "upper_tolerance", "{minus: 1.5 psi, plus: 1.5 psi}"),
    )
    bench.finish()
    return found


def _tolerance(bench: Section, key: str, example: str) -> Tolerance:
    """'0.5 psi' for both sides, or {minus, plus}."""
    if not bench.holds_section(key):
        text = bench.text(key, example)
        both = bench.parsed(key, text.lstrip("±").strip(), Dimension.PRESSURE) if text else float("nan")
        return Tolerance(both, both)
    sides = bench.section(key, example)
    assert sides is not None
    tolerance = Tolerance(
        sides.quantity("minus", Dimension.PRESSURE, "0.5 psi"),
        sides.quantity("plus", Dimension.PRESSURE, "0.5 psi"),
    )
    sides.finish()
    return tolerance


def _performance_limits(root: Section) -> tuple[TermLimit, ...]:
    """A limit without its source is refused: nobody could say later why a valve failed by it."""
    section = root.section_or_none("performance_limits", PERFORMANCE)
    if section is None:
        return ()
    found = []
    for term in Term:
        one = section.section_or_none(term.value, "{at_most: 8 %, source: order 4711, clause 3}")
        if one is None:
            continue
        at_most = one.quantity("at_most", Dimension.FRACTION, "8 %")
        source = one.text("source", "order 4711, clause 3")
        if not 0.0 < at_most <= 1.0 and not isnan(at_most):
            one.problem("at_most", f"{100.0 * at_most:g} % is not believable", "above 0 %, up to 100 %")
        one.finish()
        found.append(TermLimit(term, at_most, source))
    section.finish()
    return tuple(found)


def _pitch(root: Section) -> float | None:
    text = root.text_or_none("adjuster_thread")
    if text is None:
        return None
    try:
        pitch = thread_pitch_m(text)
    except UnitError as error:
        root.problem("adjuster_thread", error.found, error.would_do)
        return None
    if isnan(pitch) or not 1e-4 <= pitch <= 0.02:
        root.problem("adjuster_thread", f"'{text}' is no pitch of a thread", f"write it like {THREAD}")
    return pitch
