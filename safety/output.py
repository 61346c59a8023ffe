"""The output of one scan: walked towards the demand, held back four ways. No reading ever holds a fall."""

from dataclasses import replace
from math import isfinite

from safety.limits import PSI, Limits
from safety.observe import believable
from safety.permissives import not_live
from safety.signals import Command, Demand, Reading
from safety.state import GuardState


def refused(limits: Limits, demand: Demand) -> str | None:
    """Why a demand is not obeyed at all, or None. To vent is never refused."""
    if demand.vent:
        return None
    for name, value in (("pressure", demand.pressure_pa), ("rate", demand.rate_pa_per_s)):
        if not isfinite(value) or value < 0.0:
            return f"The {name} demanded is not a number of zero or more: {value}."
    if demand.pressure_pa > limits.pressure_max_pa.value:
        return (
            f"The pressure demanded, {demand.pressure_pa / PSI:.2f} psi, is above the cap of "
            f"{limits.pressure_max_pa.value / PSI:.2f} psi (set by: {limits.pressure_max_pa.source})."
        )
    return None


def walk(
    limits: Limits, state: GuardState, reading: Reading, demand: Demand, passed_s: float
) -> tuple[float, tuple[str, ...]]:
    """Output [Pa] `passed_s` after the last one, and what held it back."""
    limited: list[str] = []

    def lower(value: float, bound: float, why: str) -> float:
        if value > bound:
            limited.append(why)
        return min(value, bound)

    last = state.command.output_pa
    target = lower(demand.pressure_pa, limits.demand_max_pa, "pressure: highest permitted output")
    rate = lower(demand.rate_pa_per_s, limits.rate_max_pa_per_s.value, "rate: highest permitted")
    step = lower(rate * passed_s, limits.step_max_pa.value, "step: largest in one scan")
    recent = [output for _, output in state.outputs] or [last]
    change = limits.window_change_pa.value
    if target <= last:
        value = max(target, last - step)
        if value < max(recent) - change:
            limited.append("change within the window")
            value = min(last, max(recent) - change)
    elif any(True for _ in not_live(limits, reading)):
        limited.append("held: a signal is not live")
        value = last
    else:
        value = min(target, last + step)
        value = max(last, lower(value, min(recent) + change, "change within the window"))
    if not reading.pressure_is_inferred and state.memory.pressure.known:
        bound = max(0.0, state.memory.pressure.quick + limits.lead_max_pa.value)
        value = lower(value, bound, "lead: the casing pressure is behind")
    return value, tuple(limited)


def frozen(limits: Limits, state: GuardState, reading: Reading) -> Command:
    """With hands in nothing moves, and two things are taken back all the same: air that has gone must not
    come back, and above the cap no more may come in. Pressure and stem must both show it: one signal that
    lies must not move the stem. Without a casing transmitter neither can be seen.
    """
    command, held = state.command, state.held
    supply_open = command.supply_open and not limits.isolate_supply_hands_in
    pressure, position = state.memory.pressure, state.memory.position
    moved = held is not None and abs(position.quick - held.position_m) > limits.hair_m.value
    live = believable(reading.pressure) and believable(reading.position) and not reading.pressure_is_inferred
    if held is None or not moved or not live:
        return replace(command, supply_open=supply_open)
    output_pa = command.output_pa
    if held.pressure_pa - pressure.quick > limits.hold_pa.value:
        output_pa = min(output_pa, max(0.0, pressure.latest))
    supply_open = supply_open and pressure.latest <= limits.pressure_max_pa.value
    return replace(command, output_pa=output_pa, supply_open=supply_open)


def remembered(limits: Limits, state: GuardState, output_pa: float) -> tuple[tuple[float, float], ...]:
    """The outputs within the window, this one last; the one before the window opened stays as its start."""
    opened = state.time_s - limits.window_s.value
    return (*(entry for entry in state.outputs if entry[0] >= opened), (state.time_s, output_pa))
