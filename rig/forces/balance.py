"""The force balance of a valve: every line, margins, both meanings of its range, which range would serve."""

from dataclasses import dataclass

from rig.forces.diagram import Diagram, diagram_of
from rig.forces.knowns import Knowns, Measured, knowns_of
from rig.forces.line import Line, derived, given
from rig.forces.margins import Margin, first_out, margins_of
from rig.forces.meanings import Meaning, meanings_of
from rig.forces.process import Process, process_of, upright_weight_sign
from rig.forces.ranges import RangeChoice, best_range, range_choices
from rig.forces.seat import seat_load_required
from rig.forces.stroke import Stroke, stroke_of
from rig.profile.model import Basis, Profile
from rig.units import Dimension

PRESSURE, FORCE = Dimension.PRESSURE, Dimension.FORCE


@dataclass(frozen=True, slots=True)
class Balance:
    """`stroke` is the valve as measured where there is a record, else as its profile rates it."""

    knowns: Knowns
    process: Process
    required: Line
    weight: Line
    stroke: Stroke
    lift_off_needed: Line
    lift_off_needed_service: Line
    margins: tuple[Margin, ...]
    meanings: tuple[Meaning, ...]
    ranges: tuple[RangeChoice, ...]
    measured: bool
    diagram: Diagram | None

    @property
    def first_out(self) -> Margin | None:
        return first_out(self.margins)

    @property
    def best_range(self) -> RangeChoice | None:
        return best_range(self.ranges)


def balance_of(profile: Profile, measured: Measured | None = None) -> Balance:
    """Everything that can be computed; what cannot says what it needs. Never raises on a poor profile."""
    knowns, process = knowns_of(profile, measured), process_of(profile)
    required = seat_load_required(profile)
    stroke = stroke_of(knowns, process, required, knowns.setting)
    return Balance(
        knowns=knowns,
        process=process,
        required=required,
        weight=_weight(profile),
        stroke=stroke,
        lift_off_needed=lift_off_needed(knowns, required, profile.basis, None),
        lift_off_needed_service=lift_off_needed(knowns, required, profile.basis, process),
        margins=margins_of(knowns, process, stroke, required),
        meanings=meanings_of(knowns, process, required),
        ranges=range_choices(knowns, process, required),
        measured=measured is not None,
        diagram=diagram_of(knowns, process, stroke),
    )


def lift_off_needed(knowns: Knowns, required: Line, basis: Basis, process: Process | None) -> Line:
    """The limit that the seat sets to the range [Pa], read on `basis`.

    Air-to-open: (required + held + friction) / A, the lowest lower end; with friction included the stem has
    to be pushed past friction once more: (required + held + 2 friction) / A. Air-to-close: supply −
    (required + held) / A, the highest upper end with friction included; spring only: less friction / A.
    Only a process that pushes the plug off its seat has to be held: one that helps may not be there yet.
    """
    held = () if process is None else (_held(knowns, process),)
    hold = " + {}" if held else ""
    where = " in service" if process else ""
    key = "range_limit_service" if process else "range_limit"
    if knowns.opens_with_air:
        times = 2.0 if basis is Basis.FRICTION_INCLUDED else 1.0
        return derived(
            key,
            f"lower end needed{where}",
            PRESSURE,
            f"({{}}{hold} + {'2 × ' if times == 2.0 else ''}{{}}) ÷ {{}}",
            lambda load, *rest: (load + sum(rest[:-2]) + times * rest[-2]) / rest[-1],
            required,
            *held,
            knowns.friction,
            knowns.area,
            note=basis.value,
        )
    friction = (knowns.friction,) if basis is Basis.SPRING_ONLY else ()
    return derived(
        key,
        f"upper end allowed{where}",
        PRESSURE,
        f"{{}} − ({{}}{hold}{' + {}' if friction else ''}) ÷ {{}}",
        lambda supply, *rest: supply - sum(rest[:-1]) / rest[-1],
        knowns.supply,
        required,
        *held,
        *friction,
        knowns.area,
        note=basis.value,
    )


def _held(knowns: Knowns, process: Process) -> Line:
    """Force off the seat that has to be held [N], never below zero."""
    off, sign = (process.resisting_rest, -1.0) if knowns.opens_with_air else (process.resisting_full, 1.0)
    return derived(
        "held",
        "unbalance to be held",
        FORCE,
        "what of {} pushes off the seat",
        lambda r: max(0.0, sign * r),
        off,
    )


def _weight(profile: Profile) -> Line:
    """Weight against the air, upright on the stand [N]; it is part of what the stand measures as preload."""
    trim = profile.trim
    weight = given("moving_weight", "moving weight", FORCE, trim.moving_weight_n)
    plug = given("plug", "plug style", None, 0.0 if trim.plug else None, need="plug style")
    sign = upright_weight_sign(profile)
    return derived(
        "weight",
        "weight, part of the preload",
        FORCE,
        "{}" if sign > 0 else "−{}",
        lambda w, _: sign * w,
        weight,
        plug,
        note="upright; against the air" if sign > 0 else "upright; with the air",
    )
