"""The command in RAMPING: held back four ways, walked, vented, refused."""

from dataclasses import replace
from math import inf, nan, nextafter

import pytest

from safety.limits import PSI, Role
from safety.output import refused, remembered, walk
from safety.signals import SAFE_COMMAND, Command, Demand, Health, Reading
from safety.state import GuardState, Memory, Mode
from safety.track import Track

from .scene import Scene, cap, limits

HUGE = cap(1e12)
FREE = limits(
    pressure_max_pa=cap(100_000.0),
    demand_margin_pa=cap(10_000.0),
    rate_max_pa_per_s=HUGE,
    step_max_pa=HUGE,
    window_change_pa=HUGE,
    lead_max_pa=HUGE,
)


def at(output_pa: float, pressure_pa: float = 0.0, recent: tuple[float, ...] = ()) -> GuardState:
    memory = Memory(pressure=Track(10.0, pressure_pa, pressure_pa, pressure_pa))
    command = Command(output_pa, True, False, True)
    outputs = tuple((9.5, value) for value in recent)
    return GuardState(Mode.RAMPING, 10.0, 0.0, command=command, memory=memory, outputs=outputs)


def live(inferred: bool = False) -> Reading:
    return replace(Scene().reading(), pressure_is_inferred=inferred)


def asked(pressure_pa: float, rate: float = 1e9) -> Demand:
    return Demand(pressure_pa, rate, "rise")


def walked(
    state: GuardState, demand: Demand, passed_s: float = 1.0, inferred: bool = False, **changed: float
):
    some = replace(FREE, **{name: cap(value) for name, value in changed.items()})
    return walk(some, state, live(inferred), demand, passed_s)


# -- absolute -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked_pa", "output_pa", "held"),
    [
        (nextafter(90_000.0, 0), nextafter(90_000.0, 0), False),
        (90_000.0, 90_000.0, False),
        (nextafter(90_000.0, inf), 90_000.0, True),
        (100_000.0, 90_000.0, True),
    ],
)
def test_the_output_never_passes_the_cap_less_its_margin(
    asked_pa: float, output_pa: float, held: bool
) -> None:
    assert walked(at(0.0), asked(asked_pa)) == (
        output_pa,
        ("pressure: highest permitted output",) if held else (),
    )


@pytest.mark.parametrize(
    ("rate", "output_pa", "why"),
    [(499.0, 1499.0, ()), (500.0, 1500.0, ()), (501.0, 1500.0, ("rate: highest permitted",))],
)
def test_the_rate_is_limited_upwards(rate: float, output_pa: float, why: tuple[str, ...]) -> None:
    assert walked(at(1000.0), asked(90_000.0, rate), rate_max_pa_per_s=500.0) == (output_pa, why)


@pytest.mark.parametrize(("rate", "output_pa"), [(499.0, 501.0), (500.0, 500.0), (501.0, 500.0)])
def test_the_rate_is_limited_downwards(rate: float, output_pa: float) -> None:
    assert walked(at(1000.0), asked(0.0, rate), rate_max_pa_per_s=500.0)[0] == output_pa


def test_a_rate_is_per_second_and_not_per_scan() -> None:
    assert walked(at(1000.0), asked(90_000.0, 500.0), passed_s=0.02) == (1010.0, ())
    assert walked(at(1000.0), asked(0.0, 500.0), passed_s=0.02) == (990.0, ())


# -- per scan -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate", "up", "down", "why"),
    [
        (299.0, 1299.0, 701.0, ()),
        (300.0, 1300.0, 700.0, ()),
        (301.0, 1300.0, 700.0, ("step: largest in one scan",)),
    ],
)
def test_the_step_of_one_scan_is_limited_both_ways(
    rate: float, up: float, down: float, why: tuple[str, ...]
) -> None:
    assert walked(at(1000.0), asked(90_000.0, rate), step_max_pa=300.0) == (up, why)
    assert walked(at(1000.0), asked(0.0, rate), step_max_pa=300.0) == (down, why)


# -- per window ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "output_pa", "held"),
    [(1399.0, 1399.0, False), (1400.0, 1400.0, False), (1401.0, 1400.0, True)],
)
def test_the_rise_within_the_window_is_limited(target: float, output_pa: float, held: bool) -> None:
    state = at(1200.0, recent=(1100.0, 1000.0, 1200.0))
    why = ("change within the window",) if held else ()
    assert walked(state, asked(target), window_change_pa=400.0) == (output_pa, why)


@pytest.mark.parametrize(
    ("target", "output_pa", "held"), [(601.0, 601.0, False), (600.0, 600.0, False), (599.0, 600.0, True)]
)
def test_the_fall_within_the_window_is_limited(target: float, output_pa: float, held: bool) -> None:
    state = at(800.0, recent=(900.0, 1000.0, 800.0))
    why = ("change within the window",) if held else ()
    assert walked(state, asked(target), window_change_pa=400.0) == (output_pa, why)


def test_the_window_never_moves_the_output_by_itself() -> None:
    """After a vent from 2000 Pa the window spans more than it permits: the output stays, it is not pulled."""
    assert walked(at(0.0, recent=(2000.0, 0.0)), asked(0.0), window_change_pa=400.0)[0] == 0.0
    assert walked(at(2000.0, recent=(0.0, 2000.0)), asked(3000.0), window_change_pa=400.0)[0] == 2000.0


def test_with_nothing_remembered_the_window_starts_at_the_last_output() -> None:
    assert walked(at(1000.0), asked(9000.0), window_change_pa=400.0)[0] == 1400.0
    assert walked(at(1000.0), asked(0.0), window_change_pa=400.0)[0] == 600.0


@pytest.mark.parametrize(
    ("when", "kept"), [(nextafter(9.0, 0), False), (9.0, True), (nextafter(9.0, inf), True), (10.0, True)]
)
def test_the_window_keeps_what_is_within_it(when: float, kept: bool) -> None:
    state = replace(at(0.0), outputs=((when, 5.0),))
    some = limits(window_s=cap(1.0))
    assert remembered(some, state, 7.0) == ((when, 5.0), (10.0, 7.0)) if kept else ((10.0, 7.0),)


# -- distance from the measured pressure --------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "output_pa", "held"),
    [(2999.0, 2999.0, False), (3000.0, 3000.0, False), (3001.0, 3000.0, True)],
)
def test_the_output_does_not_run_ahead_of_the_casing(target: float, output_pa: float, held: bool) -> None:
    why = ("lead: the casing pressure is behind",) if held else ()
    assert walked(at(1000.0, pressure_pa=1000.0), asked(target), lead_max_pa=2000.0) == (output_pa, why)


def test_an_output_that_is_too_far_ahead_comes_down_at_once() -> None:
    """The hose came off: the measured pressure is gone, the output may not stay up there."""
    assert walked(at(9000.0, pressure_pa=0.0), asked(9000.0), lead_max_pa=2000.0)[0] == 2000.0


def test_a_reading_below_zero_never_makes_a_negative_output() -> None:
    assert walked(at(0.0, pressure_pa=-9000.0), asked(500.0), lead_max_pa=2000.0)[0] == 0.0


def test_no_reading_ever_holds_a_fall() -> None:
    """A transmitter frozen high must not keep the output up."""
    assert walked(at(1000.0, pressure_pa=50_000.0), asked(0.0), lead_max_pa=1.0) == (0.0, ())
    dead = replace(live(), pressure=replace(live().pressure, health=Health.FAILED))
    assert walk(FREE, at(1000.0), dead, asked(0.0), 1.0) == (0.0, ())


def test_a_pressure_inferred_from_the_output_holds_nothing_back() -> None:
    assert walked(at(1000.0, pressure_pa=0.0), asked(9000.0), inferred=True, lead_max_pa=1.0) == (9000.0, ())


def test_a_pressure_never_seen_gives_no_lead() -> None:
    state = replace(at(1000.0), memory=Memory())
    assert walked(state, asked(1200.0), lead_max_pa=1.0) == (1200.0, ())


# -- live signals -------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("health", [Health.OUT_OF_RANGE, Health.FAILED, Health.UNKNOWN, Health.ABSENT])
def test_while_any_required_signal_is_not_live_the_output_does_not_rise(role: Role, health: Health) -> None:
    scene = Scene().armed()
    scene.keep_asking(2.0, 20.0)
    before = scene.command.output_pa
    scene.health[role] = health
    scene.ask(20.0)
    assert scene.command.output_pa == before
    assert scene.state.limited == ("held: a signal is not live",)
    scene.health.clear()
    scene.ask(20.0)
    assert scene.command.output_pa > before


# -- the demand ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [nan, inf, -inf, -1e-9])
def test_a_demand_that_is_no_number_is_refused(bad: float) -> None:
    assert "pressure demanded is not a number" in (refused(FREE, asked(bad)) or "")
    assert "rate demanded is not a number" in (refused(FREE, asked(0.0, bad)) or "")


@pytest.mark.parametrize(
    ("pressure_pa", "fine"),
    [(0.0, True), (nextafter(1e5, 0), True), (1e5, True), (nextafter(1e5, inf), False)],
)
def test_a_demand_above_the_cap_is_refused_and_not_clipped(pressure_pa: float, fine: bool) -> None:
    reason = refused(FREE, asked(pressure_pa))
    assert (reason is None) is fine
    if reason:
        assert reason == ("The pressure demanded, 14.50 psi, is above the cap of 14.50 psi (set by: stand).")


def test_a_refusal_names_both_pressures_as_people_read_them() -> None:
    reason = refused(limits(), asked(60 * PSI))
    assert reason == "The pressure demanded, 60.00 psi, is above the cap of 50.00 psi (set by: profile)."


def test_a_rate_of_zero_holds() -> None:
    assert refused(FREE, asked(5000.0, 0.0)) is None
    assert walked(at(1000.0), asked(5000.0, 0.0)) == (1000.0, ())


def test_to_vent_is_never_refused() -> None:
    assert refused(FREE, Demand(nan, nan, "rest", vent=True)) is None


def test_a_refused_demand_never_reaches_the_wire_and_is_told() -> None:
    scene = Scene().holding(20.0)
    for _ in range(20):
        scene.ask(60.0)
        assert scene.command == Command(20 * PSI, True, False, True)
        assert scene.state.refusals == (refused(scene.limits, asked(60 * PSI)),)
        assert scene.state.run.demand == Demand(
            20 * PSI, 5 * PSI, "rise", serial=scene.serial - scene.state.run.unfresh
        )
    scene.ask(20.0)
    assert scene.state.refusals == ()
    assert scene.state.mode is Mode.RAMPING


def test_refused_demands_do_not_keep_the_guard_waiting_for_ever() -> None:
    scene = Scene().holding(20.0)
    scene.keep_asking(1.0, 60.0)
    assert scene.codes[0] == "no fresh demand"
    assert scene.command == SAFE_COMMAND


def test_a_vent_demand_drops_the_output_at_once_and_stays_armed() -> None:
    scene = Scene().holding(20.0)
    scene.ask(0.0, 0.0, vent=True)
    assert scene.command == SAFE_COMMAND
    assert scene.state.mode is Mode.RAMPING
    scene.wait(0.1)
    assert scene.command == SAFE_COMMAND
    scene.ask(5.0, 2.0)
    assert scene.command == Command(pytest.approx(2.0 * PSI * 0.02), True, False, True)


def test_the_walk_goes_on_between_fresh_demands() -> None:
    """A busy procedure must not put kinks into a ramp that is being measured."""
    scene = Scene().armed()
    scene.keep_asking(1.0, 20.0, 2.0)
    before = scene.command.output_pa
    scene.wait(0.2)
    assert scene.command.output_pa - before == pytest.approx(0.4 * PSI)


@pytest.mark.parametrize("event", [None])
def test_nothing_moves_before_the_first_demand(event: None) -> None:
    scene = Scene().armed()
    assert scene.command == Command(0.0, True, False, True)
    scene.wait(0.3)
    assert scene.command == Command(0.0, True, False, True)


@pytest.mark.parametrize(("missed", "mode"), [(24, Mode.RAMPING), (25, Mode.RAMPING), (26, Mode.TRIPPED)])
def test_without_a_fresh_demand_it_vents_after_the_stated_number_of_scans(missed: int, mode: Mode) -> None:
    scene = Scene().holding(20.0)
    for _ in range(missed):
        scene.scan(None)
    assert scene.state.mode is mode
    assert (scene.command == SAFE_COMMAND) is (mode is Mode.TRIPPED)


@pytest.mark.parametrize("serial", [-1, 0])
def test_a_demand_seen_before_is_not_fresh(serial: int) -> None:
    scene = Scene().holding(20.0)
    assert scene.asked is not None
    stale = replace(scene.asked, serial=scene.asked.serial + serial, pressure_pa=25 * PSI)
    for _ in range(25):
        scene.scan(stale)
        assert scene.command.output_pa == 20 * PSI
    assert scene.scan(stale).mode is Mode.TRIPPED
    trip = scene.state.first_cause
    assert trip is not None
    assert (trip.code, trip.value, trip.limit, trip.unit) == ("no fresh demand", 26, 25.0, "scans")


def test_after_arming_the_first_demand_counts_whatever_its_number() -> None:
    scene = Scene().armed()
    scene.serial = -100
    scene.keep_asking(1.0, 20.0)
    assert scene.state.mode is Mode.RAMPING
    assert scene.command.output_pa > 0.0


def test_what_was_held_back_is_told_for_that_scan_only() -> None:
    scene = Scene().armed()
    scene.ask(20.0, 9.0)
    assert scene.state.limited == ("rate: highest permitted",)
    assert scene.ask(20.0, 2.0).limited == ()
