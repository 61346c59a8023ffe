"""Limits: the lowest cap wins, each has a source, none is guessed."""

from dataclasses import FrozenInstanceError, fields, replace
from math import inf, nan

import pytest

from safety.limits import DEFAULT_PERIOD_S, PSI, SOURCES, Cap, Limits, Role, built_in, expect, lowest
from safety.signals import Reading

from .scene import cap, limits


@pytest.mark.parametrize("value", [nan, inf, -inf, -1e-9])
def test_a_limit_that_is_no_number_of_zero_or_more_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite number of zero or more"):
        Cap(value, "stand")


def test_a_limit_of_zero_is_a_limit() -> None:
    assert Cap(0.0, "person").value == 0.0


def test_a_limit_from_nowhere_is_refused() -> None:
    with pytest.raises(ValueError, match="profile, stand, built-in, person, not 'hearsay'"):
        Cap(1.0, "hearsay")
    assert [Cap(1.0, source).source for source in SOURCES] == ["profile", "stand", "built-in", "person"]


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0), (2, 0, 1)])
def test_the_lowest_cap_wins_in_any_order(order: tuple[int, int, int]) -> None:
    caps = (Cap(3.0, "profile"), Cap(2.0, "stand"), Cap(4.0, "built-in"))
    assert lowest(*(caps[i] for i in order)) == Cap(2.0, "stand")


def test_of_equal_caps_the_first_is_named() -> None:
    assert lowest(Cap(2.0, "profile"), Cap(2.0, "stand")).source == "profile"


def test_no_cap_at_all_is_an_error_and_not_a_guess() -> None:
    with pytest.raises(ValueError, match="never guesses"):
        lowest()
    with pytest.raises(TypeError):
        Limits()  # type: ignore[call-arg]


@pytest.mark.parametrize("roles", [(), (Role.PRESSURE,), (Role.POSITION,), (Role.SUPPLY, Role.POSITION)])
def test_pressure_and_position_are_always_required(roles: tuple[Role, ...]) -> None:
    with pytest.raises(ValueError, match="must be among the required signals"):
        limits(signals=expect(*roles))


def test_the_period_of_the_pressure_is_its_own() -> None:
    signals = (*expect(Role.POSITION, period_s=cap(3.0)), *expect(Role.PRESSURE, period_s=cap(2.0)))
    assert limits(signals=signals).pressure_period_s == 2.0
    assert expect(Role.PRESSURE)[0].period_s == DEFAULT_PERIOD_S == Cap(0.5, "built-in")


def test_the_highest_output_lies_below_the_cap_by_the_margin() -> None:
    some = limits(pressure_max_pa=cap(50_000.0), demand_margin_pa=cap(7_000.0))
    assert some.demand_max_pa == 43_000.0


def test_a_cap_below_the_margin_permits_no_output_at_all() -> None:
    assert limits(pressure_max_pa=cap(5_000.0), demand_margin_pa=cap(7_000.0)).demand_max_pa == 0.0


def test_every_limit_is_told_with_value_and_source() -> None:
    some = limits(signals=expect(Role.PRESSURE, Role.POSITION, period_s=cap(0.7)))
    told = {name: (value, source) for name, value, source in some.told()}
    caps = {item.name for item in fields(Limits) if isinstance(getattr(some, item.name), Cap)}
    assert set(told) == caps | {"pressure_period_s", "position_period_s"}
    assert told["pressure_max_pa"] == (50 * PSI, "profile")
    assert told["rate_max_pa_per_s"] == (6 * PSI, "built-in")
    assert told["position_period_s"] == (0.7, "stand")


def test_limits_cannot_be_changed_under_way() -> None:
    with pytest.raises(FrozenInstanceError):
        limits().pressure_max_pa = cap(1.0)  # type: ignore[misc]


def test_roles_are_named_as_the_reading_names_them() -> None:
    assert {role.value for role in Role} <= {item.name for item in fields(Reading)}


def test_the_built_in_values_are_those_that_the_readme_argues_for() -> None:
    """Restated on purpose: a built-in limit changes in two places or not at all."""
    told = {name: value for name, value, source in limits().told() if source == "built-in"}
    in_psi = {
        "demand_margin_pa": 1.0,
        "rate_max_pa_per_s": 6.0,
        "step_max_pa": 1.0,
        "window_change_pa": 8.0,
        "lead_max_pa": 8.0,
        "stop_rate_pa_per_s": 4.0,
        "slow_return_pa_per_s": 0.5,
        "gone_pa": 0.5,
        "found_pa": 1.0,
        "fall_step_pa": 0.1,
        "follow_margin_pa": 3.0,
        "ahead_pa": 2.0,
        "rise_pa": 1.5,
        "lost_rate_pa_per_s": 2.0,
        "stuck_pa": 4.0,
        "jump_pa": 3.0,
        "jump_rate_pa_per_s": 60.0,
        "still_pa": 1.0,
        "jam_pa": 10.0,
        "hold_pa": 1.0,
        "readback_pa": 1.5,
    }
    plain = {
        "window_s": 1.0,
        "demand_fresh_scans": 25.0,
        "gap_max_s": 1.0,
        "same_time_scans": 5.0,
        "stage_max_s": 900.0,
        "run_max_s": 7200.0,
        "vent_least_s": 1.0,
        "fall_within_s": 5.0,
        "gone_within_s": 180.0,
        "blind_s": 30.0,
        "follow_s": 10.0,
        "lost_s": 0.2,
        "stuck_s": 2.0,
        "empty_share": 0.5,
        "move_within_s": 10.0,
        "move_share": 0.05,
        "drift_share": 0.35,
        "jump_share": 0.6,
        "hair_m": 0.0005,
        "supply_max_pa": 1.0e6,
        "supply_min_pa": 0.0,
        "jam_to_share": 0.6,
        "readback_s": 0.5,
        "readback_scans": 2.0,
        "readback_forget_s": 10.0,
        **{f"{role}_period_s": 0.5 for role in Role},
    }
    assert told == {name: value * 6894.757 for name, value in in_psi.items()} | plain
    assert limits().isolate_supply_hands_in
    assert limits().other_refusals == ()
    assert {
        item.role for item in replace(limits(), signals=expect(Role.PRESSURE, Role.POSITION)).signals
    } == {
        Role.PRESSURE,
        Role.POSITION,
    }
    only_three = Limits(pressure_max_pa=cap(1.0), travel_max_m=cap(1.0), move_by_pa=cap(1.0))
    assert only_three.signals == expect(Role.PRESSURE, Role.POSITION)


def test_built_in_says_so() -> None:
    assert built_in(2.0) == Cap(2.0, "built-in")
