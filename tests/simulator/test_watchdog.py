"""The output module's communication watchdog takes the outputs down when nobody speaks."""

from dataclasses import replace

import pytest

from rig.stand.model import Table, Watchdog
from simulator import Installation, Refused, SimulatedStand, actuator_for
from tests.simulator.stands import INCH, PSI, stand

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
ANY = Watchdog(timeout_s=0.5, fed_by="any request", timeout_register=40)
LATCHED = replace(ANY, latched=True, reset_register=41, reset_value=0x55)


def driven(dog: Watchdog, arm: bool = True) -> SimulatedStand:
    """Half pressure, supply open, vent closed, watchdog armed at half a second."""
    s = SimulatedStand(stand(dog), VALVE)
    if arm and dog.timeout_register is not None:
        s.write(1, Table.HOLDING, 40, [500])
    s.write(1, Table.COILS, 0, [1, 1])
    s.write(1, Table.HOLDING, 0, [12000])
    return s


def outputs(s: SimulatedStand) -> tuple[float, bool, bool]:
    return s.drive.terminals.demand_pa, s.drive.valves.supply_open, s.drive.valves.vent_open


def test_outputs_fall_to_their_fail_safe_values_when_the_time_is_up() -> None:
    s = driven(ANY)
    s.advance(0.49)
    assert not s.watchdog_tripped("io")
    assert outputs(s) == (pytest.approx(30 * PSI), True, False)
    s.advance(0.6)
    assert s.watchdog_tripped("io")
    assert outputs(s) == (0.0, False, True)


def test_speaking_keeps_it_quiet() -> None:
    s = driven(ANY)
    for i in range(1, 50):
        s.advance(0.1 * i)
        s.read(1, Table.INPUT, 0, 1)
    assert not s.watchdog_tripped("io")


def test_one_that_is_fed_by_writes_does_not_count_reads() -> None:
    s = driven(replace(ANY, fed_by="writes"))
    for i in range(1, 11):
        s.advance(0.1 * i)
        s.read(1, Table.INPUT, 0, 1)
    assert s.watchdog_tripped("io")


def test_it_is_disarmed_until_its_register_is_written_and_after_a_zero() -> None:
    s = driven(ANY, arm=False)
    s.advance(5.0)
    assert outputs(s)[1]
    s.write(1, Table.HOLDING, 40, [500])
    s.write(1, Table.HOLDING, 40, [0])
    s.advance(10.0)
    assert outputs(s)[1]


def test_one_without_a_register_is_always_armed() -> None:
    s = driven(replace(ANY, timeout_register=None), arm=False)
    s.advance(1.0)
    assert s.watchdog_tripped("io")


def test_unlatched_it_comes_back_with_the_next_request_but_its_outputs_stay_down() -> None:
    s = driven(ANY)
    s.advance(1.0)
    s.read(1, Table.INPUT, 0, 1)
    assert not s.watchdog_tripped("io")
    s.advance(1.1)
    assert outputs(s) == (0.0, False, True)
    s.write(1, Table.COILS, 0, [1, 1])
    s.advance(1.2)
    assert outputs(s)[1:] == (True, False)


def test_latched_it_refuses_outputs_until_it_is_reset() -> None:
    s = driven(LATCHED)
    s.advance(1.0)
    with pytest.raises(Refused, match="exception 4"):
        s.write(1, Table.HOLDING, 0, [12000])
    s.write(1, Table.HOLDING, 41, [1])  # not the reset value
    with pytest.raises(Refused):
        s.write(1, Table.COILS, 0, [1, 1])
    s.write(1, Table.HOLDING, 41, [0x55])
    s.write(1, Table.COILS, 0, [1, 1])
    s.advance(1.1)
    assert outputs(s)[1:] == (True, False)


def test_it_trips_in_the_middle_of_a_long_wait_and_the_casing_vents() -> None:
    s = driven(ANY)
    for i in range(1, 100):
        s.advance(0.1 * i)
        s.read(1, Table.INPUT, 0, 1)
    assert s.outputs.casing_pa > 25 * PSI
    s.advance(20.0)
    assert s.outputs.casing_pa < 0.5 * PSI
    assert s.outputs.stem_m < 1e-4


def test_a_prearmed_one_shows_its_timeout_in_the_register() -> None:
    s = SimulatedStand(stand(ANY), VALVE, installation=Installation(watchdog_prearmed=True))
    assert s.read(1, Table.HOLDING, 40, 1) == [500]
    s.advance(1.0)
    assert s.watchdog_tripped("io")
