"""One scan's reading worked into the guard's memory. Judges nothing; only believable values get in."""

from collections.abc import Callable
from dataclasses import replace
from math import isfinite

from safety.limits import Limits, Role
from safety.signals import Contact, Health, Reading, Signal
from safety.state import GuardState, Memory, Mode
from safety.track import Mark, Track

# Shares of travel_max_m. A stem further off its rest than the second is not back; a connector made meanwhile
# shifts the rest by its slack, which is less.
CLEAR_OF_REST, OFF_REST = 0.1, 0.25


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
    vented = _vented(limits, state, reading, pressure, position)
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
            *_marks(limits, state, reading, pressure, position),
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


def _vented(limits: Limits, state: GuardState, reading: Reading, pressure: Track, position: Track) -> bool:
    """No pressure in the casing, and known to be so: the vent has been open and the transmitter reads zero.

    Without a casing transmitter only time can tell, and a stem that is back; where the transmitter has been
    found wrong it takes both. Once vented, noise up to `found_pa` does not end it, nor does a signal missing
    for less than its period. The filter may lag a pulse of air: what the last two readings show is there.
    """
    blind = reading.pressure_is_inferred or state.pressure_doubted
    needed_s = (limits.blind_s if blind else limits.vent_least_s).value
    waited = reading.time_s - state.valves_since_s >= needed_s
    if not state.command.vent_open or not pressure.known or not waited:
        return False
    if reading.pressure_is_inferred:  # the stem is the only witness
        rest_m = state.rest_position_m
        off_m = 0.0 if rest_m is None else abs(position.quick - rest_m)
        return off_m <= OFF_REST * limits.travel_max_m.value
    if not believable(reading.pressure):
        return state.vented and reading.time_s - pressure.time_s <= limits.pressure_period_s
    if pressure.lowest > limits.found_pa.value:
        return False
    return abs(pressure.quick) <= (limits.found_pa if state.vented else limits.gone_pa).value


def _marks(
    limits: Limits, state: GuardState, reading: Reading, pressure: Track, position: Track
) -> tuple[Mark | None, ...]:
    """What progress is measured from, in the order of `Memory`."""
    before, command, full = state.memory, state.command, limits.travel_max_m.value
    pa, m, step = pressure.quick, position.quick, limits.fall_step_pa.value
    here = Mark(reading.time_s, pa, m, command.output_pa)
    measured = not reading.pressure_is_inferred
    highest = max((output for _, output in state.outputs), default=command.output_pa)
    ahead = pressure.lowest - highest > limits.ahead_pa.value
    ought_to_fall = measured and pa > limits.gone_pa.value and (command.vent_open or ahead)
    behind = command.output_pa - pa > limits.follow_margin_pa.value
    ought_to_rise = measured and not command.vent_open and behind
    watched = measured and not command.vent_open and position.known
    rest_m = m if state.rest_position_m is None else state.rest_position_m
    mid_travel = CLEAR_OF_REST * full < abs(m - rest_m) < limits.jam_to_share.value * full
    unfiltered = replace(here, pressure_pa=pressure.latest)  # one count of change is a sign of life
    # The filter's lag must not look like a rise after the vent has opened.
    level = max(pa, pressure.latest) if command.vent_open else pa
    crest = replace(here, pressure_pa=level)
    return (
        _kept(before.falling, crest, ought_to_fall, lambda mark: level < mark.pressure_pa - step),
        _kept(before.rising, here, ought_to_rise, lambda mark: pa > mark.pressure_pa + step),
        _kept(
            before.unmoved_pressure,
            here,
            watched,
            lambda mark: abs(pa - mark.pressure_pa) > limits.still_pa.value,
        ),
        _kept(
            before.unmoved_stem,
            here,
            watched and mid_travel,
            lambda mark: abs(m - mark.position_m) > limits.move_share.value * full,
        ),
        _kept(before.stuck, unfiltered, measured, lambda mark: pressure.latest != mark.pressure_pa),
    )


def _kept(mark: Mark | None, here: Mark, due: bool, moved_on: Callable[[Mark], bool]) -> Mark | None:
    """None where no progress of this kind is due, `here` where there has just been some."""
    if not due:
        return None
    return here if mark is None or moved_on(mark) else mark
