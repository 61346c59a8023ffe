"""Stops, trips and what comes after: the pressure must really go, and if it does not the guard says so."""

from dataclasses import replace
from itertools import pairwise
from math import inf

import pytest

from safety.guard import decide, judge, step
from safety.limits import PSI, Role
from safety.signals import SAFE_COMMAND, Command, Health
from safety.state import GAUGE, GuardEvent, Mode, PersonEvent
from safety.venting import BY_HAND, after_trip, at_rest, by_hand, while_venting

from .scene import REST_M, Scene, cap, limits

NO_FEED = replace(SAFE_COMMAND, feed_watchdog=False)
FAST = limits(gone_within_s=cap(20.0))


def let_go(scene: Scene, seconds: float, time_constant_s: float = 1.0) -> None:
    """The casing empties through the vent."""
    assert scene.pressure_pa is not None
    for _ in range(round(seconds / scene.dt)):
        scene.pressure_pa *= 1.0 - scene.dt / time_constant_s
        scene.scan()


# -- orderly stop -------------------------------------------------------------------------------------


def test_an_orderly_stop_walks_down_then_vents_then_rests() -> None:
    scene = Scene().holding(20.0)
    outputs = []
    scene.scan(event=PersonEvent.STOP)
    while scene.command.output_pa > 0.0:
        assert scene.command.supply_open
        assert not scene.command.vent_open
        assert scene.command.feed_watchdog
        outputs.append(scene.command.output_pa)
        scene.scan()
    steps = [a - b for a, b in pairwise(outputs)]
    assert max(steps) == pytest.approx(4 * PSI * 0.02)
    assert min(steps) == pytest.approx(4 * PSI * 0.02)
    assert len(outputs) == pytest.approx(20 / 4 / 0.02, abs=1)
    scene.scan()
    assert scene.command == SAFE_COMMAND
    scene.scan()
    assert scene.state.mode is Mode.VENTING  # the quick filter still has to see it
    scene.wait(1.0)
    assert scene.state.mode is Mode.RESTING
    assert scene.state.trips == ()


def test_a_late_scan_does_not_make_the_stop_leap() -> None:
    scene = Scene().venting()
    before = scene.command.output_pa
    scene.dt = 0.9
    scene.scan()
    assert before - scene.command.output_pa == pytest.approx(PSI)


def test_an_orderly_stop_that_does_not_vent_trips() -> None:
    scene = Scene(FAST).venting()
    scene.pressure_pa = 20 * PSI
    scene.wait(10.5)
    assert scene.codes[0] == "pressure not falling"


@pytest.mark.parametrize(
    ("opened", "entered", "now", "trips"),
    [
        (0.0, 0.0, 20.0, False),
        (0.0, 0.0, 20.001, True),
        (10.0, 0.0, 20.001, False),
        (0.0, 10.0, 20.001, False),
        (0.0, 10.0, 30.001, True),
    ],
)
def test_venting_has_a_time_to_be_done_in(opened: float, entered: float, now: float, trips: bool) -> None:
    state = replace(
        Scene(FAST).venting().state,
        valves_since_s=opened, entered_s=entered, time_s=now, command=SAFE_COMMAND, vented=False,
    )  # fmt: skip
    outcome = while_venting(FAST, state)
    if not trips:
        assert outcome is None
        return
    assert outcome is not None
    event, finding = outcome
    assert event is GuardEvent.TRIP
    assert finding is not None
    assert (finding.code, finding.limit, finding.unit) == ("pressure not gone", 20.0, "s")
    assert finding.value == pytest.approx(now - max(opened, entered))
    assert finding.patience_s == 0.0


def test_an_orderly_stop_that_vents_too_slowly_trips() -> None:
    scene = Scene(FAST).venting()
    scene.pressure_pa = 20 * PSI
    while not scene.state.trips:
        scene.pressure_pa -= 0.4 * PSI * scene.dt
        scene.scan()
    assert scene.codes == ["pressure not gone"]
    assert scene.state.mode is Mode.TRIPPED
    assert scene.time_s - scene.state.valves_since_s == pytest.approx(20.0, abs=0.05)


def test_while_the_output_still_walks_down_no_time_runs() -> None:
    state = replace(Scene(FAST).venting().state, valves_since_s=0.0, entered_s=0.0, time_s=1e6)
    assert while_venting(FAST, state) is None


def test_a_signal_that_fails_while_venting_trips_and_ends_escalated() -> None:
    scene = Scene(FAST).venting()
    scene.health[Role.PRESSURE] = Health.FAILED
    scene.wait(1.0)
    assert scene.state.mode is Mode.TRIPPED
    scene.wait(20.0)
    assert scene.state.mode is Mode.ESCALATED
    assert scene.codes == ["casing pressure signal lost", "escalated: not gone"]
    assert "cannot be confirmed" in scene.state.trips[1].text


# -- after a trip -------------------------------------------------------------------------------------


def test_a_trip_that_vents_stays_tripped_and_vented() -> None:
    scene = Scene(FAST).tripped()
    let_go(scene, 8.0)
    assert scene.state.mode is Mode.TRIPPED
    assert scene.state.vented
    assert scene.command == SAFE_COMMAND
    assert by_hand(scene.state) == ()
    scene.wait(40.0)
    assert scene.state.mode is Mode.TRIPPED
    assert scene.codes == ["ordered safe"]


def test_pressure_that_does_not_fall_after_a_trip_escalates() -> None:
    scene = Scene().tripped()
    scene.wait(4.9)
    assert scene.state.mode is Mode.TRIPPED
    scene.wait(0.3)
    assert scene.state.mode is Mode.ESCALATED
    assert scene.command == NO_FEED
    assert scene.codes == ["ordered safe", "escalated: not falling"]
    trip = scene.state.trips[1]
    assert (trip.limit, trip.unit) == (5.0, "s")
    assert trip.value == pytest.approx(5.0, abs=0.05)
    assert by_hand(scene.state) == BY_HAND


def test_pressure_that_rises_after_a_trip_escalates_sooner() -> None:
    scene = Scene().tripped()
    for _ in range(100):
        assert scene.pressure_pa is not None
        scene.pressure_pa += 2 * PSI * scene.dt
        scene.scan()
        if scene.state.mode is Mode.ESCALATED:
            break
    assert scene.codes == ["ordered safe", "escalated: rising"]
    assert scene.state.trips[1].value > scene.state.trips[1].limit == 1.5 * PSI
    assert scene.state.time_s - scene.state.trips[0].time_s < 1.5


def test_pressure_that_falls_too_slowly_escalates_in_the_end() -> None:
    scene = Scene(FAST).tripped()
    for _ in range(1100):
        assert scene.pressure_pa is not None
        scene.pressure_pa -= 0.5 * PSI * scene.dt
        scene.scan()
    assert scene.codes == ["ordered safe", "escalated: not gone"]
    assert scene.state.trips[1].text == "The pressure is not known to be gone in the time it may take."
    assert scene.command == NO_FEED


@pytest.mark.parametrize(
    ("entered", "vented_at", "now", "escalates"),
    [
        (0.0, -inf, 20.0, False),
        (0.0, -inf, 20.001, True),
        (0.0, 10.0, 20.001, False),
        (0.0, 10.0, 30.001, True),
        (15.0, 10.0, 30.001, False),
    ],
)
def test_the_time_to_be_gone_counts_from_the_trip_or_from_when_it_last_was_gone(
    entered: float, vented_at: float, now: float, escalates: bool
) -> None:
    scene = Scene(FAST).tripped()
    state = replace(scene.state, entered_s=entered, vented_at_s=vented_at, time_s=now, vented=False)
    state = replace(state, memory=replace(state.memory, falling=None))
    outcome = after_trip(FAST, state, scene.reading())
    assert (outcome is not None) is escalates
    if outcome is not None:
        event, finding = outcome
        assert event is GuardEvent.NOT_VENTING
        assert finding is not None
        assert (finding.limit, finding.unit, finding.code) == (20.0, "s", "escalated: not gone")
        assert finding.value == pytest.approx(now - max(entered, vented_at))


@pytest.mark.parametrize(("waited", "escalates"), [(4.999, False), (5.0, False), (5.001, True)])
def test_falling_within_one_time(waited: float, escalates: bool) -> None:
    scene = Scene().tripped()
    scene.scan()
    mark = scene.state.memory.falling
    assert mark is not None
    zero = replace(scene.state.memory, falling=replace(mark, time_s=0.0))
    state = replace(scene.state, memory=zero, time_s=waited, entered_s=0.0)
    assert (after_trip(scene.limits, state, scene.reading()) is not None) is escalates


@pytest.mark.parametrize(("rise", "escalates"), [(1023.0, False), (1024.0, False), (1025.0, True)])
def test_rising_by_more_than_a_little(rise: float, escalates: bool) -> None:
    scene = Scene().tripped()
    scene.scan()
    memory, some = scene.state.memory, replace(scene.limits, rise_pa=cap(1024.0))
    assert memory.falling is not None
    mark = replace(memory.falling, pressure_pa=memory.pressure.quick - rise)
    state = replace(scene.state, memory=replace(memory, falling=replace(mark, pressure_pa=4096.0)))
    track = replace(memory.pressure, quick=4096.0 + rise)
    state = replace(state, memory=replace(state.memory, pressure=track))
    assert (after_trip(some, state, scene.reading()) is not None) is escalates


def test_a_pressure_that_cannot_be_read_is_not_judged_by_its_fall() -> None:
    scene = Scene().tripped()
    scene.scan()
    state = replace(scene.state, time_s=scene.time_s + 10.0)
    assert after_trip(scene.limits, state, scene.reading()) is not None
    scene.health[Role.PRESSURE] = Health.UNKNOWN
    assert after_trip(scene.limits, state, scene.reading()) is None


def test_one_lost_answer_long_after_a_vented_trip_does_not_escalate() -> None:
    scene = Scene(FAST).tripped()
    let_go(scene, 10.0)
    scene.wait(30.0)
    scene.health[Role.PRESSURE] = Health.UNKNOWN
    scene.wait(0.4)
    assert scene.state.vented
    scene.wait(1.0)
    assert not scene.state.vented
    assert scene.state.mode is Mode.TRIPPED
    scene.wait(20.0)
    assert scene.state.mode is Mode.ESCALATED


def test_an_escalated_stand_that_vents_after_all_asks_for_nothing_more_by_hand() -> None:
    scene = Scene().escalated()
    assert scene.command == NO_FEED
    let_go(scene, 10.0)
    assert scene.state.mode is Mode.ESCALATED
    assert scene.state.vented
    assert scene.command == NO_FEED
    assert by_hand(scene.state) == ()


def test_what_to_do_by_hand_is_told_only_where_the_guard_has_come_to_its_end() -> None:
    for mode in Mode:
        told = by_hand(Scene().enter(mode).state)
        assert told == (BY_HAND if mode is Mode.ESCALATED else ())
    assert "emergency stop" in " ".join(BY_HAND)


def test_without_a_casing_transmitter_a_trip_is_taken_as_vented_after_its_time() -> None:
    some = limits(blind_s=cap(2.0))
    scene = Scene(some, inferred=True).armed()
    scene.keep_asking(5.0, 20.0, 2.0)
    scene.scan(event=PersonEvent.SAFE_NOW)
    scene.wait(1.9)
    assert not scene.state.vented
    scene.wait(0.2)
    assert scene.state.vented
    assert scene.state.mode is Mode.TRIPPED


# -- pressure at rest ---------------------------------------------------------------------------------


def test_pressure_found_at_the_start_is_vented_in_order() -> None:
    """After an unclean end: the guard starts at rest, and there is air in the casing."""
    scene = Scene()
    scene.pressure_pa = 20 * PSI
    scene.scan()
    assert scene.state.mode is Mode.VENTING
    assert scene.command == SAFE_COMMAND
    let_go(scene, 8.0)
    assert scene.state.mode is Mode.RESTING
    assert scene.state.trips == ()


def test_pressure_found_at_rest_that_does_not_go_trips_and_escalates() -> None:
    scene = Scene()
    scene.pressure_pa = 5 * PSI
    scene.wait(6.0)
    assert scene.state.mode is Mode.TRIPPED
    assert scene.codes == ["pressure not falling"]
    scene.wait(6.0)
    assert scene.state.mode is Mode.ESCALATED


@pytest.mark.parametrize(("pressure", "found"), [(1023.0, False), (1024.0, False), (1024.001, True)])
def test_how_much_air_is_found_at_rest(pressure: float, found: bool) -> None:
    scene = Scene(limits(found_pa=cap(1024.0), gone_pa=cap(512.0))).resting()
    memory = replace(
        scene.state.memory,
        pressure=replace(scene.state.memory.pressure, quick=pressure),
        falling=Scene().tripped().scan().memory.falling,
    )
    outcome = at_rest(scene.limits, replace(scene.state, memory=memory))
    assert outcome == ((GuardEvent.PRESSURE_FOUND, None) if found else None)
    nothing_due = replace(memory, falling=None)
    assert at_rest(scene.limits, replace(scene.state, memory=nothing_due)) is None


def test_an_inferred_pressure_finds_nothing_at_rest() -> None:
    scene = Scene(inferred=True)
    scene.pressure_pa = 20 * PSI
    scene.wait(1.0)
    assert scene.state.mode is Mode.RESTING


def test_pressure_above_the_cap_trips_even_at_rest() -> None:
    scene = Scene().resting()
    scene.pressure_pa = 60 * PSI
    scene.scan()
    assert scene.state.mode is Mode.TRIPPED
    assert scene.codes == ["pressure above cap"]


# -- clearing -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", [Mode.TRIPPED, Mode.ESCALATED])
def test_a_trip_is_cleared_by_a_person_on_a_vented_and_healthy_stand(mode: Mode) -> None:
    scene = Scene().enter(mode)
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is mode
    assert len(scene.state.refusals) == 1
    assert "casing pressure is not known to be gone" in scene.state.refusals[0]
    let_go(scene, 8.0)
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is Mode.RESTING
    assert scene.state.trips == ()
    assert scene.state.rest_position_m is None
    assert scene.command == SAFE_COMMAND


@pytest.mark.parametrize("role", [Role.EMERGENCY_STOP, Role.GUARD, Role.IDENTITY])
def test_a_trip_is_not_cleared_while_its_cause_is_there(role: Role) -> None:
    scene = Scene().holding(20.0)
    scene.open(role)
    scene.ask(20.0)
    scene.let_go()
    scene.wait(3.0)
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is Mode.TRIPPED
    assert len(scene.state.refusals) == 1
    scene.fields.clear()
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is Mode.RESTING


def test_after_a_trip_that_speaks_against_the_pressure_signal_its_zero_is_not_enough() -> None:
    """Pressure and position exchanged: the casing is full, the wrong transmitter reads nothing."""
    scene = Scene().holding(20.0)
    scene.pressure_pa = 0.0
    scene.ask(20.0)
    assert scene.codes == ["pressure jumped"]
    assert scene.state.trips[0].text.endswith(GAUGE)
    scene.wait(29.9)
    assert not scene.state.vented
    (reason,) = scene.scan(event=PersonEvent.CLEAR).refusals
    assert reason.startswith("The casing pressure is not known to be gone: it reads 0.00 psi")
    assert reason.endswith(f"{GAUGE} It is taken as gone only 30 s after the vent opened (30 s so far).")
    scene.wait(0.2)
    assert scene.state.vented
    assert scene.scan(event=PersonEvent.CLEAR).mode is Mode.RESTING
    scene.wait(0.1)
    assert scene.state.vented  # what a person has cleared is not held against the signal any more


def test_only_what_speaks_against_the_pressure_signal_sends_people_to_the_gauge() -> None:
    scene = Scene().holding(20.0)
    scene.open(Role.GUARD)
    scene.ask(20.0)
    assert GAUGE not in scene.state.trips[0].text
    assert not scene.state.pressure_doubted


def test_a_watchdog_that_was_left_to_expire_does_not_stand_in_the_way_of_clearing() -> None:
    scene = Scene().escalated()
    scene.open(Role.WATCHDOG)
    let_go(scene, 8.0)
    scene.scan(event=PersonEvent.CLEAR)
    assert scene.state.mode is Mode.RESTING
    scene.wait(2.0)
    scene.scan(event=PersonEvent.ARM)
    assert scene.state.refusals == ("The output module's watchdog is not armed any more.",)


def test_clearing_is_not_starting() -> None:
    scene = Scene().tripped()
    let_go(scene, 8.0)
    scene.scan(event=PersonEvent.CLEAR)
    scene.keep_asking(5.0, 20.0)
    assert scene.command == SAFE_COMMAND
    assert scene.state.mode is Mode.RESTING


def test_a_stem_that_lies_elsewhere_after_a_trip_is_learnt_anew() -> None:
    scene = Scene().tripped()
    scene.position_m = REST_M + 0.05
    let_go(scene, 31.0)  # over-travel: the signals may be exchanged, so it takes the time as well
    scene.scan(event=PersonEvent.CLEAR)
    scene.wait(1.0)
    assert scene.state.rest_position_m == pytest.approx(REST_M + 0.05, abs=1e-4)


# -- a person orders outputs safe ---------------------------------------------------------------------


@pytest.mark.parametrize("mode", [mode for mode in Mode if mode is not Mode.HANDS_IN])
def test_a_person_can_order_outputs_safe_from_every_mode_and_at_once(mode: Mode) -> None:
    scene = Scene().enter(mode)
    scene.ask(30.0, 2.0, PersonEvent.SAFE_NOW)
    assert scene.state.mode is (Mode.ESCALATED if mode is Mode.ESCALATED else Mode.TRIPPED)
    assert scene.command == (NO_FEED if mode is Mode.ESCALATED else SAFE_COMMAND)
    assert "ordered safe" in scene.codes
    trip = next(trip for trip in scene.state.trips if trip.code == "ordered safe")
    assert trip.text == "A person ordered the outputs safe."


def test_judge_decide_and_permit_in_order_are_a_step() -> None:
    scene = Scene().holding(20.0)
    state, reading = scene.state, replace(scene.reading(), time_s=scene.time_s + 0.02)
    judged = judge(scene.limits, state, reading)
    assert decide(scene.limits, judged, reading, PersonEvent.STOP).mode is Mode.VENTING
    after, command = step(scene.limits, state, reading, None, PersonEvent.STOP)
    assert after.mode is Mode.VENTING
    assert command == Command(pytest.approx((20 - 0.08) * PSI), True, False, True)
    assert after.command == command


@pytest.mark.parametrize("order", [PersonEvent.STOP, PersonEvent.SAFE_NOW])
def test_a_pressure_that_reads_nothing_all_at_once_after_the_order_is_not_gone(order: PersonEvent) -> None:
    """A gauge line shut off, say: 20 psi are in the casing, and the transmitter lives and reads zero."""
    scene = Scene().holding(20.0)
    scene.scan(event=order)
    scene.pressure_pa = 0.05 * PSI
    scene.wait(29.0)
    assert "pressure jumped" in scene.codes
    assert scene.command == SAFE_COMMAND
    assert not scene.state.vented
    scene.wait(1.5)
    assert scene.state.vented


@pytest.mark.parametrize("order", [None, PersonEvent.SAFE_NOW])
def test_a_vent_that_opens_late_on_a_fast_ramp_is_no_rise(order: PersonEvent | None) -> None:
    """6 psi/s going on for 0.2 s, then slowly down: the filters are 1.5 psi behind when the vent opens."""
    scene = Scene().armed()
    scene.keep_asking(4.0, 40.0, 6.0)
    scene.pressure_pa = scene.command.output_pa
    for scan in range(150):
        scene.pressure_pa += (6.0 * scene.dt if scan < 10 else -0.5 * scene.dt) * PSI
        if order is None:
            scene.ask(0.0, 0.0, vent=True)
        else:
            scene.scan(event=order if scan == 0 else None)
    assert scene.codes == ([] if order is None else ["ordered safe"])
