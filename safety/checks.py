"""What may withdraw permission. Each check is a pure look at one scan that yields what it finds.

A finding trips when it has been there for its patience without a break; patience 0 trips at once.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from safety.limits import Limits, Role
from safety.observe import believable, signal_of, travel
from safety.signals import Contact, Health, Reading
from safety.state import DISCREDITING, GAUGE, GuardState, Mode, Trip


@dataclass(frozen=True, slots=True)
class Finding:
    code: str
    text: str
    value: float
    limit: float
    unit: str
    patience_s: float = 0.0

    def latched(self, time_s: float) -> Trip:
        text = f"{self.text} {GAUGE}" if self.code in DISCREDITING else self.text
        return Trip(self.code, text, self.value, self.limit, self.unit, time_s)


Check = Callable[[Limits, GuardState, Reading], Iterator[Finding]]

NAMES = {
    Role.PRESSURE: "casing pressure",
    Role.POSITION: "stem position",
    Role.SUPPLY: "supply pressure",
    Role.OUTPUT: "output read-back",
    Role.EMERGENCY_STOP: "emergency stop",
    Role.GUARD: "guard",
    Role.SUPPLY_VALVE: "supply valve read-back",
    Role.VENT_VALVE: "vent valve read-back",
    Role.WATCHDOG: "watchdog",
    Role.IDENTITY: "identity",
}
SHOWING = (Health.GOOD, Health.OUT_OF_RANGE)  # a value is there, in the live range or beyond it
# Contacts that must be closed, and what it means when they are not.
OPENED = {
    Role.EMERGENCY_STOP: ("emergency stop", "The emergency stop is pressed."),
    Role.GUARD: ("guard open", "The guard is open."),
    Role.WATCHDOG: ("watchdog lost", "The output module's watchdog is not armed any more."),
    Role.IDENTITY: ("identity wrong", "The device that answers is not the one in the stand file."),
}


def over_pressure(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Unfiltered, and believed even outside the live range: too much is too much."""
    signal, cap = reading.pressure, limits.pressure_max_pa
    if signal.health in SHOWING and signal.value > cap.value:
        text = f"The casing pressure is above the cap set by: {cap.source}."
        yield Finding("pressure above cap", text, signal.value, cap.value, "Pa")


def clock(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    if state.memory.same_time > limits.same_time_scans.value:
        yield Finding(
            "time stands still", "The clock does not advance.", state.memory.same_time, 0.0, "scans"
        )


def expired(limits: Limits, state: GuardState, reading: Reading) -> dict[Role, Finding]:
    """The required signals whose last good value is too old; pressure, then position, before all others."""
    found = {}
    for expected, last_good_s in zip(limits.signals, state.memory.last_good, strict=True):
        age, period = state.time_s - last_good_s, expected.period_s.value
        if age > period:
            name = NAMES[expected.role]
            health = signal_of(reading, expected.role).health.value
            text = f"No good value of the {name} for {age:.2f} s (now: {health})."
            found[expected.role] = Finding(f"{name} signal lost", text, age, period, "s")
    return {role: found[role] for role in Role if role in found}


def signals_lost(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """One cause for all that are lost together: a lost link is one thing, not ten."""
    lost = expired(limits, state, reading)
    for finding in [*lost.values()][:1]:
        others = ", ".join(NAMES[role] for role in [*lost][1:])
        yield replace(finding, text=finding.text + f" Nor of: {others}." * bool(others))


def contacts_open(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Any that answers, whether the limits call it required or not."""
    for role, (code, text) in OPENED.items():
        contact = signal_of(reading, role)
        if isinstance(contact, Contact) and believable(contact) and not contact.closed:
            yield Finding(code, text, 0.0, 1.0, "contact")


def supply(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Too much is believed even outside the live range, as with the casing."""
    value, high, low = reading.supply.value, limits.supply_max_pa.value, limits.supply_min_pa.value
    if reading.supply.health in SHOWING and value > high:
        yield Finding("supply too high", "The supply pressure is above its limit.", value, high, "Pa")
    if believable(reading.supply) and value < low and state.command.supply_open:
        text = "The supply pressure is too low: is the air on?"
        yield Finding("supply lost", text, value, low, "Pa", limits.readback_s.value)


def readbacks(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Read-backs that disagree more often than one garbled answer can explain, or tell of more than the cap.

    Nothing here writes an output above the cap: to wait for the next one would be to let that air in.
    """
    too_much = limits.pressure_max_pa.value + limits.readback_pa.value
    above = believable(reading.output) and reading.output.value > too_much
    if above or state.astray > limits.readback_scans.value:
        yield from disagreements(limits, state, reading)


def disagreements(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """An output that holds what nobody here wrote: a module that does not obey, or a second controller.

    A slow read-back still shows what was written a moment ago, which is no disagreement.
    """
    why = "Another program may be writing to this stand, or the output module does not obey."
    if believable(reading.output) and state.outputs:
        value, tolerance = reading.output.value, limits.readback_pa.value
        recent = [output for _, output in state.outputs]
        if value > max(recent) + tolerance or value < min(recent) - tolerance:
            text = f"The output reads back otherwise than written. {why}"
            yield Finding("output disagrees", text, value, state.command.output_pa, "Pa")
    if state.time_s - state.valves_since_s <= limits.readback_s.value:
        return
    for role, contact, wanted in (
        (Role.SUPPLY_VALVE, reading.supply_valve_open, state.command.supply_open),
        (Role.VENT_VALVE, reading.vent_valve_open, state.command.vent_open),
    ):
        if believable(contact) and contact.closed is not wanted:
            text = f"The {NAMES[role]} disagrees with what was written: is the valve stuck? {why}"
            yield Finding(f"{NAMES[role]} disagrees", text, contact.closed, wanted, "contact")


def over_travel(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    moved, limit = travel(state), limits.travel_max_m.value
    if moved is not None and moved > limit:
        text = "The stem has gone further than this valve's travel: coupling or transmitter?"
        yield Finding("over-travel", text, moved, limit, "m")


def pressure_jumps(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """A step between two scans that no casing can make: a vent takes many scans to empty one."""
    track = state.memory.pressure
    limit = limits.jump_pa.value + limits.jump_rate_pa_per_s.value * track.step_s
    if state.command.vent_open and track.step < 0.0:
        limit = max(limit, limits.empty_share.value * (track.latest - track.step))
    step = abs(track.step)
    if step > limit and not reading.pressure_is_inferred:
        text = "The pressure signal jumped further than air can flow: wiring or transmitter."
        yield Finding("pressure jumped", text, step, limit, "Pa")


def position_jumps(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """A step between two scans that no stem can make."""
    track, limit = state.memory.position, limits.jump_share.value * limits.travel_max_m.value
    step = abs(track.step)
    if step > limit and track.step_s <= limits.gap_max_s.value:  # a sleeping machine sees no step
        text = "The position signal jumped further than a stem can move: wiring or transmitter."
        yield Finding("position jumped", text, step, limit, "m")


def pressure_ahead(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Pressure that should fall rises, or does not fall. The marks exist only with a casing transmitter."""
    mark = state.memory.falling
    if mark is None:
        return
    rise, vent = state.memory.pressure.lowest - mark.pressure_pa, state.command.vent_open
    if rise > limits.rise_pa.value:
        text = "The pressure rises with no demand for it: the I/P may be full on."
        yield Finding("pressure rising with no demand", text, rise, limits.rise_pa.value, "Pa")
    waited = state.time_s - mark.time_s
    within = limits.fall_within_s.value if vent else limits.follow_s.value
    if waited > within:
        cause = "the vent stuck or blocked" if vent else "the I/P stuck"
        text = f"The pressure does not fall as it should: {cause}, or the transmitter frozen?"
        yield Finding("pressure not falling", text, waited, within, "s")


def pressure_behind(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Pressure that should rise does not, or is lost."""
    if state.memory.rising is None:
        return
    waited, within = state.time_s - state.memory.rising.time_s, limits.follow_s.value
    if waited > within:
        text = "The pressure does not follow the demand: supply, hose, a leak, or the transmitter frozen?"
        yield Finding("pressure not following", text, waited, within, "s")
    fall, limit = -state.memory.pressure.rate, limits.lost_rate_pa_per_s.value
    if fall > limit:
        text = "The pressure falls fast with the output held: a hose or the diaphragm?"
        yield Finding("pressure lost", text, fall, limit, "Pa/s", limits.lost_s.value)


def pressure_stuck(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    mark = state.memory.stuck
    if mark is None or abs(state.command.output_pa - mark.output_pa) <= limits.stuck_pa.value:
        return
    waited, limit = state.time_s - mark.time_s, limits.stuck_s.value
    if waited > limit:
        text = "The pressure signal has not changed by one count although the output moved: frozen?"
        yield Finding("pressure signal stuck", text, waited, limit, "s")


def stem_against_pressure(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """The stem moves only with the pressure, and it does move with it."""
    full, mark = limits.travel_max_m.value, state.memory.unmoved_pressure
    if mark is not None:
        moved, limit = abs(state.memory.position.quick - mark.position_m), limits.drift_share.value * full
        if moved > limit:
            text = "The stem moved although the pressure did not change: connector, or position signal?"
            yield Finding("stem moved without pressure", text, moved, limit, "m")
    if state.memory.unmoved_stem is not None:
        change = abs(state.memory.pressure.quick - state.memory.unmoved_stem.pressure_pa)
        if change > limits.jam_pa.value:
            text = "The stem stands mid-travel although the pressure changed: jammed, or signal stuck?"
            yield Finding("stem jammed", text, change, limits.jam_pa.value, "Pa")


def no_movement(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    """Still at rest at a pressure that must have moved the stem."""
    moved, least = travel(state), limits.move_share.value * limits.travel_max_m.value
    if moved is None or moved >= least or state.memory.pressure.quick <= limits.move_by_pa.value:
        return
    patience = (limits.blind_s if reading.pressure_is_inferred else limits.move_within_s).value
    text = "The stem has not left its rest at a pressure that must move it: jammed, or not coupled?"
    yield Finding("stem not moving", text, moved, least, "m", patience)


def too_long(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    for code, since_s, limit in (
        ("stage too long", state.run.stage_since_s, limits.stage_max_s.value),
        ("run too long", state.run.since_s, limits.run_max_s.value),
    ):
        if state.time_s - since_s > limit:
            yield Finding(code, "It takes longer than it ever should.", state.time_s - since_s, limit, "s")


def hands_in(limits: Limits, state: GuardState, reading: Reading) -> Iterator[Finding]:
    if state.held is None:
        return
    moved = abs(state.memory.position.quick - state.held.position_m)
    if moved > limits.hair_m.value:
        text = "The stem moves while hands are in the mechanism. Hands out."
        yield Finding("movement with hands in", text, moved, limits.hair_m.value, "m")
    change = abs(state.memory.pressure.quick - state.held.pressure_pa)
    if change > limits.hold_pa.value and not reading.pressure_is_inferred:
        text = "The held pressure drifts while hands are in the mechanism: movement is near. Hands out."
        yield Finding("held pressure drifting", text, change, limits.hold_pa.value, "Pa")


LIVE: tuple[Check, ...] = (over_pressure, clock, signals_lost, contacts_open, supply, readbacks)
CHECKS: dict[Mode, tuple[Check, ...]] = {
    Mode.RESTING: (over_pressure, clock),
    Mode.RAMPING: (
        *LIVE,
        over_travel,
        pressure_jumps,
        position_jumps,
        pressure_ahead,
        pressure_behind,
        pressure_stuck,
        stem_against_pressure,
        no_movement,
        too_long,
    ),
    Mode.VENTING: (*LIVE, over_travel, pressure_jumps, pressure_ahead),
    Mode.TRIPPED: (*LIVE, over_travel, pressure_jumps),
    Mode.ESCALATED: (over_pressure, over_travel),
    Mode.HANDS_IN: (*LIVE, hands_in),
}


def findings(limits: Limits, state: GuardState, reading: Reading) -> tuple[Finding, ...]:
    return tuple(found for check in CHECKS[state.mode] for found in check(limits, state, reading))
