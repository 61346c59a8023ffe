"""A profile in people's words: what the file says, and what follows from it."""

from collections.abc import Iterator

from rig.layout import section
from rig.profile.explain_trim import trim_rows
from rig.profile.model import Action, Basis, DecisionRule, Profile, Term, Tolerance
from rig.profile.thread import pressure_per_turn_pa
from rig.units import PSI_PA, Dimension, UnitSet, inches_text

Row = tuple[str, str]
ACTIONS = {
    Action.AIR_TO_OPEN: "air-to-open: the spring closes, so the valve is closed without air",
    Action.AIR_TO_CLOSE: "air-to-close: the spring opens, so the valve is open without air",
}
ENDS = {
    Action.AIR_TO_OPEN: ("the plug lifts off its seat", "it is at full travel"),
    Action.AIR_TO_CLOSE: ("the stem leaves its open stop", "the plug meets its seat"),
}
BASES = {
    Basis.FRICTION_INCLUDED: "friction included: as measured on the way up, on the valve",
    Basis.SPRING_ONLY: "spring only: the mean of the ways up and down; on the valve, friction comes on top",
}
DECIDED = {
    DecisionRule.GUARDED: "guarded acceptance: undecided within the expanded uncertainty of a limit",
    DecisionRule.SIMPLE: "simple acceptance: the value decides where its uncertainty is within a quarter of "
    "the tolerance",
    DecisionRule.SHARED: "shared risk: the value decides, whatever its uncertainty; near a limit half of the "
    "decisions are wrong",
}
STEP_PA = {"psi": PSI_PA, "bar": 1e4, "kPa": 1e4}  # a handy shift to name the turns of


def explain(profile: Profile, units: UnitSet) -> str:
    """Many lines of text."""
    lines = [f"{profile.model}: {profile.title}"]
    if profile.source:
        lines.append(f"from {profile.source}")
    lines += section("What the file says", _said(profile, units))
    lines += section("Trim, packing and process", trim_rows(profile, units))
    lines += section("Allowed when stepped (stemrig steps)", _allowed(profile, units))
    lines += section("What follows from it", _follows(profile, units))
    lines += section("Notes", (("", note) for note in profile.notes))
    return "\n".join(lines)


def length(units: UnitSet, metres: float) -> str:
    """Inches as fractions where they are such."""
    inches = units.symbol(Dimension.LENGTH) == "in"
    return inches_text(metres) if inches else units.text(Dimension.LENGTH, metres)


def _pressure(units: UnitSet, pascals: float) -> str:
    return units.text(Dimension.PRESSURE, pascals)


def _said(p: Profile, units: UnitSet) -> Iterator[Row]:
    starts, ends = ENDS[p.action]
    if p.serial_number:
        yield "Serial number", p.serial_number
    yield "Action", ACTIONS[p.action]
    share = units.text(Dimension.FRACTION, p.area_relative_uncertainty)
    yield "Effective area", f"{units.text(Dimension.AREA, p.area_m2)} ± {share}"
    surplus = length(units, p.travel_surplus_m)
    yield "Rated travel", f"{length(units, p.rated_travel_m)}; up to {surplus} more is accepted, never less"
    lower, upper = _pressure(units, p.bench_lower_pa), _pressure(units, p.bench_upper_pa)
    yield "Bench range", f"{lower} to {upper}, {BASES[p.basis]}"
    yield "  lower end", f"{_window(units, p.bench_lower_pa, p.lower_tolerance)}: {starts}"
    yield "  upper end", f"{_window(units, p.bench_upper_pa, p.upper_tolerance)}: {ends}"
    yield "Decided by", DECIDED[p.decision_rule]
    yield "Casing maximum", _pressure(units, p.casing_maximum_pa)
    yield "Supply in service", _pressure(units, p.supply_pa)
    load = p.needed_seat_load_n
    yield "Seat load needed", "not given" if load is None else units.text(Dimension.FORCE, load)


def _allowed(p: Profile, units: UnitSet) -> Iterator[Row]:
    for limit in p.performance_limits:
        of = "the input span" if limit.term is Term.DEAD_BAND else "rated travel"
        most = units.text(Dimension.FRACTION, limit.at_most)
        yield limit.term.value.replace("_", " "), f"at most {most} of {of} ({limit.source})"


def _window(units: UnitSet, rated_pa: float, tolerance: Tolerance) -> str:
    low, high = rated_pa - tolerance.minus, rated_pa + tolerance.plus
    number = units.text(Dimension.PRESSURE, low).removesuffix(f" {units.symbol(Dimension.PRESSURE)}")
    return f"{number} to {_pressure(units, high)}"


def _follows(p: Profile, units: UnitSet) -> Iterator[Row]:
    span = _pressure(units, p.bench_upper_pa - p.bench_lower_pa)
    travel = length(units, p.rated_travel_m)
    yield "Span", f"{span} over {travel}; it belongs to the spring and cannot be adjusted"
    yield "Spring rate", _rate(p, units)
    yield "Seat load", _seat_load(p, units)
    yield (
        "Supply",
        (
            f"{_pressure(units, p.supply_pa - p.bench_upper_pa)} above the upper end of the range, "
            f"{_pressure(units, p.casing_maximum_pa - p.supply_pa)} below the casing maximum"
        ),
    )
    yield "Adjuster", _adjuster(p, units)
    yield "Slack", _slack(p, units)


def _rate(p: Profile, units: UnitSet) -> str:
    implied = units.text(Dimension.SPRING_RATE, p.expected_rate_n_per_m)
    if p.spring_rate_n_per_m is None:
        return f"{implied} by area x span / travel; the file names none"
    off = p.spring_rate_n_per_m / p.expected_rate_n_per_m - 1.0
    given = units.text(Dimension.SPRING_RATE, p.spring_rate_n_per_m)
    agrees = "they agree" if abs(off) < 0.005 else f"{100 * abs(off):.1f} % {'more' if off > 0 else 'less'}"
    return f"{given} in the file, {implied} by area x span / travel: {agrees}"


def _seat_load(p: Profile, units: UnitSet) -> str:
    """Air-to-open: A p_lower less the friction, twice where it is included in p_lower. Air-to-close:
    A (p_supply - p_upper), less the friction unless it is included in p_upper."""
    opens, spring_only = p.action is Action.AIR_TO_OPEN, p.basis is Basis.SPRING_ONLY
    most_n = p.area_m2 * (p.bench_lower_pa if opens else p.supply_pa - p.bench_upper_pa)
    times = 1 if spring_only else 2 if opens else 0
    less = {0: "", 1: ", less the friction", 2: ", less twice the friction"}[times]
    words = f"{units.text(Dimension.FORCE, most_n)} {'with no air' if opens else 'at the supply'}{less}"
    if p.needed_seat_load_n is None:
        return f"{words}; what the seat needs is not given, so it is not judged"
    spare_n = most_n - p.needed_seat_load_n
    if times == 0:
        return f"{words}; {units.text(Dimension.FORCE, spare_n)} more than needed"
    friction_pa = spare_n / times / p.area_m2
    return f"{words}; enough as long as the friction is worth less than {_pressure(units, friction_pa)}"


def _adjuster(p: Profile, units: UnitSet) -> str:
    if p.adjuster_pitch_m is None:
        return "its thread is not given: turns cannot be told"
    rate = p.spring_rate_n_per_m if p.spring_rate_n_per_m is not None else p.expected_rate_n_per_m
    turn_pa = pressure_per_turn_pa(p.area_m2, rate, p.adjuster_pitch_m)
    step_pa = STEP_PA[units.symbol(Dimension.PRESSURE)]
    step = f"{step_pa / turn_pa:.2f} turns for {_pressure(units, step_pa)}"
    return (
        f"one turn is {_pressure(units, turn_pa)} ({step}); tightening the spring raises both ends alike, "
        "the span stays"
    )


def _slack(p: Profile, units: UnitSet) -> str:
    if p.actuator_stroke_m is None:
        return "the actuator's own stroke is not given: the slack cannot be told"
    slack = length(units, p.actuator_stroke_m - p.rated_travel_m)
    return (
        f"the actuator's own stroke is {length(units, p.actuator_stroke_m)}: {slack} more than the travel, "
        "which belongs on the closed side, or nothing presses the plug on its seat"
    )
