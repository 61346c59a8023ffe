"""One story for each way in which a stand goes wrong: what trips, when, and what is written then."""

from collections.abc import Callable
from dataclasses import replace
from math import inf, nan

import pytest

from safety.limits import PSI, Role
from safety.signals import SAFE_COMMAND, Command, Contact, Health, Signal
from safety.state import Mode, PersonEvent

from .scene import LOWER_PA, REST_M, TRAVEL_M, UPPER_PA, Scene, cap, limits


def until_trip(scene: Scene, seconds: float, each: Callable[[], None]) -> float:
    """Seconds until the trip; `each` is one scan."""
    for k in range(round(seconds / scene.dt)):
        each()
        if scene.state.trips:
            assert scene.command == SAFE_COMMAND
            assert scene.state.mode is Mode.TRIPPED
            return (k + 1) * scene.dt
    raise AssertionError(f"no trip within {seconds} s")


def holding_on(scene: Scene, psi: float = 20.0, rate: float = 2.0) -> Callable[[], None]:
    return lambda: (scene.ask(psi, rate), None)[1]


# -- pressure -----------------------------------------------------------------------------------------


def test_pressure_above_the_cap_trips_in_that_very_scan() -> None:
    scene = Scene().holding()
    scene.pressure_pa = 51 * PSI
    assert until_trip(scene, 1.0, holding_on(scene)) == scene.dt
    assert scene.codes[0] == "pressure above cap"


def test_the_ip_full_on_is_seen_by_the_pressure_rising_with_no_demand() -> None:
    scene = Scene().holding(12.0)
    scene.pressure_pa = 12 * PSI

    def full_on() -> None:
        assert scene.pressure_pa is not None
        scene.pressure_pa += 5 * PSI * scene.dt
        scene.ask(12.0)

    waited = until_trip(scene, 10.0, full_on)
    assert scene.codes == ["pressure rising with no demand"]
    assert waited < 0.6
    assert scene.pressure_pa < 15 * PSI  # 2 psi ahead; from then on a rise of 1.5 psi, filter's lag and all


def test_the_ip_stuck_on_the_way_down_is_seen_by_the_pressure_not_falling() -> None:
    scene = Scene().holding(20.0)
    rate = {"pressure": 20 * PSI}

    def stuck() -> None:
        rate["pressure"] += PSI * 1e-4  # alive, yet going nowhere
        scene.pressure_pa = rate["pressure"]
        scene.ask(0.0, 4.0)

    waited = until_trip(scene, 20.0, stuck)
    assert scene.codes == ["pressure not falling"]
    assert 10.0 < waited < 12.0


def test_supply_lost_or_hose_off_at_the_start_is_seen_by_the_pressure_not_following() -> None:
    scene = Scene().armed()
    noise = iter(range(10**6))

    def no_air() -> None:
        scene.pressure_pa = (next(noise) % 3) * 10.0
        scene.ask(20.0, 2.0)

    waited = until_trip(scene, 30.0, no_air)
    assert scene.codes == ["pressure not following"]
    assert 11.0 < waited < 13.0


def test_the_output_waits_for_a_casing_that_does_not_fill() -> None:
    """With the hose off the output never runs up: it stays within the lead of what is measured."""
    scene = Scene().armed()
    scene.pressure_pa = 0.0
    highest = 0.0
    for k in range(500):
        scene.pressure_pa = (k % 3) * 10.0
        scene.ask(40.0, 5.0)
        highest = max(highest, scene.command.output_pa)
    assert highest == pytest.approx(8 * PSI, rel=0.01)


def test_a_hose_burst_is_seen_by_the_pressure_falling_with_the_output_held() -> None:
    scene = Scene().holding(20.0)
    scene.pressure_pa = 20 * PSI

    def burst() -> None:
        assert scene.pressure_pa is not None
        scene.pressure_pa *= 0.97
        scene.ask(20.0)

    waited = until_trip(scene, 5.0, burst)
    assert scene.codes == ["pressure lost"]
    assert waited < 1.0


def test_a_pressure_signal_frozen_while_ramping_is_seen() -> None:
    scene = Scene().armed()
    scene.keep_asking(3.0, 20.0, 2.0)
    scene.pressure_pa = scene.command.output_pa
    waited = until_trip(scene, 10.0, holding_on(scene))
    assert scene.codes == ["pressure signal stuck"]
    assert waited == pytest.approx(4.0 / 2.0, abs=0.1)


def test_a_pressure_signal_frozen_while_coming_down_is_seen() -> None:
    scene = Scene().holding(20.0)
    scene.pressure_pa = 20 * PSI
    waited = until_trip(scene, 10.0, holding_on(scene, 0.0, 2.0))
    assert scene.codes == ["pressure signal stuck"]
    assert waited < 3.0


def test_a_quiet_pressure_at_a_hold_is_not_stuck() -> None:
    scene = Scene().holding(20.0)
    scene.pressure_pa = 20 * PSI
    scene.keep_asking(60.0, 20.0)
    assert scene.state.trips == ()


@pytest.mark.parametrize("jump", [6 * PSI, -6 * PSI])
def test_a_pressure_that_jumps_is_not_believed(jump: float) -> None:
    scene = Scene().holding(20.0)
    scene.pressure_pa = 20 * PSI + jump
    assert until_trip(scene, 1.0, holding_on(scene)) == scene.dt
    assert scene.codes[0] == "pressure jumped"


def test_pressure_and_position_exchanged_is_seen() -> None:
    """Two channels swapped: the 'pressure' does not move with the air."""
    scene = Scene().armed()

    def swapped() -> None:
        share = min(1.0, max(0.0, (scene.command.output_pa - LOWER_PA) / (UPPER_PA - LOWER_PA)))
        scene.pressure_pa = share * 100.0
        scene.position_m = REST_M + 0.01 * scene.command.output_pa / UPPER_PA
        scene.ask(40.0, 4.0)

    until_trip(scene, 30.0, swapped)
    assert scene.codes[0] in ("pressure signal stuck", "pressure not following")


# -- stem ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sense", [1, -1])
def test_over_travel_trips(sense: int) -> None:
    scene = Scene().holding(20.0)

    def drift() -> None:
        at = REST_M if scene.position_m is None else scene.position_m
        scene.position_m = at + sense * 0.0001
        scene.pressure_pa = (20 + (scene.scans % 100) * 0.025) * PSI
        scene.ask(20.0)

    until_trip(replace_limits(scene, drift_share=cap(9.0)), 10.0, drift)
    assert scene.codes == ["over-travel"]


def replace_limits(scene: Scene, **changed: object) -> Scene:
    scene.limits = replace(scene.limits, **changed)  # type: ignore[arg-type]
    return scene


def test_a_stem_jammed_at_rest_is_seen() -> None:
    scene = Scene().armed()
    scene.position_m = REST_M
    waited = until_trip(scene, 60.0, holding_on(scene, 30.0, 2.0))
    assert scene.codes == ["stem not moving"]
    assert waited == pytest.approx(16.0 / 2.0 + 10.0, abs=0.5)


def test_a_stem_jammed_mid_travel_is_seen() -> None:
    scene = Scene().armed()
    scene.keep_asking(10.0, 20.0, 2.0)
    scene.position_m = REST_M + TRAVEL_M / 2
    until_trip(scene, 20.0, holding_on(scene, 40.0, 2.0))
    assert scene.codes == ["stem jammed"]
    assert scene.state.trips[0].value == pytest.approx(10 * PSI, rel=0.02)


def test_a_stem_that_moves_with_no_change_of_pressure_is_seen() -> None:
    """A connector slipping, a loose pointer, a drifting transmitter: the spring allows no such thing."""
    scene = Scene().holding(20.0)
    scene.pressure_pa = 20 * PSI
    scene.position_m = REST_M + TRAVEL_M / 2

    def slip() -> None:
        assert scene.position_m is not None
        scene.position_m -= 0.0001
        scene.ask(20.0)

    until_trip(scene, 10.0, slip)
    assert scene.codes == ["stem moved without pressure"]
    assert scene.state.trips[0].value == pytest.approx(0.35 * 0.032, rel=0.02)


def test_a_position_that_jumps_is_not_believed() -> None:
    scene = Scene().holding(20.0)
    scene.position_m = REST_M - 0.01
    assert until_trip(scene, 1.0, holding_on(scene)) == scene.dt
    assert scene.codes[0] == "position jumped"


# -- signals and contacts -----------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("health", [Health.OUT_OF_RANGE, Health.FAILED, Health.UNKNOWN, Health.ABSENT])
def test_a_signal_that_stays_away_trips_after_its_period_and_not_before(role: Role, health: Health) -> None:
    scene = Scene().holding(20.0)
    scene.health[role] = health
    waited = until_trip(scene, 2.0, holding_on(scene))
    assert waited == pytest.approx(0.52, abs=0.021)
    assert scene.codes[0].endswith("signal lost")
    assert len(scene.codes) == 1


@pytest.mark.parametrize("role", list(Role))
def test_a_signal_that_is_only_repeated_grows_old(role: Role) -> None:
    """A gateway that answers from its memory: good health, old time."""
    scene = Scene().holding(20.0)
    frozen = getattr(scene.reading(), role.value)
    scene.freshen = lambda: None  # type: ignore[method-assign]
    scene.fields[role.value] = frozen
    until_trip(scene, 2.0, holding_on(scene))
    assert scene.codes[0].endswith("signal lost")


def test_one_lost_answer_does_not_trip() -> None:
    scene = Scene().holding(20.0)
    for role in Role:
        scene.health = {role: Health.UNKNOWN}
        scene.keep_asking(0.4, 20.0)
        scene.health = {}
        scene.ask(20.0)
    assert scene.state.trips == ()


@pytest.mark.parametrize("value", [nan, inf, -inf])
@pytest.mark.parametrize("field", ["pressure", "position", "supply", "output"])
def test_a_number_that_is_none_never_passes(field: str, value: float) -> None:
    scene = Scene().holding(20.0)
    scene.fields[field] = Signal(value, Health.GOOD, 0.0)
    before = scene.command.output_pa
    while not scene.state.trips:
        scene.ask(30.0)
        assert scene.command.output_pa <= before
    assert scene.command == SAFE_COMMAND
    too_much = scene.codes[0] in ("pressure above cap", "supply too high")
    assert scene.codes[0].endswith("signal lost") or too_much


@pytest.mark.parametrize(
    ("role", "code"),
    [
        (Role.EMERGENCY_STOP, "emergency stop"),
        (Role.GUARD, "guard open"),
        (Role.WATCHDOG, "watchdog lost"),
        (Role.IDENTITY, "identity wrong"),
    ],
)
def test_a_contact_that_opens_trips_in_that_very_scan(role: Role, code: str) -> None:
    scene = Scene().holding(20.0)
    scene.open(role)
    assert until_trip(scene, 1.0, holding_on(scene)) == scene.dt
    assert scene.codes == [code]


def test_an_emergency_stop_released_does_not_start_anything_again() -> None:
    scene = Scene().holding(20.0)
    scene.open(Role.EMERGENCY_STOP)
    scene.ask(20.0)
    scene.fields.clear()
    scene.keep_asking(5.0, 20.0)
    assert scene.state.mode is Mode.TRIPPED
    assert scene.command == SAFE_COMMAND


# -- supply and read-backs ----------------------------------------------------------------------------


def test_too_much_supply_trips_at_once_and_too_little_after_a_moment() -> None:
    scene = Scene(limits(supply_max_pa=cap(500_000.0), supply_min_pa=cap(200_000.0))).holding(20.0)
    scene.fields["supply"] = Signal(500_001.0, Health.GOOD, 0.0)
    assert until_trip(scene, 1.0, holding_on(scene)) == scene.dt
    assert scene.codes == ["supply too high"]
    low = Scene(scene.limits).holding(20.0)
    low.fields["supply"] = Signal(199_999.0, Health.GOOD, 0.0)
    assert until_trip(low, 2.0, holding_on(low)) == pytest.approx(0.52, abs=0.021)
    assert low.codes == ["supply lost"]


def test_a_second_program_writing_the_output_is_seen_on_read_back() -> None:
    scene = Scene().holding(20.0)
    scene.fields["output"] = Signal(25 * PSI, Health.GOOD, 0.0)
    assert until_trip(scene, 2.0, holding_on(scene)) == pytest.approx(3 * scene.dt)
    assert scene.codes == ["output disagrees"]
    assert "Another program" in scene.state.trips[0].text


@pytest.mark.parametrize(("field", "closed"), [("vent_valve_open", True), ("supply_valve_open", False)])
def test_a_valve_that_reads_back_otherwise_trips_after_a_moment(field: str, closed: bool) -> None:
    scene = Scene().holding(20.0)
    scene.fields[field] = Contact(closed, Health.GOOD, 0.0)
    assert until_trip(scene, 2.0, holding_on(scene)) == pytest.approx(3 * scene.dt)
    assert scene.codes[0].endswith("read-back disagrees")


@pytest.mark.parametrize("every_s", [0.1, 1.0, 4.9])
def test_a_program_that_writes_now_and_then_is_found_out_by_its_third_write(every_s: float) -> None:
    scene, writes = Scene().holding(20.0), 0
    while not scene.state.trips:
        writes += 1
        scene.fields["output"] = Signal(25 * PSI, Health.GOOD, 0.0)
        scene.ask(20.0)
        del scene.fields["output"]
        scene.keep_asking(every_s, 20.0)
    assert scene.codes == ["output disagrees"]
    assert writes == 3


def test_read_backs_that_disagreed_for_long_at_rest_are_forgotten_on_arming() -> None:
    scene = Scene()
    scene.fields["output"] = Signal(25 * PSI, Health.GOOD, 0.0)
    scene.wait(20.0)
    scene.scan(event=PersonEvent.ARM)
    assert scene.state.mode is Mode.RESTING, "not while they disagree"
    del scene.fields["output"]
    scene.scan(event=PersonEvent.ARM)
    assert scene.state.mode is Mode.RAMPING
    scene.fields["output"] = Signal(25 * PSI, Health.GOOD, 0.0)
    scene.ask(5.0)
    scene.ask(5.0)
    assert scene.state.trips == ()
    scene.ask(5.0)
    assert scene.codes == ["output disagrees"]


def test_a_garbled_read_back_now_and_then_does_not_trip() -> None:
    scene = Scene().holding(20.0)
    for _ in range(20):
        scene.fields["output"] = Signal(25 * PSI, Health.GOOD, 0.0)
        scene.ask(20.0)
        assert scene.state.astray > 0.0
        del scene.fields["output"]
        scene.keep_asking(10.1, 20.0)
        assert scene.state.astray == 0.0
    assert scene.state.trips == ()


def test_a_read_back_that_lags_a_fast_ramp_does_not_trip() -> None:
    scene = Scene().armed()
    shown = [0.0] * 25  # half a second late
    for _ in range(300):
        shown.append(scene.command.output_pa)
        scene.fields["output"] = Signal(shown[-25], Health.GOOD, 0.0)
        scene.ask(20.0, 5.0)
    assert scene.state.trips == ()


def test_a_finding_that_comes_and_goes_does_not_trip_but_one_that_stays_does() -> None:
    scene = Scene(limits(supply_min_pa=cap(300_000.0))).holding(20.0)
    for k in range(100):
        scene.fields["supply"] = Signal(200_000.0 if k % 20 else 400_000.0, Health.GOOD, 0.0)
        scene.ask(20.0)
    assert scene.state.trips == ()
    scene.fields["supply"] = Signal(200_000.0, Health.GOOD, 0.0)
    scene.keep_asking(1.0, 20.0)
    assert scene.codes == ["supply lost"]


# -- latching -----------------------------------------------------------------------------------------


def test_the_first_cause_stays_first_and_later_ones_follow_each_once() -> None:
    scene = Scene().holding(20.0)
    scene.open(Role.GUARD)
    scene.ask(20.0)
    first = scene.state.first_cause
    assert first is not None
    assert (first.code, first.time_s, first.value, first.limit) == ("guard open", scene.time_s, 0.0, 1.0)
    scene.open(Role.EMERGENCY_STOP)
    scene.scan(event=PersonEvent.SAFE_NOW)
    scene.scan(event=PersonEvent.SAFE_NOW)
    assert scene.codes == ["guard open", "emergency stop", "ordered safe"]
    assert scene.state.first_cause == first


def test_causes_seen_in_one_scan_are_all_listed_the_cap_first() -> None:
    scene = Scene().holding(20.0)
    scene.open(Role.GUARD)
    scene.pressure_pa = 60 * PSI
    scene.ask(20.0)
    assert scene.codes == ["pressure above cap", "guard open", "pressure jumped"]


def test_a_cause_that_went_away_stays_latched() -> None:
    scene = Scene().holding(20.0)
    scene.open(Role.GUARD)
    scene.ask(20.0)
    scene.fields.clear()
    scene.let_go()
    scene.keep_asking(5.0, 20.0)
    assert scene.codes == ["guard open"]
    assert scene.command == SAFE_COMMAND


def test_without_a_casing_transmitter_what_compares_pressure_is_left_out_and_travel_stays() -> None:
    some = limits(blind_s=cap(2.0))
    scene = Scene(some, inferred=True)
    scene.armed()
    scene.keep_asking(10.0, 20.0, 2.0)
    scene.position_m = REST_M + 0.02  # a slow casing: the stem goes on while the output stands
    for _ in range(500):
        scene.position_m -= 0.00002
        scene.ask(20.0)
    assert scene.state.trips == ()
    while scene.position_m < REST_M + 0.033:
        scene.position_m += 0.0005
        scene.ask(20.0)
    scene.keep_asking(2.0, 20.0)
    assert scene.codes == ["over-travel"]


def test_without_a_casing_transmitter_a_jam_takes_longer_to_tell() -> None:
    scene = Scene(limits(blind_s=cap(2.0)), inferred=True).armed()
    scene.limits = replace(scene.limits, blind_s=cap(30.0))
    scene.position_m = REST_M
    waited = until_trip(scene, 60.0, holding_on(scene, 30.0, 4.0))
    assert scene.codes == ["stem not moving"]
    assert waited == pytest.approx(16.0 / 4.0 + 30.0, abs=0.5)


def test_every_other_mode_than_ramping_ignores_demands() -> None:
    for mode in (Mode.RESTING, Mode.TRIPPED, Mode.ESCALATED):
        scene = Scene().enter(mode)
        scene.keep_asking(0.2, 20.0)
        assert scene.command.output_pa == 0.0
        assert scene.command.vent_open
        assert not scene.command.supply_open
    scene = Scene().enter(Mode.HANDS_IN)
    scene.keep_asking(2.0, 30.0)
    assert scene.command == Command(20 * PSI, False, False, True)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("output", Signal(5 * PSI, Health.GOOD, 0.0)),
        ("vent_valve_open", Contact(False, Health.GOOD, 0.0)),
        ("supply_valve_open", Contact(True, Health.GOOD, 0.0)),
    ],
)
def test_while_an_output_is_not_as_it_was_told_nothing_is_vented_for_good(
    field: str, value: Signal | Contact
) -> None:
    scene = Scene(limits(gone_within_s=cap(20.0))).armed()
    scene.scan(event=PersonEvent.SAFE_NOW)
    scene.wait(3.0)
    assert scene.state.vented
    gone_s = scene.state.vented_at_s
    scene.fields[field] = value
    scene.scan()
    assert not scene.state.vented
    assert scene.state.vented_at_s == gone_s
    scene.fields.clear()
    scene.scan()
    assert scene.state.vented, "once is told and written over"
    scene.fields[field] = value
    scene.wait(20.1)
    assert scene.state.mode is Mode.ESCALATED
