"""What is kept of a reading: only believable values, filters of known speed, progress marks, rest, vented."""

from dataclasses import replace
from math import inf, isnan, nan, nextafter
from typing import Any

import pytest

from safety.limits import Limits, Role
from safety.observe import OFF_REST, believable, observe, signal_of, travel
from safety.signals import SAFE_COMMAND, Command, Contact, Health, Reading, Signal
from safety.state import DISCREDITING, GuardState, Memory, Mode, Trip
from safety.track import QUICK_S, RECENT, SLOW_S, Mark, Track

from .scene import Scene, cap, limits

SOME = limits(
    gone_pa=cap(256.0),
    found_pa=cap(512.0),
    fall_step_pa=cap(64.0),
    follow_margin_pa=cap(1024.0),
    ahead_pa=cap(1024.0),
    jam_to_share=cap(0.8),
    still_pa=cap(128.0),
    travel_max_m=cap(1.0),
    move_share=cap(0.0625),
    vent_least_s=cap(2.0),
    blind_s=cap(16.0),
    signals=limits().signals[:2],
)
NOW = 100.0
HELD = Command(0.0, True, False, True)
OLD = Mark(90.0, 4096.0, 0.5, 0.0)


def reading(
    pressure: float = 0.0, position: float = 0.0, health: Health = Health.GOOD, inferred: bool = False
) -> Reading:
    return Reading(
        1,
        NOW,
        Signal(pressure, health, NOW),
        Signal(position, Health.GOOD, NOW),
        pressure_is_inferred=inferred,
    )


def state(
    mode: Mode = Mode.RAMPING,
    command: Command = HELD,
    pressure: float = 0.0,
    position: float = 0.0,
    **rest: Any,
) -> GuardState:
    """As it was at NOW; a reading at NOW leaves the filters where they are put here."""
    level = Track(NOW, *[pressure] * 3, recent=(pressure,) * RECENT)
    memory = Memory(level, Track(NOW, *[position] * 3), (NOW, NOW), **rest)
    return GuardState(mode, NOW, 0.0, command=command, memory=memory)


def seen(before: GuardState, now: Reading, some: Limits = SOME) -> GuardState:
    return observe(some, before, now)


# -- believing ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("health", list(Health))
def test_only_what_is_good_is_believed(health: Health) -> None:
    good = health is Health.GOOD
    assert believable(Signal(1.0, health, 0.0)) is good
    assert believable(Contact(False, health, 0.0)) is good


@pytest.mark.parametrize("bad", [nan, inf, -inf])
def test_no_number_is_believed_that_is_none(bad: float) -> None:
    assert not believable(Signal(bad, Health.GOOD, 0.0))
    assert not believable(Signal(0.0, Health.GOOD, bad))
    assert not believable(Contact(True, Health.GOOD, bad))


@pytest.mark.parametrize("role", list(Role))
def test_each_role_finds_its_own_signal(role: Role) -> None:
    full = Scene().reading()
    assert signal_of(full, role) is getattr(full, role.value)


# -- filters ------------------------------------------------------------------------------------------


def test_the_first_value_fills_the_track() -> None:
    track = Track().see(5.0, 2.0)
    assert track == Track(2.0, 5.0, 5.0, 5.0, 0.0, 0.0, (5.0,))
    assert track.known
    assert not Track().known


def test_a_step_passes_the_filters_as_a_first_order_lag_does() -> None:
    track = Track().see(0.0, 0.0)
    for k in range(1, 2001):
        track = track.see(1.0, k * 0.0005)
    assert track.quick == pytest.approx(1.0 - 2.718281828 ** (-1.0 / QUICK_S), abs=2e-3)
    assert track.slow == pytest.approx(1.0 - 2.718281828 ** (-1.0 / SLOW_S), abs=2e-3)


@pytest.mark.parametrize("dt", [0.02, 0.1])
def test_the_rate_of_a_ramp_is_its_slope_at_any_scan_rate(dt: float) -> None:
    track = Track()
    for k in range(round(15.0 / dt)):
        track = track.see(3.0 * k * dt, k * dt)
    assert track.rate == pytest.approx(3.0, rel=1e-3)


def test_the_step_is_between_believable_values_with_the_time_between_them() -> None:
    track = Track().see(1.0, 1.0).see(4.0, 1.5)
    assert (track.step, track.step_s, track.latest, track.time_s) == (3.0, 0.5, 4.0, 1.5)


def test_the_lowest_of_the_last_few_is_known_once_there_are_so_many() -> None:
    track, low = Track(), []
    for k, value in enumerate((5.0, 7.0, 6.0, 9.0, 8.0)):
        track = track.see(value, float(k))
        low.append(track.lowest)
    assert isnan(low[0])
    assert low[1:] == [5.0, 6.0, 6.0, 8.0]
    assert track.see(1.0, 4.0).lowest == 8.0  # a repetition has measured nothing
    assert track.see(1.0, 4.001).lowest == 1.0
    assert RECENT == 2


def test_a_value_repeated_with_its_old_time_changes_nothing_but_the_step() -> None:
    track = Track().see(1.0, 1.0).see(4.0, 1.5)
    again = track.see(4.0, 1.5)
    assert (again.quick, again.slow, again.step, again.step_s) == (track.quick, track.slow, 0.0, 0.0)


def test_time_never_runs_backwards_in_a_filter() -> None:
    track = Track().see(1.0, 1.0).see(4.0, 0.5)
    assert (track.quick, track.step_s) == (1.0, 0.0)


def test_an_unseen_scan_keeps_everything_but_the_step() -> None:
    track = Track().see(1.0, 1.0).see(4.0, 1.5)
    assert track.unseen() == replace(track, step=0.0, step_s=0.0)
    still = track.unseen()
    assert still.unseen() is still


@pytest.mark.parametrize("value", [nan, inf])
def test_what_is_not_believed_gets_into_no_filter(value: float) -> None:
    before = state(pressure=5.0)
    after = seen(before, reading(pressure=value))
    assert after.memory.pressure == before.memory.pressure
    failed = seen(before, reading(pressure=7.0, health=Health.FAILED))
    assert failed.memory.pressure == before.memory.pressure
    assert failed.memory.last_good == (NOW, NOW)


def test_a_signal_from_the_future_does_not_stay_young() -> None:
    later = replace(reading(), pressure=Signal(0.0, Health.GOOD, 1e9))
    after = seen(state(), later)
    assert after.memory.last_good[0] == NOW
    assert after.memory.pressure.time_s == NOW


def test_a_signal_keeps_the_age_that_it_came_with() -> None:
    older = replace(reading(), pressure=Signal(0.0, Health.GOOD, NOW - 0.3))
    assert seen(state(), older).memory.last_good == (NOW - 0.3, NOW)


def test_the_same_time_again_is_counted_and_any_progress_ends_the_count() -> None:
    once = seen(state(), reading())
    twice = seen(once, reading())
    assert (once.memory.same_time, twice.memory.same_time) == (1, 2)
    later = replace(reading(), time_s=NOW + 0.001)
    assert seen(twice, later).memory.same_time == 0


def test_what_was_told_of_the_last_scan_is_gone() -> None:
    after = seen(replace(state(), refusals=("x",), limited=("y",)), reading())
    assert (after.refusals, after.limited, after.time_s) == ((), (), NOW)


# -- vented -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("pressure", "was", "vented"),
    [
        (nextafter(256.0, 0), False, True),
        (256.0, False, True),
        (nextafter(256.0, inf), False, False),
        (nextafter(512.0, 0), True, True),
        (512.0, True, True),
        (nextafter(512.0, inf), True, False),
    ],
)
def test_vented_is_near_zero_either_side_and_does_not_flutter(
    sign: float, pressure: float, was: bool, vented: bool
) -> None:
    before = replace(state(command=SAFE_COMMAND, pressure=sign * pressure), vented=was)
    after = seen(before, reading(sign * pressure))
    assert after.vented is vented
    assert after.vented_at_s == (NOW if vented else -inf)


@pytest.mark.parametrize("was", [False, True])
@pytest.mark.parametrize(
    ("last_two", "vented"),
    [
        ((nextafter(512.0, inf), nextafter(512.0, inf)), False),
        ((512.0, 9e9), True),  # one spike is no air
        ((9e9, 512.0), True),
        ((9e9, 600.0), False),
    ],
)
def test_a_pulse_of_air_that_the_filter_has_not_followed_is_not_gone(
    last_two: tuple[float, float], vented: bool, was: bool
) -> None:
    before = replace(state(command=SAFE_COMMAND), vented=was)
    track = replace(before.memory.pressure, time_s=NOW - 1e-9, recent=last_two[:1])
    before = replace(before, memory=replace(before.memory, pressure=track))
    assert seen(before, reading(last_two[1])).vented is vented


@pytest.mark.parametrize(("opened", "vented"), [(NOW - 2.0, True), (NOW - 1.99, False), (NOW - 2.01, True)])
@pytest.mark.parametrize("was", [False, True])
def test_a_zero_is_believed_only_when_the_vent_has_been_open_for_a_while(
    opened: float, vented: bool, was: bool
) -> None:
    before = replace(state(command=SAFE_COMMAND), valves_since_s=opened, vented=was)
    assert seen(before, reading()).vented is vented


def test_with_the_vent_closed_nothing_is_vented() -> None:
    assert not seen(replace(state(), vented=True), reading()).vented


def test_a_pressure_never_seen_is_not_vented() -> None:
    before = replace(state(command=SAFE_COMMAND), memory=Memory(last_good=(NOW, NOW)), vented=True)
    assert not seen(before, reading(health=Health.FAILED)).vented


@pytest.mark.parametrize(("age", "vented"), [(0.25, True), (0.5, True), (0.75, False)])
@pytest.mark.parametrize("was", [True, False])
def test_a_signal_lost_for_less_than_its_period_does_not_end_vented(
    age: float, vented: bool, was: bool
) -> None:
    before = replace(state(command=SAFE_COMMAND), vented=was)
    before = replace(before, memory=replace(before.memory, pressure=Track(NOW - age, 0.0, 0.0, 0.0)))
    assert seen(before, reading(health=Health.UNKNOWN)).vented is (vented and was)


@pytest.mark.parametrize(
    ("opened", "vented"), [(NOW - 16.0, True), (NOW - 15.99, False), (NOW - 16.01, True)]
)
def test_with_no_casing_transmitter_only_time_tells(opened: float, vented: bool) -> None:
    before = replace(state(command=SAFE_COMMAND, pressure=9000.0), valves_since_s=opened)
    assert seen(before, reading(9000.0, inferred=True)).vented is vented


@pytest.mark.parametrize(
    ("rest", "vented"),
    [(0.0, True), (0.5, True), (-0.0009765625, False), (0.5009765625, False), (None, True)],
)
def test_with_no_casing_transmitter_a_stem_that_is_not_back_speaks_against_it(
    rest: float | None, vented: bool
) -> None:
    assert SOME.travel_max_m.value * OFF_REST == 0.25
    before = replace(state(command=SAFE_COMMAND, position=0.25), valves_since_s=0.0, rest_position_m=rest)
    assert seen(before, reading(position=0.25, inferred=True)).vented is vented
    assert seen(before, reading(position=0.25)).vented, "a transmitter knows better"


@pytest.mark.parametrize(("position", "vented"), [(0.5, True), (0.5009765625, False)])
def test_how_far_off_its_rest_is_a_share_of_the_travel(position: float, vented: bool) -> None:
    before = replace(state(command=SAFE_COMMAND, position=position), valves_since_s=0.0, rest_position_m=0.0)
    some = replace(SOME, travel_max_m=cap(2.0))
    assert seen(before, reading(position=position, inferred=True), some).vented is vented


@pytest.mark.parametrize(
    ("opened", "vented"), [(NOW - 16.0, True), (NOW - 15.99, False), (NOW - 16.01, True)]
)
@pytest.mark.parametrize("code", sorted(DISCREDITING))
def test_a_pressure_signal_found_wrong_says_vented_only_after_the_time_too(
    code: str, opened: float, vented: bool
) -> None:
    trips = Trip("guard open", "", 0.0, 0.0, "", 0.0), Trip(code, "", 0.0, 0.0, "", 0.0)
    before = replace(state(command=SAFE_COMMAND), valves_since_s=opened, trips=trips, vented=True)
    assert seen(before, reading()).vented is vented
    still_there = replace(before, memory=state(pressure=9000.0).memory)
    assert not seen(still_there, reading(9000.0)).vented
    assert seen(replace(before, trips=trips[:1]), reading()).vented


# -- rest ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", list(Mode))
def test_the_rest_position_is_learnt_only_while_resting(mode: Mode) -> None:
    before = state(mode, SAFE_COMMAND, position=0.25)
    after = seen(before, reading(position=0.25))
    assert after.rest_position_m == (0.25 if mode is Mode.RESTING else None)


def test_the_rest_position_is_not_learnt_under_pressure() -> None:
    before = state(Mode.RESTING, SAFE_COMMAND, pressure=9000.0, position=0.25)
    assert seen(before, reading(9000.0, 0.25)).rest_position_m is None


def test_the_rest_position_is_not_learnt_from_a_signal_never_seen() -> None:
    before = replace(state(Mode.RESTING, SAFE_COMMAND), memory=Memory(last_good=(NOW, NOW)))
    blind = replace(reading(), position=Signal(nan, Health.FAILED, NOW))
    assert seen(before, blind).rest_position_m is None


def test_the_rest_position_is_the_slow_one_and_stays_when_the_mode_is_left() -> None:
    track = Track(NOW, 0.9, 0.8, 0.7)
    before = state(Mode.RESTING, SAFE_COMMAND)
    before = replace(before, memory=replace(before.memory, position=track))
    after = seen(before, reading(position=0.9))
    assert after.rest_position_m == 0.7
    assert seen(replace(after, mode=Mode.RAMPING), reading(position=0.1)).rest_position_m == 0.7


def test_travel_counts_from_rest_in_either_sense() -> None:
    def moved(position: float) -> float | None:
        return travel(replace(state(position=position), rest_position_m=0.5))

    assert (moved(0.75), moved(0.25)) == (0.25, 0.25)
    assert travel(state(position=0.75)) is None


# -- progress marks -----------------------------------------------------------------------------------


def marks(before: GuardState, now: Reading) -> Memory:
    return seen(before, now).memory


@pytest.mark.parametrize(
    ("pressure", "vent", "due"),
    [
        (nextafter(1024.0, 0), False, False),
        (1024.0, False, False),
        (nextafter(1024.0, inf), False, True),
        (nextafter(256.0, 0), True, False),
        (256.0, True, False),
        (nextafter(256.0, inf), True, True),
    ],
)
def test_pressure_ought_to_fall_when_it_is_above_the_output_or_the_vent_is_open(
    pressure: float, vent: bool, due: bool
) -> None:
    memory = marks(state(command=replace(HELD, vent_open=vent), pressure=pressure), reading(pressure))
    assert memory.falling == (Mark(NOW, pressure, 0.0, 0.0) if due else None)
    assert memory.rising is None


def test_what_the_output_was_a_moment_ago_may_still_arrive() -> None:
    before = state(pressure=2048.0)
    for outputs, due in (((512.0, 1024.0), False), ((512.0, 1023.0), True), ((1024.0, 0.0), False)):
        now = replace(before, outputs=tuple((NOW, output) for output in outputs))
        assert (marks(now, reading(2048.0)).falling is not None) is due


def test_one_value_alone_is_not_ahead() -> None:
    before = state(pressure=9000.0)
    for recent, due in (((9000.0, 1024.0), False), ((1024.0, 9000.0), False), ((9000.0, 1025.0), True)):
        track = replace(before.memory.pressure, recent=recent)
        now = replace(before, memory=replace(before.memory, pressure=track))
        assert (marks(now, reading(9000.0)).falling is not None) is due


@pytest.mark.parametrize(
    ("pressure", "again"), [(4032.0, False), (nextafter(4032.0, 0), True), (4096.0, False), (9000.0, False)]
)
def test_a_fall_by_one_step_is_progress(pressure: float, again: bool) -> None:
    memory = marks(state(pressure=pressure, falling=OLD), reading(pressure))
    assert memory.falling == (Mark(NOW, pressure, 0.0, 0.0) if again else OLD)


@pytest.mark.parametrize(
    ("output", "vent", "due"),
    [
        (nextafter(1024.0, 0), False, False),
        (1024.0, False, False),
        (nextafter(1024.0, inf), False, True),
        (9000.0, True, False),
    ],
)
def test_pressure_ought_to_rise_when_it_is_below_the_output(output: float, vent: bool, due: bool) -> None:
    memory = marks(state(command=Command(output, True, vent, True)), reading())
    assert memory.rising == (Mark(NOW, 0.0, 0.0, output) if due else None)
    assert memory.falling is None
    inferred = marks(state(command=Command(output, True, vent, True)), reading(inferred=True))
    assert inferred.rising is None


@pytest.mark.parametrize(
    ("pressure", "again"), [(4160.0, False), (nextafter(4160.0, inf), True), (4096.0, False), (10.0, False)]
)
def test_a_rise_by_one_step_is_progress(pressure: float, again: bool) -> None:
    command = Command(9000.0, True, False, True)
    memory = marks(state(command=command, pressure=pressure, rising=OLD), reading(pressure))
    assert memory.rising == (Mark(NOW, pressure, 0.0, 9000.0) if again else OLD)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("change", "again"), [(127.0, False), (128.0, False), (128.001, True)])
def test_the_pressure_has_changed_when_it_left_its_band(sign: int, change: float, again: bool) -> None:
    pressure = 4096.0 + sign * change
    memory = marks(state(pressure=pressure, position=0.5, unmoved_pressure=OLD), reading(pressure, 0.5))
    assert memory.unmoved_pressure == (Mark(NOW, pressure, 0.5, 0.0) if again else OLD)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("moved", "again"), [(0.0624, False), (0.0625, False), (0.0626, True)])
def test_the_stem_has_moved_when_it_left_its_place(sign: int, moved: float, again: bool) -> None:
    position = 0.5 + sign * moved
    before = replace(state(position=position, unmoved_stem=OLD), rest_position_m=0.0)
    memory = marks(before, reading(position=position))
    assert memory.unmoved_stem == (Mark(NOW, 0.0, position, 0.0) if again else OLD)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("moved", "watched"),
    [
        (0.1, False),
        (nextafter(0.1, 1), True),
        (nextafter(0.8, 0), True),
        (0.8, False),
        (0.0, False),
        (1.0, False),
    ],
)
def test_a_jam_is_looked_for_between_the_stops_only(sign: int, moved: float, watched: bool) -> None:
    before = replace(state(position=sign * moved), rest_position_m=0.0)
    assert (marks(before, reading(position=sign * moved)).unmoved_stem is not None) is watched


def test_without_a_rest_position_no_jam_is_looked_for() -> None:
    assert marks(state(position=0.5), reading(position=0.5)).unmoved_stem is None


def test_one_count_of_pressure_is_a_sign_of_life() -> None:
    first = marks(state(), reading(5.0)).stuck
    assert first == Mark(NOW, 5.0, 0.0, 0.0)
    kept = marks(state(stuck=OLD), reading(4096.0)).stuck
    assert kept == OLD
    moved = marks(state(stuck=OLD), reading(nextafter(4096.0, 0))).stuck
    assert moved == Mark(NOW, nextafter(4096.0, 0), 0.0, 0.0)


@pytest.mark.parametrize("inferred", [True, False])
@pytest.mark.parametrize("vent", [True, False])
def test_marks_exist_only_where_they_mean_something(inferred: bool, vent: bool) -> None:
    before = replace(
        state(
            command=Command(0.0, True, vent, True), pressure=9000.0, position=0.5, falling=OLD, rising=OLD,
            unmoved_pressure=OLD, unmoved_stem=OLD, stuck=OLD,
        ),
        rest_position_m=0.0,
    )  # fmt: skip
    memory = marks(before, reading(9000.0, 0.5, inferred=inferred))
    assert (memory.falling is None) is inferred
    assert memory.rising is None
    assert (memory.unmoved_pressure is None) is (inferred or vent)
    assert (memory.unmoved_stem is None) is (inferred or vent)
    assert (memory.stuck is None) is inferred


def test_signals_never_seen_leave_no_marks() -> None:
    before = replace(state(), memory=Memory(last_good=(NOW, NOW)))
    blind = replace(reading(health=Health.FAILED), position=Signal(nan, Health.FAILED, NOW))
    memory = marks(before, blind)
    assert (memory.falling, memory.rising, memory.unmoved_pressure) == (None, None, None)
    assert isnan(memory.pressure.latest)
    unseen_stem = replace(reading(5.0), position=Signal(nan, Health.FAILED, NOW))
    assert marks(before, unseen_stem).unmoved_pressure is None
