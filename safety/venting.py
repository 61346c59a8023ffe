"""Does the pressure really go? A safe command is not the end of a trip; a vented casing is."""

from safety.checks import Finding
from safety.limits import Limits
from safety.observe import believable
from safety.signals import Reading
from safety.state import GuardEvent, GuardState, Mode

Outcome = tuple[GuardEvent, Finding | None]

BY_HAND = (
    "Shout: everyone out of the mechanism and away from the vent.",
    "Press the stand's emergency stop.",
    "Shut the air supply by hand and lock it.",
    "Open the stand's dump or drain valve, or loosen the casing's air connection a little, away from faces.",
    "Touch nothing else until a gauge at the casing reads zero and the stem has stopped.",
)


def by_hand(state: GuardState) -> tuple[str, ...]:
    """What people must do where the guard has come to its end; empty otherwise."""
    if state.mode is Mode.ESCALATED and not state.vented:
        return BY_HAND
    return ()


def at_rest(limits: Limits, state: GuardState) -> Outcome | None:
    """Air in the casing where none was asked for is vented like after a run, and watched like it."""
    if state.memory.falling is not None and state.memory.pressure.quick > limits.found_pa.value:
        return GuardEvent.PRESSURE_FOUND, None
    return None


def while_venting(limits: Limits, state: GuardState) -> Outcome | None:
    if state.vented:
        return (GuardEvent.VENTED_LATCHED if state.trips else GuardEvent.VENTED), None
    waited = state.time_s - max(state.valves_since_s, state.entered_s)
    within = limits.gone_within_s.value
    if state.command.vent_open and waited > within:
        text = "The pressure is not known to be gone after the time venting may take."
        return GuardEvent.TRIP, Finding("pressure not gone", text, waited, within, "s")
    return None


def after_trip(limits: Limits, state: GuardState, reading: Reading) -> Outcome | None:
    """Falling within one time, gone within another, or the guard has come to its end."""
    if state.vented:
        return None
    mark, pressure = state.memory.falling, state.memory.pressure.quick
    if mark is not None and believable(reading.pressure):
        waited, within = state.time_s - mark.time_s, limits.fall_within_s.value
        if waited > within:
            text = "The pressure does not fall after the trip: vent stuck, or output module not obeying."
            return GuardEvent.NOT_VENTING, Finding("escalated: not falling", text, waited, within, "s")
        rise, limit = pressure - mark.pressure_pa, limits.rise_pa.value
        if rise > limit:
            text = "The pressure rises in spite of the trip."
            return GuardEvent.NOT_VENTING, Finding("escalated: rising", text, rise, limit, "Pa")
    waited = state.time_s - max(state.entered_s, state.vented_at_s)
    within = limits.gone_within_s.value
    if waited > within:
        text = "The pressure is not known to be gone in the time it may take."
        if not believable(reading.pressure):
            text = "It cannot be confirmed that the pressure is gone: its signal has failed."
        return GuardEvent.NOT_VENTING, Finding("escalated: not gone", text, waited, within, "s")
    return None
