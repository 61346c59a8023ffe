"""Hands in the mechanism: nothing may move, venting is not the safe action, only a person ends it."""

from dataclasses import replace
from math import nextafter

import pytest

from safety.guard import decide
from safety.limits import PSI, Limits, Role
from safety.output import frozen
from safety.signals import SAFE_COMMAND, Command, Contact, Health
from safety.state import Mode, PersonEvent
from safety.track import Mark

from .scene import REST_M, TRAVEL_M, Scene, cap, limits

FROZEN = Command(20 * PSI, False, False, True)


def test_with_hands_in_the_outputs_are_frozen_and_the_supply_is_shut() -> None:
    scene = Scene().hands_in()
    scene.keep_asking(5.0, 40.0)
    assert scene.command == FROZEN
    assert scene.state.mode is Mode.HANDS_IN
    scene.wait(60.0)
    assert scene.command == FROZEN
    assert scene.state.trips == ()


def test_a_stand_whose_supply_valve_would_bleed_the_casing_leaves_it_open() -> None:
    scene = Scene(limits(isolate_supply_hands_in=False)).hands_in()
    assert scene.command == replace(FROZEN, supply_open=True)
    scene.wait(1.0)
    assert scene.command == replace(FROZEN, supply_open=True)


@pytest.mark.parametrize("role", [Role.EMERGENCY_STOP, Role.GUARD, Role.WATCHDOG, Role.IDENTITY])
def test_a_trip_with_hands_in_alarms_and_moves_nothing(role: Role) -> None:
    scene = Scene().hands_in()
    scene.open(role)
    scene.scan()
    assert scene.state.mode is Mode.HANDS_IN
    assert len(scene.state.trips) == 1
    assert scene.command == FROZEN


@pytest.mark.parametrize("role", list(Role))
def test_a_signal_lost_with_hands_in_alarms_and_moves_nothing(role: Role) -> None:
    scene = Scene().hands_in()
    scene.health[role] = Health.FAILED
    scene.wait(1.0)
    assert scene.state.mode is Mode.HANDS_IN
    assert scene.codes[0].endswith("signal lost")
    assert scene.command == FROZEN


def test_outputs_ordered_safe_with_hands_in_alarm_and_move_nothing() -> None:
    """Safe means no movement here: a spring let go would close on the hands. Hands out comes first."""
    scene = Scene().hands_in()
    scene.scan(event=PersonEvent.SAFE_NOW)
    assert scene.state.mode is Mode.HANDS_IN
    assert scene.codes == ["ordered safe"]
    assert scene.command == FROZEN


@pytest.mark.parametrize("sense", [1, -1])
def test_movement_beyond_a_hair_alarms(sense: int) -> None:
    scene = Scene().hands_in()
    scene.position_m = REST_M + TRAVEL_M / 2 + sense * 0.0004
    scene.wait(3.0)
    assert scene.state.trips == ()
    scene.position_m = REST_M + TRAVEL_M / 2 + sense * 0.0007
    scene.wait(3.0)
    assert scene.codes == ["movement with hands in"]
    assert scene.command == FROZEN


@pytest.mark.parametrize("sense", [1, -1])
def test_a_held_pressure_that_drifts_alarms_before_the_stem_moves(sense: int) -> None:
    scene = Scene().hands_in()
    scene.position_m = REST_M + TRAVEL_M / 2
    scene.pressure_pa = (20 + sense * 1.2) * PSI
    scene.wait(3.0)
    assert scene.codes == ["held pressure drifting"]
    assert scene.state.mode is Mode.HANDS_IN


@pytest.mark.parametrize(
    "event", [PersonEvent.STOP, PersonEvent.ARM, PersonEvent.CLEAR, PersonEvent.HANDS_IN]
)
def test_nothing_but_hands_out_is_heard(event: PersonEvent) -> None:
    scene = Scene().hands_in()
    scene.scan(event=event)
    assert scene.state.mode is Mode.HANDS_IN
    assert scene.state.refusals == (f"'{event.value}' has no meaning while hands in.",)
    assert scene.command == FROZEN


def test_hands_out_without_a_trip_goes_on_where_it_was() -> None:
    scene = Scene().hands_in()
    scene.wait(100.0)
    scene.ask(20.0, 2.0, PersonEvent.HANDS_OUT)
    assert scene.state.mode is Mode.RAMPING
    assert scene.command == Command(20 * PSI, True, False, True)
    scene.keep_asking(2.0, 22.0, 2.0)
    assert scene.command.output_pa == 22 * PSI


def test_time_with_hands_in_is_no_run_time_and_no_stage_time() -> None:
    scene = Scene().hands_in()
    ran = scene.time_s - scene.state.run.since_s
    scene.wait(100.0)
    scene.ask(20.0, 2.0, PersonEvent.HANDS_OUT)
    assert scene.time_s - scene.state.run.since_s == pytest.approx(ran, abs=0.03)
    assert scene.state.run.stage_since_s == scene.time_s
    assert scene.state.run.unfresh == 0


def test_hands_out_with_a_trip_lowers_slowly_then_vents_and_stays_latched() -> None:
    scene = Scene().hands_in()
    scene.open(Role.GUARD)
    scene.scan()
    scene.fields.clear()
    scene.scan(event=PersonEvent.HANDS_OUT)
    assert scene.state.mode is Mode.VENTING
    began = scene.time_s
    lowered = scene.command.output_pa
    scene.scan()
    assert lowered - scene.command.output_pa == pytest.approx(0.5 * PSI * 0.02)
    while scene.command.output_pa > 0.0:
        scene.scan()
        assert scene.state.mode is Mode.VENTING
    assert scene.time_s - began == pytest.approx(20 / 0.5, abs=0.1)
    scene.wait(2.0)
    assert scene.state.mode is Mode.TRIPPED
    assert scene.state.vented
    assert scene.codes == ["guard open"]
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is Mode.RESTING


def test_once_hands_are_out_a_cause_that_is_still_there_vents_at_once() -> None:
    scene = Scene().hands_in()
    scene.open(Role.EMERGENCY_STOP)
    scene.scan()
    scene.scan(event=PersonEvent.HANDS_OUT)
    assert scene.state.mode is Mode.VENTING
    scene.scan()
    assert scene.state.mode is Mode.TRIPPED
    assert scene.command == SAFE_COMMAND
    assert scene.codes == ["emergency stop"]


def test_outputs_can_be_ordered_safe_again_during_the_slow_return() -> None:
    scene = Scene().hands_in()
    scene.scan(event=PersonEvent.SAFE_NOW)
    scene.scan(event=PersonEvent.HANDS_OUT)
    scene.wait(1.0)
    scene.scan(event=PersonEvent.SAFE_NOW)
    assert scene.state.mode is Mode.TRIPPED
    assert scene.command == SAFE_COMMAND
    assert scene.codes == ["ordered safe"]


def shown(scene: Scene, psi: float, moved_m: float) -> None:
    """The stand shows this from now on, and the filters have followed."""
    scene.pressure_pa, scene.position_m = psi * PSI, REST_M + TRAVEL_M / 2 + moved_m
    scene.wait(6.0)


OPEN = limits(isolate_supply_hands_in=False)


@pytest.mark.parametrize("with_limits", [limits(), OPEN])
def test_air_that_has_gone_with_hands_in_does_not_come_back(with_limits: Limits) -> None:
    """A module that rebooted, a link or a supply that came back: the stem has moved and stays there."""
    scene = Scene(with_limits).hands_in()
    shown(scene, 0.5, -TRAVEL_M / 2)
    assert scene.state.mode is Mode.HANDS_IN
    assert scene.command.output_pa == pytest.approx(0.5 * PSI)
    assert not scene.command.vent_open
    shown(scene, 15.0, 0.0)
    assert scene.command.output_pa == pytest.approx(0.5 * PSI), "nothing raises it but hands out"


@pytest.mark.parametrize(("psi", "moved_m"), [(0.0, 0.0), (20.0, -TRAVEL_M / 2), (25.0, TRAVEL_M / 2)])
def test_one_signal_alone_takes_nothing_back(psi: float, moved_m: float) -> None:
    scene = Scene(OPEN).hands_in()
    shown(scene, psi, moved_m)
    assert scene.command == replace(FROZEN, supply_open=True)


@pytest.mark.parametrize("spoilt", [Role.PRESSURE, Role.POSITION, None])
def test_what_is_not_live_or_not_measured_takes_nothing_back(spoilt: Role | None) -> None:
    scene = Scene(OPEN).hands_in()
    if spoilt is None:
        scene.inferred = True
    else:
        scene.health[spoilt] = Health.OUT_OF_RANGE
    shown(scene, 0.5, -TRAVEL_M / 2)
    assert scene.command == replace(FROZEN, supply_open=True)


@pytest.mark.parametrize("lost", [Role.PRESSURE, Role.POSITION])
def test_a_signal_that_was_lost_half_way_is_no_witness_any_more(lost: Role) -> None:
    """Its filter still holds what it last saw."""
    scene = Scene(OPEN).hands_in()
    first = (0.5, 0.0) if lost is Role.PRESSURE else (20.0, -TRAVEL_M / 2)
    shown(scene, *first)
    scene.health[lost] = Health.FAILED
    shown(scene, 0.5, -TRAVEL_M / 2)
    assert scene.command == replace(FROZEN, supply_open=True)


@pytest.mark.parametrize(
    ("hair", "fallen", "taken_back"),
    [
        (0.25, 512.0, False),
        (0.25, 512.25, False),
        (nextafter(0.25, 1), 512.0, False),
        (nextafter(0.25, 1), 512.25, True),
    ],
)
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_how_far_stem_and_pressure_must_have_gone(
    hair: float, fallen: float, taken_back: bool, sense: float
) -> None:
    scene = Scene(limits(hair_m=cap(0.25), hold_pa=cap(512.0))).hands_in()
    held = Mark(0.0, 1024.0 + fallen, 0.0, 20 * PSI)
    memory = replace(
        scene.state.memory,
        pressure=replace(scene.state.memory.pressure, quick=1024.0, latest=-3.0),
        position=replace(scene.state.memory.position, quick=sense * hair),
    )
    state = replace(scene.state, held=held, memory=memory)
    assert frozen(scene.limits, state, scene.reading()).output_pa == (0.0 if taken_back else 20 * PSI)


def test_above_the_cap_the_supply_is_shut_and_the_vent_stays_shut() -> None:
    """An I/P that is full on: the stem has moved already, and what comes now only presses harder."""
    scene = Scene(OPEN).hands_in()
    shown(scene, 50.0, TRAVEL_M / 2)
    assert scene.command == replace(FROZEN, supply_open=True), "at the cap"
    shown(scene, 50.01, TRAVEL_M / 2)
    assert scene.command == FROZEN
    shown(scene, 30.0, TRAVEL_M / 2)
    assert scene.command == FROZEN, "it does not open again"


def test_above_the_cap_with_a_stem_that_stands_still_the_signal_may_lie() -> None:
    scene = Scene(OPEN).hands_in()
    shown(scene, 60.0, 0.0)
    assert scene.command == replace(FROZEN, supply_open=True)
    assert "pressure above cap" in scene.codes


def test_under_a_trip_hands_out_does_not_let_any_air_back() -> None:
    scene = Scene().hands_in()
    scene.position_m = REST_M + TRAVEL_M / 2
    for k in range(250):
        scene.pressure_pa = (20 - 0.01 * k) * PSI
        scene.scan()
    assert scene.codes == ["held pressure drifting"]
    assert scene.command.output_pa == 20 * PSI, "the stem has not moved"
    measured = scene.state.memory.pressure.quick
    scene.scan(event=PersonEvent.HANDS_OUT)
    assert scene.command.output_pa <= measured


@pytest.mark.parametrize("short_pa", [0.5, 0.0])
def test_under_a_trip_the_output_starts_from_what_is_measured_to_the_pascal(short_pa: float) -> None:
    scene = Scene().hands_in()
    scene.scan(event=PersonEvent.SAFE_NOW)
    measured = 20 * PSI - short_pa
    track = replace(scene.state.memory.pressure, quick=measured, slow=measured, latest=measured)
    state = replace(scene.state, memory=replace(scene.state.memory, pressure=track))
    after = decide(scene.limits, state, scene.reading(), PersonEvent.HANDS_OUT)
    assert after.command.output_pa == measured


def test_air_that_bled_away_behind_a_shut_supply_does_not_come_back_at_once() -> None:
    scene = Scene().hands_in()
    scene.position_m = REST_M + TRAVEL_M / 2
    for k in range(800):
        scene.pressure_pa = (20 - 0.01 * k) * PSI
        scene.scan()
    scene.ask(20.0, 2.0, PersonEvent.HANDS_OUT)
    assert scene.command.output_pa == pytest.approx(12.0 * PSI, abs=0.2 * PSI)


@pytest.mark.parametrize(("behind", "kept"), [(2.9, True), (3.1, False)])
@pytest.mark.parametrize("inferred", [False, True])
def test_a_held_output_is_lowered_only_where_air_is_really_missing(
    behind: float, kept: bool, inferred: bool
) -> None:
    scene = Scene(limits(hold_pa=cap(9 * PSI))).hands_in()
    scene.inferred = inferred
    track = replace(scene.state.memory.pressure, latest=(20 - behind) * PSI, quick=(20 - behind) * PSI)
    scene.pressure_pa = (20 - behind) * PSI
    scene.state = replace(scene.state, memory=replace(scene.state.memory, pressure=track))
    scene.ask(20.0, 0.0, PersonEvent.HANDS_OUT)
    expected = 20 if kept or inferred else 20 - behind
    assert scene.command.output_pa == pytest.approx(expected * PSI)


def test_a_reading_below_zero_does_not_make_the_held_output_negative() -> None:
    scene = Scene().hands_in()
    track = replace(scene.state.memory.pressure, quick=-2.0 * PSI, latest=-2.0 * PSI)
    scene.pressure_pa = -2.0 * PSI
    scene.state = replace(scene.state, memory=replace(scene.state.memory, pressure=track))
    scene.ask(20.0, 0.0, PersonEvent.HANDS_OUT)
    assert scene.command.output_pa == 0.0


# -- getting in ---------------------------------------------------------------------------------------


def refusals(scene: Scene) -> tuple[str, ...]:
    scene.scan(scene.asked and replace(scene.asked, serial=scene.asked.serial + 1), PersonEvent.HANDS_IN)
    assert scene.state.mode is Mode.RAMPING
    return scene.state.refusals


def test_hands_stay_out_while_the_output_is_on_its_way() -> None:
    scene = Scene().holding(20.0)
    scene.keep_asking(0.5, 25.0)
    assert "The output is still on its way: wait until the demand is steady." in refusals(scene)


def test_hands_stay_out_while_the_pressure_is_not_steady() -> None:
    scene = Scene().holding(20.0)
    scene.position_m = REST_M + TRAVEL_M / 2
    for k in range(100):
        scene.pressure_pa = (20 - 0.004 * k) * PSI
        scene.ask(20.0)
    assert refusals(scene) == ("The pressure is not steady yet.",)


@pytest.mark.parametrize(("rate", "steady"), [(0.09, True), (-0.09, True), (0.11, False), (-0.11, False)])
def test_how_steady_the_pressure_must_be(rate: float, steady: bool) -> None:
    scene = Scene().holding(20.0)
    scene.position_m = REST_M + TRAVEL_M / 2
    for k in range(500):
        scene.pressure_pa = (20 + rate * 0.02 * k) * PSI
        scene.ask(20.0)
    scene.ask(20.0, 2.0, PersonEvent.HANDS_IN)
    assert (scene.state.mode is Mode.HANDS_IN) is steady


def test_hands_stay_out_while_the_stem_moves() -> None:
    scene = Scene().holding(20.0)
    for k in range(100):
        scene.pressure_pa = 20 * PSI
        scene.position_m = REST_M + TRAVEL_M / 2 + 0.00002 * k
        scene.ask(20.0)
    assert refusals(scene) == ("The stem is moving.",)


def test_hands_stay_out_while_the_stand_is_venting_between_cycles() -> None:
    scene = Scene().holding(20.0)
    for _ in range(600):
        scene.ask(0.0, 0.0, vent=True)
    assert refusals(scene) == ("The vent is open: nothing is being held.",)


def test_hands_stay_out_before_anything_was_demanded() -> None:
    scene = Scene().armed()
    scene.asked = None
    assert "The output is still on its way: wait until the demand is steady." in refusals(scene)


def test_hands_stay_out_while_a_signal_is_away() -> None:
    scene = Scene().holding(20.0)
    scene.health[Role.SUPPLY] = Health.UNKNOWN
    assert refusals(scene) == ("The supply pressure signal is not live: unknown.",)


def test_a_demand_above_the_highest_output_is_steady_at_the_highest_output() -> None:
    scene = Scene().armed()
    scene.keep_asking(30.0, 50.0, 5.0)
    scene.ask(50.0, 5.0, PersonEvent.HANDS_IN)
    assert scene.state.mode is Mode.HANDS_IN
    assert scene.command.output_pa == 49 * PSI


def test_an_illegal_hands_out_changes_nothing() -> None:
    scene = Scene().holding(20.0)
    scene.ask(20.0, 2.0, PersonEvent.HANDS_OUT)
    assert scene.state.mode is Mode.RAMPING
    assert scene.state.refusals == ("'hands out' has no meaning while ramping.",)


def test_time_that_jumps_with_hands_in_leaves_the_hold_watched() -> None:
    scene = Scene().hands_in()
    scene.position_m = REST_M + TRAVEL_M / 2
    scene.time_s -= 5.0
    scene.scan()
    assert scene.codes == ["time wrong"]
    assert scene.command == FROZEN
    scene.position_m += 0.001
    scene.wait(3.0)
    assert scene.codes == ["time wrong", "movement with hands in"]


def test_valves_are_watched_with_hands_in() -> None:
    scene = Scene().hands_in()
    scene.fields["vent_valve_open"] = Contact(True, Health.GOOD, 0.0)
    scene.wait(1.0)
    assert scene.codes == ["vent valve read-back disagrees"]
    assert scene.command == FROZEN
