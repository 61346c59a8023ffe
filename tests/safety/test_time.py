"""Time that jumps, stands still, runs out or is none at all."""

from dataclasses import replace
from math import inf, nan

import pytest

from safety.guard import start, step
from safety.signals import SAFE_COMMAND
from safety.state import Mode, PersonEvent

from .scene import Scene, cap, limits


@pytest.mark.parametrize("mode", list(Mode))
@pytest.mark.parametrize("bad", [-1.0, nan, inf, -inf])
def test_time_that_runs_backwards_or_is_no_number_trips_in_every_mode(mode: Mode, bad: float) -> None:
    scene = Scene().enter(mode)
    before = scene.state
    wrong = replace(scene.reading(), time_s=scene.time_s + bad)
    after, command = step(scene.limits, before, wrong, scene.asked)
    assert "time wrong" in [trip.code for trip in after.trips]
    assert after.mode is {Mode.HANDS_IN: mode, Mode.ESCALATED: mode}.get(mode, Mode.TRIPPED)
    assert command.output_pa == (before.command.output_pa if mode is Mode.HANDS_IN else 0.0)
    assert after.time_s == (wrong.time_s if bad == -1.0 else before.time_s)


def test_after_time_ran_backwards_everything_is_measured_anew() -> None:
    scene = Scene().holding(20.0)
    scene.time_s -= 5.0
    scene.ask(20.0)
    state = scene.state
    assert state.time_s == scene.time_s
    assert state.entered_s <= state.time_s
    assert state.valves_since_s <= state.time_s
    assert state.run.since_s <= state.time_s
    assert state.run.stage_since_s <= state.time_s
    assert state.vented_at_s <= state.time_s
    assert all(when <= state.time_s for when in state.memory.last_good)
    assert not state.memory.pressure.known
    assert state.outputs == ((state.time_s, 0.0),)
    assert not state.vented
    scene.pressure_pa = 0.0
    scene.wait(3.0)
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is Mode.RESTING


@pytest.mark.parametrize(("gap", "trips"), [(0.9, False), (1.0, False), (1.1, True)])
@pytest.mark.parametrize("mode", [mode for mode in Mode if mode is not Mode.RESTING])
def test_a_gap_between_readings_trips_in_every_mode_but_at_rest(mode: Mode, gap: float, trips: bool) -> None:
    scene = Scene().enter(mode)
    scene.time_s = round(scene.time_s)  # whole seconds, so that the gap is exact
    scene.state = replace(scene.state, time_s=scene.time_s)
    scene.dt = gap
    scene.ask(20.0)
    assert ("scan gap" in scene.codes) is trips
    if trips:
        trip = next(trip for trip in scene.state.trips if trip.code == "scan gap")
        assert (trip.value, trip.limit, trip.unit) == (pytest.approx(gap), 1.0, "s")


def test_at_rest_the_machine_may_sleep() -> None:
    scene = Scene().resting()
    scene.dt = 3600.0
    scene.scan()
    assert scene.state.mode is Mode.RESTING


@pytest.mark.parametrize("mode", list(Mode))
def test_a_clock_that_stands_still_trips_where_it_could_hide_something(mode: Mode) -> None:
    scene = Scene().enter(mode)
    scene.dt = 0.0
    for k in range(1, 6):
        scene.ask(20.0)
        assert "time stands still" not in scene.codes, k
    scene.ask(20.0)
    assert ("time stands still" in scene.codes) is (mode is not Mode.ESCALATED)


def test_a_stage_that_takes_too_long_trips_and_a_new_stage_starts_anew() -> None:
    scene = Scene(limits(stage_max_s=cap(5.0)))
    scene.armed()
    for stage in ("rise", "hold", "return"):
        scene.keep_asking(4.9, 2.0, 2.0, stage=stage)
    for cycle in (1, 2):
        scene.keep_asking(4.9, 2.0, 2.0, stage="return", cycle=cycle)
    assert scene.state.trips == ()
    scene.keep_asking(0.5, 2.0, 2.0, stage="return", cycle=2)
    assert scene.codes == ["stage too long"]


def test_a_run_that_takes_too_long_trips_whatever_its_stages() -> None:
    scene = Scene(limits(run_max_s=cap(5.0))).armed()
    for k in range(10):
        scene.keep_asking(0.49, 2.0, 2.0, stage=str(k))
    assert scene.state.trips == ()
    scene.keep_asking(0.5, 2.0, 2.0, stage="last")
    assert scene.codes == ["run too long"]


@pytest.mark.parametrize("bad", [nan, inf, -inf])
def test_the_guard_does_not_start_at_no_time(bad: float) -> None:
    with pytest.raises(ValueError, match="cannot start at"):
        start(limits(), bad)


def test_the_guard_starts_at_rest_with_safe_outputs() -> None:
    state = start(limits(), 7.0)
    assert (state.mode, state.time_s, state.entered_s, state.valves_since_s) == (Mode.RESTING, 7.0, 7.0, 7.0)
    assert state.command == SAFE_COMMAND
    assert state.memory.last_good == (7.0,) * len(limits().signals)
    assert state.first_cause is None
    assert not state.vented
