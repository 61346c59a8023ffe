"""One scan: what is asked, and how far each channel is believed when an answer does not come."""

from dataclasses import fields, replace
from math import isnan

import pytest

from rig.stand.link import LinkFault
from rig.stand.model import Identity, Table, TcpLink
from safety.signals import Contact, Health, Signal

from .stands import IDENTITY, INCH, PSI, connected, healthy_mock, stand, two_unit_stand, with_module


def test_a_healthy_stand_is_read_in_full() -> None:
    scanner, _, _, _ = connected(stand(), healthy_mock())
    reading = scanner.scan()
    assert reading.pressure.value == pytest.approx(0.0)
    assert reading.position.value == pytest.approx(1.0 * INCH)
    assert reading.supply.value == pytest.approx(45 * PSI)
    assert reading.output.value == pytest.approx(0.0)
    assert reading.emergency_stop_healthy.closed
    assert reading.guard_closed.closed
    assert not reading.supply_valve_open.closed
    assert reading.vent_valve_open.closed
    assert reading.identity_right.closed
    assert not reading.pressure_is_inferred
    assert scanner.problems == ()


def test_signals_carry_the_time_of_the_scan() -> None:
    scanner, _, clock, _ = connected(stand(), healthy_mock())
    clock.wait_until(3.5)
    reading = scanner.scan()
    assert reading.time_s == reading.pressure.time_s == reading.guard_closed.time_s == 3.5


def test_what_is_not_fitted_is_absent() -> None:
    bare = replace(stand(), supply_pressure=None, guard_closed=None)
    scanner, _, _, _ = connected(bare, healthy_mock())
    reading = scanner.scan()
    assert reading.supply.health is reading.guard_closed.health is Health.ABSENT


def test_a_silent_module_makes_every_channel_unknown_and_none_keeps_its_last_value() -> None:
    mock = healthy_mock()
    scanner, _, clock, _ = connected(stand(), mock)
    scanner.scan()
    mock.silent.add(1)
    clock.wait_until(2.0)
    reading = scanner.scan()
    seen = [getattr(reading, field.name) for field in fields(reading)]
    signals = [s for s in seen if isinstance(s, Signal)]
    contacts = [s for s in seen if isinstance(s, Contact)]
    assert {s.health for s in (*signals, *contacts)} == {Health.UNKNOWN}
    assert all(isnan(s.value) for s in signals)
    assert not any(c.closed for c in contacts)
    assert len(scanner.problems) == 1
    assert "module io" in scanner.problems[0]


def test_a_module_that_failed_is_not_asked_again_in_the_same_scan() -> None:
    mock = healthy_mock()
    scanner, _, _, _ = connected(stand(), mock)
    mock.silent.add(1)
    scanner.scan()
    assert len(mock.asked) == 1


def test_a_refused_block_leaves_the_others_good() -> None:
    mock = healthy_mock()
    mock.refuses[1, Table.DISCRETE, 0] = 2
    scanner, _, _, _ = connected(stand(), mock)
    reading = scanner.scan()
    assert reading.pressure.good
    assert reading.guard_closed.health is Health.UNKNOWN
    assert "exception 2 (illegal data address" in scanner.problems[0]


def test_one_silent_unit_leaves_the_other_good_on_a_shared_line() -> None:
    mock = healthy_mock()
    scanner, _, _, _ = connected(two_unit_stand(), mock)
    mock.silent.add(2)
    reading = scanner.scan()
    assert reading.pressure.health is Health.UNKNOWN
    assert reading.vent_valve_open.health is Health.GOOD


def test_a_unit_silent_twice_on_a_shared_line_is_left_alone_for_a_second() -> None:
    mock = healthy_mock()
    scanner, _, clock, _ = connected(two_unit_stand(), mock)
    mock.silent.add(2)
    tries = []
    for slot in range(150):
        clock.wait_until(slot * 0.02)
        before = len(mock.asked)
        scanner.scan()
        if any(unit == 2 for unit, *_ in mock.asked[before:]):
            tries.append(slot)
    assert tries == [0, 1, 51, 101]
    mock.silent.clear()
    mock.put(2, Table.INPUT, 0, 8000, 8000)
    clock.wait_until(3.1)
    assert scanner.scan().pressure.good


def test_on_tcp_a_silent_unit_is_asked_in_every_scan() -> None:
    mock = healthy_mock()
    scanner, _, clock, _ = connected(two_unit_stand(TcpLink("bay", "127.0.0.1", 502)), mock)
    mock.silent.add(2)
    for slot in range(10):
        clock.wait_until(slot * 0.02)
        scanner.scan()
    assert sum(unit == 2 for unit, *_ in mock.asked) == 10


def test_a_module_that_answers_again_is_reported_as_returned_once() -> None:
    mock = healthy_mock()
    scanner, _, _, _ = connected(two_unit_stand(), mock)
    mock.put(1, Table.HOLDING, 40, 2000)  # watchdog armed
    mock.silent.add(2)
    scanner.scan()
    assert scanner.returned == frozenset()
    mock.silent.clear()
    scanner.scan()
    assert scanner.returned == {"ins"}
    scanner.scan()
    assert scanner.returned == frozenset()


def test_identity_is_read_at_the_start_and_then_every_second() -> None:
    mock = healthy_mock()
    given = with_module(stand(), watchdog=None)
    scanner, _, clock, _ = connected(given, mock)
    reads = []
    for slot in range(151):
        clock.wait_until(slot * 0.02)
        before = len(mock.asked)
        scanner.scan()
        if (1, Table.INPUT, 30, 1) in mock.asked[before:]:
            reads.append(slot)
    assert reads == [0, 50, 100, 150]


def test_between_its_reads_the_identity_keeps_the_time_it_was_measured() -> None:
    scanner, _, clock, _ = connected(stand(), healthy_mock())
    scanner.scan()
    clock.wait_until(0.5)
    assert scanner.scan().identity_right == Contact(True, Health.GOOD, 0.0)


@pytest.mark.parametrize(("held", "right"), [(IDENTITY, True), (IDENTITY + 1, False), (0, False)])
def test_another_device_is_told_by_its_identity(held: int, right: bool) -> None:
    mock = healthy_mock()
    mock.put(1, Table.INPUT, 30, held)
    scanner, _, _, _ = connected(stand(), mock)
    assert scanner.scan().identity_right == Contact(right, Health.GOOD, 0.0)
    assert any("is this the right device?" in p for p in scanner.problems) is not right


def test_a_wrong_identity_is_read_again_in_the_next_scan() -> None:
    mock = healthy_mock()
    mock.put(1, Table.INPUT, 30, 1)
    scanner, _, clock, _ = connected(stand(), mock)
    scanner.scan()
    mock.put(1, Table.INPUT, 30, IDENTITY)
    clock.wait_until(0.02)
    assert scanner.scan().identity_right.closed


def test_of_two_identities_one_wrong_is_wrong() -> None:
    mock = healthy_mock()
    given = two_unit_stand()
    modules = {
        name: replace(module, identity=Identity(Table.HOLDING, 7, 700 + module.unit))
        for name, module in given.modules.items()
    }
    mock.put(1, Table.HOLDING, 7, 701)
    mock.put(2, Table.HOLDING, 7, 701)
    scanner, _, _, _ = connected(replace(given, modules=modules), mock)
    assert not scanner.scan().identity_right.closed
    mock.put(2, Table.HOLDING, 7, 702)
    assert scanner.scan().identity_right.closed


def test_the_watchdog_counts_as_armed_only_while_its_register_holds_the_timeout() -> None:
    mock = healthy_mock()
    scanner, _, clock, _ = connected(stand(), mock)
    assert scanner.scan().watchdog_armed == Contact(False, Health.GOOD, 0.0)
    assert scanner.returned == {"io"}
    mock.put(1, Table.HOLDING, 40, 500)
    assert scanner.scan().watchdog_armed.closed
    mock.put(1, Table.HOLDING, 40, 0)
    clock.wait_until(1.0)
    assert not scanner.scan().watchdog_armed.closed


def test_without_a_casing_transmitter_the_read_back_stands_for_the_pressure() -> None:
    mock = healthy_mock()
    mock.put(1, Table.INPUT, 3, 12000)
    scanner, _, _, _ = connected(replace(stand(), casing_pressure=None), mock)
    reading = scanner.scan()
    assert reading.pressure_is_inferred
    assert reading.pressure.value == pytest.approx(30 * PSI)


def test_without_a_read_back_either_it_is_what_was_last_written() -> None:
    scanner, _, _, _ = connected(replace(stand(), casing_pressure=None, demand_readback=None), healthy_mock())
    assert scanner.scan().pressure.health is Health.UNKNOWN
    scanner.commanded_pa = 7 * PSI
    assert scanner.scan().pressure == Signal(7 * PSI, Health.GOOD, 0.0)
    scanner.commanded_pa = None
    assert scanner.scan().pressure.health is Health.UNKNOWN


def test_a_module_that_is_to_be_left_unasked_is_not_asked() -> None:
    mock = healthy_mock()
    scanner, _, _, _ = connected(stand(), mock)
    reading = scanner.scan(skip=frozenset({"io"}))
    assert mock.asked == []
    assert reading.pressure.health is Health.UNKNOWN
    assert "watchdog" in scanner.problems[0]


def test_a_bus_that_does_not_come_up_is_told_at_connecting() -> None:
    scanner, _, _, bus = connected(stand(), healthy_mock())

    def refuse() -> None:
        raise LinkFault("connection", "no answer")

    bus.connect = refuse  # type: ignore[method-assign]
    with pytest.raises(LinkFault):
        scanner.connect()
