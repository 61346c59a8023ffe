"""The one writer: what is written, in which order, by which function; the watchdog; what is never written."""

from dataclasses import replace
from itertools import pairwise

import pytest

from rig.stand.clock import VirtualClock
from rig.stand.link import InProcessBus, LinkFault
from rig.stand.model import BitChannel, Number, Stand, Table, Watchdog
from rig.stand.outputs import NotAnOutput, Outputs, declared_outputs, write_function
from safety.signals import SAFE_COMMAND, Command

from .stands import PSI, Mock, channel, connected, healthy_mock, stand, with_module

RISE = Command(30 * PSI, True, False, True)
HOLDING, COILS = Table.HOLDING, Table.COILS


def no_watchdog() -> Stand:
    return with_module(stand(), watchdog=None)


def apply(given: Stand, *commands: Command, mock: Mock | None = None) -> Mock:
    mock = mock or healthy_mock()
    _, outputs, _, _ = connected(given, mock)
    for command in commands:
        outputs.apply(command)
    return mock


def test_the_first_command_is_written_in_full_vent_first() -> None:
    assert apply(no_watchdog(), SAFE_COMMAND).written == [
        (1, COILS, 1, (0,)),  # inverted: 0 opens the vent
        (1, COILS, 0, (0,)),
        (1, HOLDING, 0, (4000,)),
    ]


def test_only_what_changed_is_written() -> None:
    higher = replace(RISE, output_pa=45 * PSI)
    mock = apply(no_watchdog(), RISE, RISE, higher)
    assert mock.written[3:] == [(1, HOLDING, 0, (16000,))]


def test_air_is_let_in_last() -> None:
    written = apply(no_watchdog(), SAFE_COMMAND, RISE).written[3:]
    assert written == [(1, HOLDING, 0, (12000,)), (1, COILS, 1, (1,)), (1, COILS, 0, (1,))]


def test_bits_in_one_register_are_written_together_from_declared_bits_only() -> None:
    given = replace(
        no_watchdog(),
        supply_valve=BitChannel("supply valve", "io", HOLDING, 9, bit=3),
        vent_valve=BitChannel("vent valve", "io", HOLDING, 9, bit=12, inverted=True),
    )
    mock = healthy_mock()
    mock.put(1, HOLDING, 9, 0xFFFF)
    apply(given, SAFE_COMMAND, RISE, mock=mock)
    assert [w for w in mock.written if w[2] == 9] == [
        (1, HOLDING, 9, (0,)),
        (1, HOLDING, 9, (1 << 3 | 1 << 12,)),
    ]


@pytest.mark.parametrize(
    ("function", "writes"),
    [
        (None, [(0, 2)]),
        (16, [(0, 2)]),
        (6, [(0, 1), (1, 1)]),
    ],
)
def test_a_float_output_goes_out_by_the_function_the_module_takes(
    function: int | None, writes: list[tuple[int, int]]
) -> None:
    given = with_module(no_watchdog(), write_function=function)
    demand = channel("demand output", "io", 0, 1.0, table=HOLDING, number=Number.FLOAT32, live=None)
    given = replace(given, demand_output=demand, supply_valve=None, vent_valve=None)
    mock = apply(given, RISE)
    assert [(w[2], len(w[3])) for w in mock.written] == writes


@pytest.mark.parametrize(
    ("table", "count", "only", "expected"),
    [
        (HOLDING, 1, None, 6),
        (HOLDING, 2, None, 16),
        (HOLDING, 1, 16, 16),
        (HOLDING, 2, 6, 6),
        (COILS, 1, None, 5),
        (COILS, 2, None, 15),
        (COILS, 1, 15, 15),
        (COILS, 2, 5, 5),
    ],
)
def test_the_function_code_follows_the_module(
    table: Table, count: int, only: int | None, expected: int
) -> None:
    module = with_module(stand(), write_function=only, coil_write_function=only).modules["io"]
    assert write_function(module, table, count) == expected


def test_what_is_not_declared_as_an_output_is_never_written() -> None:
    mock = healthy_mock()
    _, outputs, _, _ = connected(no_watchdog(), mock)
    for key in (("io", HOLDING, 1), ("io", COILS, 2), ("io", Table.INPUT, 0), ("io", HOLDING, 40)):
        with pytest.raises(NotAnOutput, match="never written"):
            outputs._send(key, (1,))
    with pytest.raises(NotAnOutput):
        outputs._send(("io", HOLDING, 0), (1, 2))  # begins on an output, runs past it
    assert mock.written == []


def test_the_declared_outputs_are_exactly_those_of_the_stand_file() -> None:
    assert declared_outputs(stand()) == {
        ("io", HOLDING, 0),
        ("io", COILS, 0),
        ("io", COILS, 1),
        ("io", HOLDING, 40),
    }


def test_a_failed_write_is_told_and_tried_again_and_the_others_still_go_out() -> None:
    mock = healthy_mock()
    mock.refuses[1, COILS, 1] = 4
    _, outputs, _, _ = connected(no_watchdog(), mock)
    with pytest.raises(LinkFault, match="exception 4"):
        outputs.apply(SAFE_COMMAND)
    assert [w[:3] for w in mock.written] == [(1, COILS, 0), (1, HOLDING, 0)]
    mock.refuses.clear()
    outputs.apply(SAFE_COMMAND)
    assert mock.written[2:] == [(1, COILS, 1, (0,))]


def test_all_faults_of_a_command_are_told_together() -> None:
    mock = healthy_mock()
    mock.refuses = {(1, COILS, 1): 4, (1, HOLDING, 0): 6}
    _, outputs, _, _ = connected(no_watchdog(), mock)
    with pytest.raises(LinkFault) as fault:
        outputs.apply(SAFE_COMMAND)
    assert "exception 4" in str(fault.value)
    assert "exception 6" in str(fault.value)


# -- watchdog --------------------------------------------------------------------------------------


def dog(**changes: object) -> Watchdog:
    return replace(Watchdog(0.5, "writes", timeout_register=40), **changes)  # type: ignore[arg-type]


def test_the_watchdog_is_armed_before_anything_else_and_once() -> None:
    mock = apply(stand(), SAFE_COMMAND, SAFE_COMMAND)
    assert mock.written[0] == (1, HOLDING, 40, (500,))
    assert sum(w[2] == 40 for w in mock.written) == 1


@pytest.mark.parametrize(("unit_s", "counts"), [(0.001, 500), (0.1, 5), (10.0, 1)])
def test_the_timeout_is_written_in_the_registers_own_unit(unit_s: float, counts: int) -> None:
    mock = apply(with_module(stand(), watchdog=dog(timeout_unit_s=unit_s)), SAFE_COMMAND)
    assert mock.written[0] == (1, HOLDING, 40, (counts,))


def test_a_module_fed_by_writes_is_written_four_times_within_its_timeout() -> None:
    mock = healthy_mock()
    _, outputs, clock, _ = connected(with_module(stand(), watchdog=dog()), mock)
    times = []
    for slot in range(100):
        clock.wait_until(slot * 0.02)
        before = len(mock.written)
        outputs.apply(SAFE_COMMAND)
        if len(mock.written) > before:
            times.append(clock.now())
    gaps = [later - earlier for earlier, later in pairwise(times)]
    assert max(gaps) <= 0.5 / 4 + 0.02
    assert min(gaps) >= 0.5 / 4 - 1e-9


def test_a_latched_trip_is_taken_back_only_into_safe_outputs() -> None:
    latched = dog(latched=True, reset_register=41, reset_value=7)
    mock = healthy_mock()
    _, outputs, _, _ = connected(with_module(stand(), watchdog=latched), mock)
    outputs.apply(RISE)
    assert not any(w[2] == 41 for w in mock.written)
    mock.written.clear()
    outputs.apply(SAFE_COMMAND)
    kinds = [(w[1], w[2]) for w in mock.written]
    at = kinds.index((HOLDING, 41))
    outputs_of_it = {(COILS, 0), (COILS, 1), (HOLDING, 0)}
    assert mock.written[at][3] == (7,)
    assert set(kinds[:at]) == outputs_of_it, "safe values stand in the module before it lets go"
    assert set(kinds[at + 1 :]) == outputs_of_it, "and are said again to one that did not listen"


def test_arming_that_failed_is_tried_again() -> None:
    mock = healthy_mock()
    mock.refuses[1, HOLDING, 40] = 6
    _, outputs, _, _ = connected(stand(), mock)
    with pytest.raises(LinkFault):
        outputs.apply(SAFE_COMMAND)
    mock.refuses.clear()
    outputs.apply(SAFE_COMMAND)
    assert (1, HOLDING, 40, (500,)) in mock.written


def test_after_a_reconnection_everything_is_armed_and_written_anew() -> None:
    mock = healthy_mock()
    _, outputs, _, bus = connected(stand(), mock)
    outputs.apply(RISE)
    first = list(mock.written)
    mock.written.clear()
    bus.connect()
    outputs.apply(RISE)
    assert mock.written == first


def test_a_module_said_to_have_returned_is_armed_and_written_anew() -> None:
    mock = healthy_mock()
    _, outputs, _, _ = connected(stand(), mock)
    outputs.apply(RISE)
    first = list(mock.written)
    mock.written.clear()
    outputs.renew({"io", "a module without outputs"})
    outputs.apply(RISE)
    assert mock.written == first


def test_an_unfed_watchdog_is_neither_written_nor_asked_until_it_must_have_expired() -> None:
    mock = healthy_mock()
    clock = VirtualClock()
    given = with_module(stand(), watchdog=dog(fed_by="any request"))
    outputs = Outputs(given, {"bay": InProcessBus(mock)}, clock)
    outputs.apply(SAFE_COMMAND)
    mock.written.clear()
    outputs.apply(replace(SAFE_COMMAND, feed_watchdog=False))
    assert outputs.starved == {"io"}
    clock.wait_until(0.99)
    outputs.apply(replace(SAFE_COMMAND, feed_watchdog=False))
    assert outputs.starved == {"io"}
    assert mock.written == []
    clock.wait_until(1.01)
    assert outputs.starved == frozenset()


@pytest.mark.parametrize("fed_by", ["any request", "writes"])
def test_when_an_unfed_watchdog_must_have_expired_the_safe_values_are_said_in_every_scan(fed_by: str) -> None:
    """Else a second program, which feeds it, would have the last word."""
    mock, clock, unfed = healthy_mock(), VirtualClock(), replace(SAFE_COMMAND, feed_watchdog=False)
    outputs = Outputs(with_module(stand(), watchdog=dog(fed_by=fed_by)), {"bay": InProcessBus(mock)}, clock)
    outputs.apply(SAFE_COMMAND)
    mock.written.clear()
    outputs.apply(unfed)
    clock.wait_until(0.99)
    outputs.apply(unfed)
    assert mock.written == []
    clock.wait_until(1.01)
    for scans in (1, 2, 3):
        outputs.apply(unfed)
        assert len(mock.written) == 3 * scans


def test_a_clock_that_was_set_back_does_not_starve_a_watchdog() -> None:
    mock, clock = healthy_mock(), VirtualClock()
    outputs = Outputs(with_module(stand(), watchdog=dog()), {"bay": InProcessBus(mock)}, clock)
    clock.wait_until(100.0)
    outputs.apply(SAFE_COMMAND)
    mock.written.clear()
    clock._now_s = 40.0
    outputs.apply(SAFE_COMMAND)
    assert len(mock.written) == 1  # one write feeds it


def test_one_fed_by_writes_goes_on_being_read_while_it_starves() -> None:
    _, outputs, _, _ = connected(with_module(stand(), watchdog=dog()), healthy_mock())
    outputs.apply(replace(SAFE_COMMAND, feed_watchdog=False))
    assert outputs.starved == frozenset()


def test_without_a_watchdog_the_safe_values_are_said_again_in_every_scan() -> None:
    unfed = replace(SAFE_COMMAND, feed_watchdog=False)
    assert len(apply(no_watchdog(), unfed, unfed, unfed).written) == 9


def test_fed_again_it_is_armed_and_written_anew() -> None:
    mock = healthy_mock()
    _, outputs, _, _ = connected(stand(), mock)
    outputs.apply(SAFE_COMMAND)
    first = list(mock.written)
    outputs.apply(replace(SAFE_COMMAND, feed_watchdog=False))
    mock.written.clear()
    outputs.apply(SAFE_COMMAND)
    assert mock.written == first
    assert outputs.starved == frozenset()
