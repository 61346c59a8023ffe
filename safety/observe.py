"""One scan's reading worked into the guard's memory. Judges nothing; only believable values get in."""

from dataclasses import replace
from math import isfinite

from safety.limits import Limits, Role
from safety.signals import Contact, Health, Reading, Signal
from safety.state import GuardState, Mode
from safety.track import Mark, Track

MID_TRAVEL = 0.1, 0.8  # shares of travel_max_m clear of both stops, short travel included


def signal_of(reading: Reading, role: Role) -> Signal | Contact:
    by_role: dict[Role, Signal | Contact] = {
        Role.PRESSURE: reading.pressure,
        Role.POSITION: reading.position,
        Role.SUPPLY: reading.supply,
        Role.OUTPUT: reading.output,
        Role.EMERGENCY_STOP: reading.emergency_stop_healthy,
        Role.GUARD: reading.guard_closed,
        Role.SUPPLY_VALVE: reading.supply_valve_open,
        Role.VENT_VALVE: reading.vent_valve_open,
        Role.WATCHDOG: reading.watchdog_armed,
        Role.IDENTITY: reading.identity_right,
    }
    return by_role[role]


def believable(signal: Signal | Contact) -> bool:
    """Live, and every number in it is one."""
    if signal.health is not Health.GOOD or not isfinite(signal.time_s):
        return False
    return isinstance(signal, Contact) or isfinite(signal.value)


def age_s(state: GuardState, role: Role) -> float:
    """Time since the last believable value of a required role was measured [s], or since the start."""
    return state.time_s - dict(state.last_good)[role]


def observe(limits: Limits, state: GuardState, reading: Reading) -> GuardState:
    """The state with this reading in it. The reading's time is known to be finite and not before the last."""
    now = reading.time_s
    before = dict(state.last_good)
    good = dict(before)
    for role in before:
        if believable(signal := signal_of(reading, role)):
            good[role] = min(now, signal.time_s)  # a time ahead of the scan must not keep a signal young
    state = replace(
        state,
        time_s=now,
        scans=state.scans + 1,
        same_time=state.same_time + 1 if now == state.time_s else 0,
        pressure=_seen(state.pressure, reading.pressure, good[Role.PRESSURE] - before[Role.PRESSURE]),
        position=_seen(state.position, reading.position, good[Role.POSITION] - before[Role.POSITION]),
        last_good=tuple(good.items()),
    )
    state = replace(state, vented=_vented(limits, state, reading))
    return _marked(limits, replace(state, rest_position_m=_rest(state)), reading)


def _seen(track: Track, signal: Signal, since_s: float) -> Track:
    if not believable(signal):
        return replace(track, step=0.0, step_s=0.0)
    return track.see(signal.value, max(0.0, since_s))


def _vented(limits: Limits, state: GuardState, reading: Reading) -> bool:
    """No pressure in the casing, and known to be so: the vent is open and the transmitter reads zero.

    Without a casing transmitter only time can tell. Once vented, `found_pa` ends it, so that noise does not.
    """
    if not state.command.vent_open or not believable(reading.pressure):
        return False
    if reading.pressure_is_inferred:
        return state.time_s - state.vent_since_s >= limits.blind_s.value
    bound = limits.found_pa if state.vented else limits.gone_pa
    return abs(state.pressure.quick) <= bound.value


def _rest(state: GuardState) -> float | None:
    """Where the stem rests: followed while resting without pressure, kept from then on."""
    if state.mode is Mode.RESTING and state.vented and state.position.known:
        return state.position.slow
    return state.rest_position_m


def travel(state: GuardState) -> float | None:
    """Distance of the stem from its rest [m], None where one of the two is not known."""
    if state.rest_position_m is None or not state.position.known:
        return None
    return abs(state.position.quick - state.rest_position_m)


def _marked(limits: Limits, state: GuardState, reading: Reading) -> GuardState:
    """Progress marks: each stays where its quantity last made progress, and is None where none is due."""
    if reading.pressure_is_inferred or not (state.pressure.known and state.position.known):
        return replace(state, falling=None, rising=None, unmoved_pressure=None, unmoved_stem=None, stuck=None)
    command, pressure, step = state.command, state.pressure.quick, limits.fall_step_pa.value
    here = Mark(state.time_s, pressure, state.position.quick, command.output_pa)
    ahead = pressure - command.output_pa
    must_fall = pressure > limits.gone_pa.value and (
        command.vent_open or ahead > limits.follow_margin_pa.value
    )
    must_rise = not command.vent_open and -ahead > limits.follow_margin_pa.value
    falling, rising = state.falling, state.rising
    if falling is None or pressure < falling.pressure_pa - step:
        falling = here
    if rising is None or pressure > rising.pressure_pa + step:
        rising = here
    return replace(
        state,
        falling=falling if must_fall else None,
        rising=rising if must_rise else None,
        unmoved_pressure=_unmoved_pressure(limits, state, here),
        unmoved_stem=_unmoved_stem(limits, state, here),
        stuck=_stuck(state, here),
    )


def _unmoved_pressure(limits: Limits, state: GuardState, here: Mark) -> Mark | None:
    mark = state.unmoved_pressure
    if state.command.vent_open:
        return None
    if mark is None or abs(here.pressure_pa - mark.pressure_pa) > limits.still_pa.value:
        return here
    return mark


def _unmoved_stem(limits: Limits, state: GuardState, here: Mark) -> Mark | None:
    mark, moved = state.unmoved_stem, travel(state)
    low, high = (share * limits.travel_max_m.value for share in MID_TRAVEL)
    if state.command.vent_open or moved is None or not low < moved < high:
        return None
    still_m = limits.move_share.value * limits.travel_max_m.value
    if mark is None or abs(here.position_m - mark.position_m) > still_m:
        return here
    return mark


def _stuck(state: GuardState, here: Mark) -> Mark:
    """The pressure is kept unfiltered here: one count of change is a sign of life."""
    mark, latest = state.stuck, state.pressure.latest
    if mark is None or latest != mark.pressure_pa:
        return replace(here, pressure_pa=latest)
    return mark
