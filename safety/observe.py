"""One scan's reading worked into the guard's memory. Judges nothing; only believable values get in."""

from dataclasses import replace
from math import isfinite

from safety.limits import Limits, Role
from safety.signals import Contact, Health, Reading, Signal
from safety.state import GuardState, Memory, Mode
from safety.track import Mark, Track

MID_TRAVEL = 0.1, 0.8  # shares of travel_max_m clear of both stops, short travel included


def signal_of(reading: Reading, role: Role) -> Signal | Contact:
    signal: Signal | Contact = getattr(reading, role)
    return signal


def believable(signal: Signal | Contact) -> bool:
    """Live, and every number in it is one."""
    if signal.health is not Health.GOOD or not isfinite(signal.time_s):
        return False
    return isinstance(signal, Contact) or isfinite(signal.value)


def observe(limits: Limits, state: GuardState, reading: Reading) -> GuardState:
    """The state with this reading in it. The reading's time is known to be finite and not before the last."""
    now, memory = reading.time_s, state.memory
    pressure = _seen(memory.pressure, reading.pressure, now)
    position = _seen(memory.position, reading.position, now)
    vented = _vented(limits, state, reading, pressure)
    falling, rising = _progress(limits, state, reading, pressure, now)
    here = Mark(now, pressure.quick, position.quick, state.command.output_pa)
    watched = not (reading.pressure_is_inferred or state.command.vent_open) and position.known
    rest_m = state.rest_position_m
    if state.mode is Mode.RESTING and vented and position.known:
        rest_m = position.slow
    return replace(
        state,
        time_s=now,
        refusals=(),
        limited=(),
        vented=vented,
        vented_at_s=now if vented else state.vented_at_s,
        rest_position_m=rest_m,
        memory=Memory(
            pressure,
            position,
            _lives(limits, memory, reading),
            memory.same_time + 1 if now == state.time_s else 0,
            falling,
            rising,
            _unmoved_pressure(limits, memory.unmoved_pressure, here) if watched else None,
            _unmoved_stem(limits, memory.unmoved_stem, here, rest_m) if watched else None,
            None if reading.pressure_is_inferred else _stuck(memory.stuck, here, pressure.latest),
        ),
    )


def travel(state: GuardState) -> float | None:
    """Distance of the stem from its rest [m], None where one of the two is not known."""
    if state.rest_position_m is None or not state.memory.position.known:
        return None
    return abs(state.memory.position.quick - state.rest_position_m)


def _lives(limits: Limits, memory: Memory, reading: Reading) -> tuple[float, ...]:
    """When each required signal was last good; a time ahead of the scan must not keep a signal young."""
    return tuple(
        min(reading.time_s, signal.time_s)
        if believable(signal := signal_of(reading, expected.role))
        else before
        for expected, before in zip(limits.signals, memory.last_good, strict=True)
    )


def _seen(track: Track, signal: Signal, now: float) -> Track:
    return track.see(signal.value, min(now, signal.time_s)) if believable(signal) else track.unseen()


def _vented(limits: Limits, state: GuardState, reading: Reading, pressure: Track) -> bool:
    """No pressure in the casing, and known to be so: the vent is open and the transmitter reads zero.

    Without a casing transmitter only time can tell. Once vented, noise up to `found_pa` does not end it,
    nor does a signal missing for less than its period.
    """
    if not state.command.vent_open or not pressure.known:
        return False
    if reading.pressure_is_inferred:
        return reading.time_s - state.vent_since_s >= limits.blind_s.value
    if not believable(reading.pressure):
        return state.vented and reading.time_s - pressure.time_s <= limits.pressure_period_s
    return abs(pressure.quick) <= (limits.found_pa if state.vented else limits.gone_pa).value


def _progress(
    limits: Limits, state: GuardState, reading: Reading, pressure: Track, now: float
) -> tuple[Mark | None, Mark | None]:
    """Where a pressure that ought to fall, or to rise, last did so by `fall_step_pa`."""
    if reading.pressure_is_inferred or not pressure.known:
        return None, None
    memory, command, step = state.memory, state.command, limits.fall_step_pa.value
    here = Mark(now, pressure.quick, memory.position.quick, command.output_pa)
    ahead, margin = pressure.quick - command.output_pa, limits.follow_margin_pa.value
    falling: Mark | None = None
    if pressure.quick > limits.gone_pa.value and (command.vent_open or ahead > margin):
        falling = memory.falling
        if falling is None or pressure.quick < falling.pressure_pa - step:
            falling = here
    rising: Mark | None = None
    if not command.vent_open and -ahead > margin:
        rising = memory.rising
        if rising is None or pressure.quick > rising.pressure_pa + step:
            rising = here
    return falling, rising


def _unmoved_pressure(limits: Limits, mark: Mark | None, here: Mark) -> Mark:
    if mark is None or abs(here.pressure_pa - mark.pressure_pa) > limits.still_pa.value:
        return here
    return mark


def _unmoved_stem(limits: Limits, mark: Mark | None, here: Mark, rest_m: float | None) -> Mark | None:
    full = limits.travel_max_m.value
    if rest_m is None or not MID_TRAVEL[0] * full < abs(here.position_m - rest_m) < MID_TRAVEL[1] * full:
        return None
    if mark is None or abs(here.position_m - mark.position_m) > limits.move_share.value * full:
        return here
    return mark


def _stuck(mark: Mark | None, here: Mark, latest_pa: float) -> Mark:
    """The pressure is kept unfiltered here: one count of change is a sign of life."""
    if mark is None or latest_pa != mark.pressure_pa:
        return replace(here, pressure_pa=latest_pa)
    return mark
