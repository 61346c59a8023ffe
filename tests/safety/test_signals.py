"""The contract types: good is good and nothing else is; the safe command is safe."""

from math import isnan

import pytest

from safety.signals import NO_CONTACT, NO_SIGNAL, SAFE_COMMAND, Command, Demand, Health, Signal


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
