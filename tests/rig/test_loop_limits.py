"""The guard's limits from profile, stand and person: the lowest cap wins, and every one names its source."""

from dataclasses import replace
from datetime import date

import pytest

from rig.profile.model import Action, Basis, Profile, Tolerance
from rig.stand.explain import explain
from rig.stand.file import load_stand
from rig.stand.limits import HIGHEST_EVER, limits_for
from rig.stand.model import RtuLink, Stand, Watchdog
from rig.units import UNIT_SETS
from safety.limits import Limits, Role
from safety.signals import Health, Signal
from tests.safety.scene import Scene
from tests.safety.scene import limits as scene_limits

from .stands import PSI, stand, two_unit_stand, with_module

PROFILE = Profile(
    model="permeate-dump",
    title="Permeate dump valve",
    action=Action.AIR_TO_OPEN,
    area_m2=0.0445,
    rated_travel_m=0.03,
    travel_surplus_m=0.001,
    bench_lower_pa=10 * PSI,
    bench_upper_pa=30 * PSI,
    lower_tolerance=Tolerance(PSI, PSI),
    upper_tolerance=Tolerance(PSI, PSI),
    basis=Basis.FRICTION_INCLUDED,
    casing_maximum_pa=55 * PSI,
    supply_pa=40 * PSI,
)


@pytest.mark.parametrize(
    ("profile_psi", "stand_psi", "typed_psi", "wins", "source"),
    [
        (55, 50, None, 50, "stand"),
        (45, 50, None, 45, "profile"),
        (55, 50, 20, 20, "person"),
        (55, 50, 60, 50, "stand"),
        (200, 300, None, 90, "built-in"),
    ],
)
def test_the_lowest_cap_on_pressure_wins_and_says_whose_it_is(
    profile_psi: float, stand_psi: float, typed_psi: float | None, wins: float, source: str
) -> None:
    built = limits_for(
        replace(PROFILE, casing_maximum_pa=profile_psi * PSI),
        stand(maximum_pressure_pa=stand_psi * PSI),
        None if typed_psi is None else typed_psi * PSI,
    )
    assert built.pressure_max_pa.value == pytest.approx(wins * PSI)
    assert built.pressure_max_pa.source == source
    assert HIGHEST_EVER.source == "built-in"


@pytest.mark.parametrize("stroke_m", [None, 0.0305, 0.045])
def test_a_stem_at_its_stop_is_not_taken_for_one_that_stands_mid_travel(stroke_m: float | None) -> None:
    """Whatever the actuator could go without the valve, even where travel is short by a fifth."""
    built = limits_for(replace(PROFILE, actuator_stroke_m=stroke_m), stand())
    assert built.jam_to_share.value * built.travel_max_m.value == pytest.approx(0.8 * 0.03)
    assert built.jam_to_share.source == "profile"


def periods(limits: Limits) -> dict[Role, float]:
    return {signal.role: signal.period_s.value for signal in limits.signals}


def required(given: Stand) -> set[Role]:
    return set(periods(limits_for(PROFILE, given)))


def test_everything_that_is_fitted_is_required() -> None:
    assert required(stand()) == set(Role)


def test_what_is_not_fitted_is_not_required_but_pressure_and_position_always_are() -> None:
    bare = replace(
        with_module(stand(), watchdog=None, identity=None),
        casing_pressure=None,
        supply_pressure=None,
        demand_readback=None,
        emergency_stop_healthy=None,
        guard_closed=None,
        supply_valve_readback=None,
        vent_valve_readback=None,
    )
    assert required(bare) == {Role.PRESSURE, Role.POSITION}


def test_a_watchdog_that_cannot_be_proven_is_not_waited_for_ever() -> None:
    fixed = with_module(stand(), watchdog=Watchdog(0.5, "any request"))
    assert Role.WATCHDOG not in required(fixed)


def test_registers_read_once_a_second_may_be_older_than_a_scan() -> None:
    found = periods(limits_for(PROFILE, stand()))
    assert found[Role.WATCHDOG] == found[Role.IDENTITY] == 3.0
    assert found[Role.PRESSURE] == 0.5


def test_on_a_serial_line_a_signal_outlasts_one_lost_answer() -> None:
    line = RtuLink("line", "/dev/ttyS0", deadline_s=0.2, slowest_reply_s=0.6)
    found = periods(limits_for(PROFILE, replace(two_unit_stand(line), scans_per_s=20.0)))
    assert found[Role.PRESSURE] == pytest.approx(0.6 + 3 / 20)


def test_a_slower_stand_lowers_the_rate() -> None:
    slow = limits_for(PROFILE, stand(maximum_rate_pa_per_s=2 * PSI))
    assert (slow.rate_max_pa_per_s.value, slow.rate_max_pa_per_s.source) == (2 * PSI, "stand")


@pytest.mark.parametrize(
    ("nominal_pa", "most_pa", "source"),
    [(60 * PSI, 75 * PSI, "stand"), (8.0e5, 1.0e6, "stand"), (8.1e5, 1.0e6, "built-in")],
)
def test_a_supply_a_quarter_above_nominal_is_too_much(nominal_pa: float, most_pa: float, source: str) -> None:
    cap = limits_for(PROFILE, stand(supply_pressure_pa=nominal_pa)).supply_max_pa
    assert cap.value == pytest.approx(most_pa)
    assert cap.source == source


def test_a_supply_that_cannot_even_lift_the_stem_is_none() -> None:
    """One that lifts it, but not all the way, is a finding and no trip."""
    cap = limits_for(PROFILE, stand()).supply_min_pa
    assert (cap.value, cap.source) == (PROFILE.bench_lower_pa, "profile")


@pytest.mark.parametrize(
    ("supply_pa", "code"),
    [
        (75.1 * PSI, "supply too high"),
        (74.9 * PSI, None),
        (10.1 * PSI, None),
        (9.9 * PSI, "supply lost"),
        (0.0, "supply lost"),
    ],
)
def test_the_guard_judges_the_supply_by_them(supply_pa: float, code: str | None) -> None:
    built = limits_for(PROFILE, stand(supply_pressure_pa=60 * PSI))
    scene = Scene(scene_limits(supply_max_pa=built.supply_max_pa, supply_min_pa=built.supply_min_pa))
    scene.holding(20.0)
    scene.fields["supply"] = Signal(supply_pa, Health.GOOD, 0.0)
    for _ in range(50):  # a second: too little has to last for half of it
        scene.ask(20.0)
    assert scene.codes == ([code] if code else [])


def test_the_explanation_of_a_stand_tells_its_limits_on_supply() -> None:
    said = " ".join(explain(load_stand("bench-tcp"), UNIT_SETS["psi"], date(2026, 6, 1)).split())
    assert "60 psi nominal; a run trips above 75 psi, and below the rated lift-off of the valve" in said
    bare = " ".join(
        explain(replace(stand(), supply_pressure=None), UNIT_SETS["psi"], date(2026, 6, 1)).split()
    )
    assert "45 psi nominal, not measured" in bare


def test_every_limit_has_a_value_and_a_source() -> None:
    told = list(limits_for(PROFILE, stand(), 30 * PSI).told())
    assert {source for _, _, source in told} <= {"profile", "stand", "built-in", "person"}
    assert len({name for name, _, _ in told}) == len(told)
