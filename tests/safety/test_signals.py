"""The contract types: good is good and nothing else is; the safe command is safe."""

from math import isnan

import pytest

from safety.checks import Finding
from safety.limits import Cap, Expected, Limits
from safety.signals import (
    NO_CONTACT,
    NO_SIGNAL,
    SAFE_COMMAND,
    Command,
    Contact,
    Demand,
    Health,
    Reading,
    Signal,
)
from safety.state import GuardState, Memory, Run, Trip
from safety.track import Mark, Track

TYPES = (
    Signal,
    Contact,
    Reading,
    Demand,
    Command,
    Cap,
    Expected,
    Limits,
    Trip,
    Memory,
    Run,
    GuardState,
    Track,
    Mark,
    Finding,
)


@pytest.mark.parametrize("kind", TYPES)
def test_what_the_guard_handles_is_frozen_and_has_no_room_for_more(kind: type) -> None:
    assert kind.__dataclass_params__.frozen  # type: ignore[attr-defined]
    assert "__slots__" in vars(kind)


def test_limits_are_given_by_name() -> None:
    with pytest.raises(TypeError, match="positional"):
        Limits(Cap(1.0, "stand"), Cap(1.0, "stand"), Cap(1.0, "stand"))  # type: ignore[misc]


@pytest.mark.parametrize("health", list(Health))
def test_only_good_is_good(health: Health) -> None:
    assert Signal(1.0, health, 0.0).good is (health is Health.GOOD)


def test_the_safe_command_is_no_pressure_no_supply_open_vent_and_a_fed_watchdog() -> None:
    assert Command(output_pa=0.0, supply_open=False, vent_open=True, feed_watchdog=True) == SAFE_COMMAND


def test_what_is_not_fitted_says_so_and_holds_no_number() -> None:
    assert NO_SIGNAL.health is NO_CONTACT.health is Health.ABSENT
    assert isnan(NO_SIGNAL.value)
    assert not NO_CONTACT.closed


def test_a_demand_says_nothing_that_was_not_said() -> None:
    demand = Demand(1.0, 2.0, "rise")
    assert (demand.cycle, demand.vent, demand.serial) == (0, False, 0)
    assert (demand.watch_for, demand.progress, demand.remaining_s) == ("", 0.0, 0.0)
