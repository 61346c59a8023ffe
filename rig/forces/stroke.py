"""The stroke of one setting of the spring: four pressures, the forces at both ends, the supply it takes.

A p_up(x) = F0 + k x + Ff + Fu(x) and A p_down(x) = F0 + k x − Ff + Fu(x) along the air's direction, with
F0 = A p_lower (spring only, upright on the stand), Ff the half friction band and Fu what process and mounting
add against the air (plain statics). On the stand Fu is zero.
"""

from dataclasses import dataclass

from rig.forces.knowns import Knowns
from rig.forces.line import Line, derived
from rig.forces.process import Process
from rig.forces.setting import Setting
from rig.units import Dimension

PRESSURE, FORCE = Dimension.PRESSURE, Dimension.FORCE


@dataclass(frozen=True, slots=True)
class Stroke:
    """On the stand, and in service where the process is known. Names follow the valve's action."""

    preload: Line
    spring_full: Line
    lift_off: Line
    full_travel: Line
    return_start: Line
    reseat: Line
    lift_off_service: Line
    full_travel_service: Line
    seat_load: Line  # on the stand
    seat_load_service: Line
    stop_force: Line  # on the open stop, on the stand
    supply: Line  # lowest that does the work, on the stand
    supply_service: Line


def stroke_of(knowns: Knowns, process: Process, required: Line, setting: Setting) -> Stroke:
    """`required`: the seat's load. The setting may be of any spring."""
    area, opens, lift_off = knowns.area, knowns.opens_with_air, setting.lift_off
    full_name = "full travel" if opens else "plug meets seat"
    back_name = "start of return" if opens else "plug leaves seat"
    home_name = "reseat" if opens else "back on open stop"
    preload = derived("preload", "preload", FORCE, "{} × {}", lambda a, p: a * p, area, setting.spring_lower)
    spring_full = derived(
        "spring_full",
        "spring at full travel",
        FORCE,
        "{} + {} × {}",
        lambda f, k, x: f + k * x,
        preload,
        setting.rate,
        knowns.travel,
    )
    reseat = derived(
        "reseat",
        home_name,
        PRESSURE,
        "{} − {}",
        lambda p, f: p - f,
        setting.spring_lower,
        knowns.friction_pa,
    )
    full = _further("full_travel", full_name, lift_off, setting.rate, knowns)
    back = _further("return_start", back_name, reseat, setting.rate, knowns)
    lift_service = _in_service(lift_off, process.resisting_rest, area)
    full_service = _in_service(full, process.resisting_full, area)
    no_air, at_supply = _without_air(knowns, reseat), _at_supply(knowns, full)
    seat, stop = (no_air, at_supply) if opens else (at_supply, no_air)
    return Stroke(
        preload=preload,
        spring_full=spring_full,
        lift_off=lift_off,
        full_travel=full,
        return_start=back,
        reseat=reseat,
        lift_off_service=lift_service,
        full_travel_service=full_service,
        seat_load=seat,
        seat_load_service=_seat_in_service(seat, process, opens),
        stop_force=stop,
        supply=_supply("supply_needed", knowns, required, full),
        supply_service=_supply("supply_needed_service", knowns, required, full_service, lift_service),
    )


def _without_air(knowns: Knowns, reseat: Line) -> Line:
    """What the spring leaves on the seat (air-to-open) or on the open stop [N]: A × p_reseat."""
    opens = knowns.opens_with_air
    key, name = (
        ("seat_load", "seat load, no air") if opens else ("stop_force", "force on the open stop, no air")
    )
    return derived(key, name, FORCE, "{} × {}", lambda a, p: a * p, knowns.area, reseat)


def _at_supply(knowns: Knowns, full: Line) -> Line:
    """What the air has over at the end of travel [N]: A × (p_supply − p_full)."""
    opens = knowns.opens_with_air
    key = "stop_force" if opens else "seat_load"
    return derived(
        key,
        "force on the open stop at supply" if opens else "seat load at supply",
        FORCE,
        "{} × ({} − {})",
        lambda a, s, p: a * (s - p),
        knowns.area,
        knowns.supply,
        full,
    )


def _further(key: str, name: str, start: Line, rate: Line, knowns: Knowns) -> Line:
    """The pressure a whole travel further up the spring [Pa]: p + k x / A."""
    return derived(
        key,
        name,
        PRESSURE,
        "{} + {} × {} ÷ {}",
        lambda p, k, x, a: p + k * x / a,
        start,
        rate,
        knowns.travel,
        knowns.area,
    )


def _in_service(bench: Line, resisting: Line, area: Line) -> Line:
    return derived(
        f"{bench.key}_service",
        f"{bench.name} in service",
        PRESSURE,
        "{} + {} ÷ {}",
        lambda p, r, a: p + r / a,
        bench,
        resisting,
        area,
    )


def _seat_in_service(seat: Line, process: Process, opens: bool) -> Line:
    """What pushes against the air at rest pushes an air-to-open plug home; at full travel it holds it off."""
    resisting, sign = (process.resisting_rest, 1.0) if opens else (process.resisting_full, -1.0)
    return derived(
        "seat_load_service",
        "seat load in service",
        FORCE,
        "{} + {}" if opens else "{} − ({})",
        lambda s, r: s + sign * r,
        seat,
        resisting,
    )


def _supply(key: str, knowns: Knowns, required: Line, full: Line, also: Line | None = None) -> Line:
    """Lowest supply that opens an air-to-open valve fully, or seats an air-to-close plug with its load.

    `also`: another pressure that it has to exceed. The profile's margin, where it states one, comes on top.
    """
    name = "lowest supply in service" if also else "lowest supply"
    base = full
    if not knowns.opens_with_air:
        formula = "{} + {} ÷ {}"
        base = derived(
            f"{full.key}_loaded",
            "seating with the load",
            PRESSURE,
            formula,
            lambda p, load, a: p + load / a,
            full,
            required,
            knowns.area,
        )
    if also is not None:
        larger = f"larger of {also.name} and {base.name}"
        base = derived(f"{key}_base", larger, PRESSURE, "larger of {} and {}", max, also, base)
    if knowns.margin is None:
        note = "no supply margin is stated in the profile"
        return derived(key, name, PRESSURE, "{}", lambda p: p, base, note=note)
    return derived(key, name, PRESSURE, "{} + {}", lambda p, m: p + m, base, knowns.margin)
