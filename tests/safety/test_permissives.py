"""Before anything moves: every permissive refuses alone, in a person's words, and together they all speak."""

from dataclasses import replace

import pytest

from safety.guard import start
from safety.limits import PSI, Role
from safety.permissives import against_arming, still
from safety.signals import Contact, Health, Signal
from safety.state import Mode, PersonEvent

from .scene import REST_M, Scene, cap, limits


def arm(scene: Scene) -> tuple[str, ...]:
    before = scene.state.command
    scene.scan(event=PersonEvent.ARM)
    if scene.state.mode is Mode.RESTING:
        assert scene.command == before
    return scene.state.refusals


def test_a_healthy_stand_at_rest_can_be_armed() -> None:
    scene = Scene().resting()
    assert against_arming(scene.limits, scene.state, scene.reading()) == ()
    assert arm(scene) == ()
    assert scene.state.mode is Mode.RAMPING
    assert scene.state.run.since_s == scene.state.run.stage_since_s == scene.time_s
    assert scene.state.run.demand is None


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("health", [health for health in Health if health is not Health.GOOD])
def test_every_required_signal_must_be_live(role: Role, health: Health) -> None:
    scene = Scene().resting()
    scene.health[role] = health
    refusals = arm(scene)
    assert scene.state.mode is Mode.RESTING
    assert len(refusals) == 1
    assert refusals[0].endswith(f"signal is not live: {health.value}.")


@pytest.mark.parametrize("role", list(Role))
def test_a_signal_that_is_not_fitted_and_not_required_is_not_missed(role: Role) -> None:
    if role in (Role.PRESSURE, Role.POSITION):
        return
    signals = tuple(item for item in limits().signals if item.role is not role)
    scene = Scene(limits(signals=signals)).resting()
    scene.health[role] = Health.ABSENT
    assert arm(scene) == ()


@pytest.mark.parametrize(
    ("role", "reason"),
    [
        (Role.EMERGENCY_STOP, "The emergency stop is pressed."),
        (Role.GUARD, "The guard is open."),
        (Role.WATCHDOG, "The output module's watchdog is not armed any more."),
        (Role.IDENTITY, "The device that answers is not the one in the stand file."),
    ],
)
def test_every_contact_must_be_closed(role: Role, reason: str) -> None:
    scene = Scene().resting()
    scene.open(role)
    assert arm(scene) == (reason,)


def test_a_signal_that_is_only_repeated_does_not_arm() -> None:
    scene = Scene().resting()
    scene.fields["pressure"] = Signal(0.0, Health.GOOD, scene.time_s)
    scene.freshen = lambda: None  # type: ignore[method-assign]
    scene.wait(1.0)
    assert arm(scene)[0].startswith("No good value of the casing pressure for 1.0")


@pytest.mark.parametrize("psi", [0.6, -0.6])
def test_a_zero_that_is_not_plausible_does_not_arm(psi: float) -> None:
    scene = Scene()
    scene.pressure_pa = psi * PSI
    scene.wait(3.0)
    assert arm(scene) == (
        f"The casing pressure is not known to be gone: it reads {psi:.2f} psi, "
        "and must be within 0.50 psi of zero, with the vent open for 1 s.",
    )


@pytest.mark.parametrize("psi", [0.4, -0.4])
def test_a_small_zero_error_arms(psi: float) -> None:
    scene = Scene()
    scene.pressure_pa = psi * PSI
    scene.wait(3.0)
    assert arm(scene) == ()


def test_a_stem_that_moves_does_not_arm() -> None:
    scene = Scene().resting()
    for k in range(50):
        scene.position_m = REST_M + 0.00005 * k
        scene.scan()
    assert arm(scene) == ("The stem is moving.",)


@pytest.mark.parametrize("sense", [1.0, -1.0])
@pytest.mark.parametrize(("apart", "so"), [(0.24, True), (0.25, True), (0.26, False)])
def test_how_still_still_is(sense: float, apart: float, so: bool) -> None:
    scene = Scene(limits(hair_m=cap(0.25))).resting()
    track = replace(scene.state.memory.position, quick=1.0 + sense * apart, slow=1.0)
    state = replace(scene.state, memory=replace(scene.state.memory, position=track))
    assert still(scene.limits, state) is so


def test_a_pressure_never_seen_is_no_number_of_psi() -> None:
    scene = Scene()
    scene.health[Role.PRESSURE] = Health.UNKNOWN
    scene.wait(0.1)
    assert any("it has not been read yet, and must be within 0.50 psi" in words for words in arm(scene))


def test_a_stem_never_seen_is_not_still() -> None:
    scene = Scene()
    assert not still(scene.limits, scene.state)


@pytest.mark.parametrize(("rested", "ready"), [(0.98, False), (1.02, True)])
def test_the_readings_must_have_settled(rested: float, ready: bool) -> None:
    scene = Scene()
    scene.wait(rested - scene.dt)
    refusals = arm(scene)
    assert (scene.state.mode is Mode.RAMPING) is ready
    if not ready:
        assert refusals[0] == "The readings have not settled yet: wait 1 s at rest."


def test_exactly_one_second_at_rest_is_enough() -> None:
    scene = Scene(dt=0.25)
    scene.wait(0.75)
    assert arm(scene) == ()
    assert scene.time_s == 1.0


@pytest.mark.parametrize(
    ("field", "value", "reason"),
    [
        ("output", Signal(5 * PSI, Health.GOOD, 0.0), "The output reads back otherwise than written."),
        ("vent_valve_open", Contact(False, Health.GOOD, 0.0), "The vent valve read-back disagrees"),
        ("supply_valve_open", Contact(True, Health.GOOD, 0.0), "The supply valve read-back disagrees"),
        ("supply", Signal(2e6, Health.GOOD, 0.0), "The supply pressure is above its limit."),
    ],
)
def test_read_backs_and_supply_must_agree(field: str, value: Signal | Contact, reason: str) -> None:
    scene = Scene().resting()
    scene.fields[field] = value
    refusals = arm(scene)
    assert refusals[0].startswith(reason)
    # An output that is not as it was told may let air in.
    not_vented = [words for words in refusals[1:] if "not known to be gone" in words]
    assert len(refusals) == 1 + len(not_vented)
    assert bool(not_vented) is (field != "supply")


def test_refusals_judged_elsewhere_are_passed_on() -> None:
    others = ("The transmitter's calibration was due on 2024-05-01.", "The serial number is not confirmed.")
    scene = Scene(limits(other_refusals=others)).resting()
    assert arm(scene) == others


def test_all_reasons_are_told_together() -> None:
    scene = Scene(limits(other_refusals=("Another program has this stand.",)))
    scene.pressure_pa = 0.7 * PSI
    scene.open(Role.EMERGENCY_STOP)
    scene.open(Role.GUARD)
    scene.scan()
    assert len(arm(scene)) == 5
    assert scene.state.refusals[-1] == "Another program has this stand."


def test_a_refusal_is_told_in_its_scan_only() -> None:
    scene = Scene().resting()
    scene.open(Role.GUARD)
    assert arm(scene)
    assert scene.scan().refusals == ()


def test_without_a_casing_transmitter_arming_waits_until_the_vent_was_open_long_enough() -> None:
    scene = Scene(inferred=True)
    scene.time_s, scene.state = 100.0, start(scene.limits, 100.0)
    scene.wait(9.98)
    assert arm(scene) == (
        "Nothing measures the casing pressure. "
        "It is taken as gone only 30 s after the vent opened (10 s so far).",
    )
    scene.wait(20.1)
    assert arm(scene) == ()


def test_the_run_before_does_not_reach_into_the_next_one() -> None:
    scene = Scene().holding(20.0)
    scene.scan(event=PersonEvent.STOP)
    scene.wait(8.0)
    assert scene.state.mode is Mode.RESTING
    assert arm(scene) == ()
    scene.wait(0.4)
    assert scene.command.output_pa == 0.0
    assert scene.command.supply_open
