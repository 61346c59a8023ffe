"""Corners of the guard that no story comes past by itself: exact values, first scans, times to be reset."""

from dataclasses import replace
from math import nan

import pytest

from safety import checks
from safety.guard import decide, judge, permit, start
from safety.limits import PSI, Role
from safety.observe import observe
from safety.permissives import against_arming, against_hands_in
from safety.signals import NO_CONTACT, NO_SIGNAL, SAFE_COMMAND, Command, Health, Signal
from safety.state import GuardState, Memory, Mode, PersonEvent, Run, Trip
from safety.track import Mark, Track

from .scene import REST_M, TRAVEL_M, Scene, cap, limits

# -- what a state says that nobody filled in ----------------------------------------------------------


def test_nothing_was_asked_and_nothing_was_seen_at_the_start() -> None:
    assert Run() == Run(since_s=0.0, demand=None, unfresh=0, stage_since_s=0.0)
    assert GuardState(Mode.RESTING, 5.0, 5.0).valves_since_s == 0.0
    assert GuardState(Mode.RESTING, 5.0, 5.0).astray == 0.0
    assert (NO_SIGNAL.time_s, NO_CONTACT.time_s) == (0.0, 0.0)


def test_limits_changed_under_way_do_not_go_unseen() -> None:
    """The ages are kept in the order of the limits' signals: another set of signals is not the same guard."""
    scene = Scene().resting()
    fewer = limits(signals=limits().signals[:3])
    with pytest.raises(ValueError, match="zip"):
        observe(fewer, scene.state, scene.reading())
    with pytest.raises(ValueError, match="zip"):
        list(checks.signals_lost(fewer, scene.state, scene.reading()))


# -- time ---------------------------------------------------------------------------------------------

LATER = Mark(400.0, 1.0, 2.0, 3.0)


def ahead_of_time() -> GuardState:
    """Hands in since 300 s, everything known, everything later than the reading that is about to come."""
    memory = Memory(Track(400.0, 5.0, 5.0, 5.0), Track(400.0, 1.0, 1.0, 1.0), (400.0,) * len(Role), 3, LATER)
    return GuardState(
        Mode.HANDS_IN, 400.0, 300.0, trips=(Trip("x", "X.", 1.0, 2.0, "m", 350.0),), refusals=("a",),
        limited=("b",), command=Command(9.0, False, False, True), vented=True, vented_at_s=250.0,
        valves_since_s=200.0, outputs=((399.0, 9.0),), since=(("y", 390.0),), memory=memory,
        run=Run(150.0, None, 2, 160.0), held=LATER,
    )  # fmt: skip


def test_time_that_ran_backwards_leaves_nothing_in_the_future() -> None:
    before, now = ahead_of_time(), 100.0
    after = judge(limits(), before, replace(Scene().reading(), time_s=now))
    assert after.mode is Mode.HANDS_IN
    assert (after.entered_s, after.valves_since_s, after.vented_at_s) == (now, now, now)
    assert after.run == Run(now, None, 2, now)
    assert after.memory == Memory(last_good=(now,) * len(Role))
    assert (after.vented, after.outputs, after.since) == (False, (), ())
    assert (after.refusals, after.limited) == ((), ())
    assert (after.held, after.command) == (before.held, before.command)
    wrong = after.trips[-1]
    assert (wrong.code, wrong.value, wrong.limit, wrong.unit) == ("time wrong", now - 400.0, 0.0, "s")


def test_time_that_ran_back_a_little_keeps_what_lies_before_it() -> None:
    before = ahead_of_time()
    after = judge(limits(), before, replace(Scene().reading(), time_s=380.0))
    assert (after.entered_s, after.valves_since_s, after.vented_at_s) == (300.0, 200.0, 250.0)
    assert after.run == before.run
    assert after.memory.last_good == (380.0,) * len(Role)


def test_a_time_that_is_no_number_counts_as_no_time_passed() -> None:
    after = judge(limits(), ahead_of_time(), replace(Scene().reading(), time_s=nan))
    assert after.time_s == 400.0
    assert (after.trips[-1].value, after.trips[-1].limit) == (0.0, 0.0)


# -- the output ---------------------------------------------------------------------------------------


def test_a_refused_demand_stops_a_walk_that_is_under_way() -> None:
    scene = Scene().armed()
    scene.keep_asking(2.0, 20.0, 2.0)
    before = scene.command.output_pa
    scene.ask(60.0, 2.0)
    assert 0.0 < scene.command.output_pa == before < 20 * PSI


def test_a_hold_with_a_signal_away_holds_nothing_back() -> None:
    scene = Scene().holding(20.0)
    scene.health[Role.SUPPLY] = Health.UNKNOWN
    assert scene.ask(20.0).limited == ()


def walking_down(output_pa: float, outputs: tuple[tuple[float, float], ...]) -> tuple[GuardState, Command]:
    state = GuardState(
        Mode.VENTING, 10.0, 0.0, command=Command(output_pa, True, False, True), outputs=outputs
    )
    return permit(limits(), state, Scene().reading(), None)


def test_where_it_is_not_known_how_long_ago_the_output_was_written_it_stays() -> None:
    assert walking_down(5000.0, ())[1] == Command(5000.0, True, False, True)


def test_the_vent_opens_only_when_the_output_is_all_the_way_down() -> None:
    state, command = walking_down(0.5, ((9.0, 0.5),))
    assert command == Command(0.0, True, False, True)
    assert permit(limits(), state, Scene().reading(), None)[1] == SAFE_COMMAND


@pytest.mark.parametrize("turn", [True, False])
def test_progress_is_measured_anew_when_the_vent_turns_and_only_then(turn: bool) -> None:
    memory = Memory(last_good=(10.0,) * len(Role), falling=LATER, rising=LATER)
    vent_open = not turn
    state = GuardState(Mode.TRIPPED, 10.0, 0.0, command=Command(0.0, False, vent_open, True), memory=memory)
    state, _ = permit(limits(), state, Scene().reading(), None)
    assert (state.memory.falling, state.memory.rising) == ((None, None) if turn else (LATER, LATER))


def test_the_valves_are_as_they_are_since_one_of_them_turned() -> None:
    scene = Scene().holding(20.0)
    opened = scene.state.valves_since_s
    assert opened < scene.time_s
    scene.ask(0.0, 0.0, vent=True)
    assert scene.state.valves_since_s == (began := scene.time_s)
    scene.ask(0.0, 0.0, vent=True)
    assert scene.state.valves_since_s == began
    scene.ask(5.0)
    assert not scene.command.vent_open
    assert scene.state.valves_since_s == (began := scene.time_s)
    scene.keep_asking(6.0, 5.0)
    scene.ask(5.0, event=PersonEvent.HANDS_IN)
    assert scene.state.mode is Mode.HANDS_IN
    assert (scene.command.supply_open, scene.command.vent_open) == (False, False)
    assert scene.state.valves_since_s == scene.time_s > began
    scene.wait(1.0)
    scene.ask(0.0, 0.0, PersonEvent.HANDS_OUT, vent=True)  # the vent opens, the supply stays shut
    assert (scene.command.supply_open, scene.command.vent_open) == (False, True)
    assert scene.state.valves_since_s == scene.time_s


# -- a person -----------------------------------------------------------------------------------------


def test_an_order_is_recorded_as_an_order() -> None:
    scene = Scene().resting()
    trip = scene.scan(event=PersonEvent.SAFE_NOW).trips[0]
    assert (trip.value, trip.limit, trip.unit) == (1.0, 0.0, "order")


def held(output_pa: float, pressure_pa: float) -> float:
    """Output after hands out, with that much held and that much measured."""
    scene = Scene(limits(follow_margin_pa=cap(1024.0))).hands_in()
    track = replace(scene.state.memory.pressure, latest=pressure_pa, quick=pressure_pa)
    command = replace(scene.command, output_pa=output_pa)
    state = replace(scene.state, command=command, memory=replace(scene.state.memory, pressure=track))
    return decide(scene.limits, state, scene.reading(), PersonEvent.HANDS_OUT).command.output_pa


@pytest.mark.parametrize(("missing", "lowered"), [(1023.0, False), (1024.0, False), (1025.0, True)])
def test_how_much_air_must_be_missing_before_the_held_output_is_lowered(
    missing: float, lowered: bool
) -> None:
    assert held(8192.0, 8192.0 - missing) == (8192.0 - missing if lowered else 8192.0)


def test_the_held_output_is_lowered_to_nothing_where_the_reading_is_below_zero() -> None:
    assert held(8192.0, -500.0) == 0.0


def test_hands_out_gives_the_procedure_its_whole_time_to_speak_again() -> None:
    scene = Scene().holding(20.0)
    scene.wait(0.4)
    assert scene.asked is not None
    scene.ask(20.0, 5.0, PersonEvent.HANDS_IN)
    scene.state = replace(scene.state, run=replace(scene.state.run, unfresh=20))
    scene.scan(event=PersonEvent.HANDS_OUT)
    assert scene.state.run.unfresh == 1
    scene.wait(0.4)
    assert scene.state.mode is Mode.RAMPING


def test_after_clearing_the_readings_must_settle_again_before_arming() -> None:
    scene = Scene().tripped()
    scene.let_go()
    scene.wait(5.0)
    scene.scan(event=PersonEvent.CLEAR)
    scene.scan(event=PersonEvent.ARM)
    assert "The readings have not settled yet: wait 1 s at rest." in scene.state.refusals


def test_settling_is_asked_of_a_stand_at_rest_only() -> None:
    scene = Scene().tripped()
    reasons = against_arming(scene.limits, scene.state, scene.reading())
    assert not any("settled" in reason for reason in reasons)


@pytest.mark.parametrize(("quick", "steady"), [(767.0, True), (768.0, True), (769.0, False)])
def test_a_rate_at_the_limit_is_still_steady(quick: float, steady: bool) -> None:
    scene = Scene(limits(fall_step_pa=cap(1024.0))).holding(20.0)
    scene.position_m = REST_M + TRAVEL_M / 2
    track = replace(scene.state.memory.pressure, quick=quick, slow=0.0)
    state = replace(scene.state, memory=replace(scene.state.memory, pressure=track))
    reasons = against_hands_in(scene.limits, state, scene.reading())
    assert ("The pressure is not steady yet." not in reasons) is steady


# -- what is told -------------------------------------------------------------------------------------


def test_a_pressure_that_does_not_fall_names_what_could_hold_it() -> None:
    scene = Scene().holding(20.0)
    base = replace(scene.state, memory=replace(scene.state.memory, falling=Mark(0.0, 20 * PSI, 0.0, 0.0)))
    vented = replace(base, command=SAFE_COMMAND)
    found = [next(checks.pressure_ahead(scene.limits, s, scene.reading())) for s in (base, vented)]
    texts = [finding.text for finding in found]
    assert "the I/P stuck" in texts[0]
    assert "vent" not in texts[0]
    assert "the vent stuck or blocked" in texts[1]


def test_a_clock_that_stands_still_and_a_run_too_long_hold_their_numbers() -> None:
    scene = Scene().holding(20.0)
    state = replace(scene.state, time_s=9000.0, run=Run(since_s=1000.0, stage_since_s=8000.0))
    still = replace(state, memory=replace(state.memory, same_time=6))
    (clock,) = checks.clock(scene.limits, still, scene.reading())
    assert (clock.value, clock.limit) == (6, 0.0)
    stage, run = checks.too_long(scene.limits, state, scene.reading())
    assert (stage.value, stage.limit) == (1000.0, 900.0)
    assert (run.value, run.limit) == (8000.0, 7200.0)


@pytest.mark.parametrize(("step", "jumps"), [(0.5, True), (-0.5, False)])
def test_with_the_vent_open_a_rise_counts_and_a_fall_by_less_than_half_does_not(
    step: float, jumps: bool
) -> None:
    some = limits(jump_pa=cap(0.25), jump_rate_pa_per_s=cap(0.0))
    memory = Memory(pressure=Track(1.0, 1.0, 1.0, 1.0, step), position=Track(1.0, 0.0, 0.0, 0.0))
    state = GuardState(Mode.RAMPING, 1.0, 0.0, memory=memory)
    codes = [finding.code for finding in checks.pressure_jumps(some, state, Scene().reading())]
    assert codes == (["pressure jumped"] if jumps else [])


def test_an_inferred_pressure_never_seen_is_not_vented_whatever_time_has_passed() -> None:
    unseen = replace(
        Scene().reading(), time_s=1e4, pressure=Signal(nan, Health.FAILED, 1e4), pressure_is_inferred=True
    )
    state = observe(limits(), start(limits(), 0.0), unseen)
    assert state.vented is False
