"""Modbus TCP through our adapter: what goes wrong is told at once, once, and in a person's words."""

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from struct import pack

import pytest

from rig.stand.link import EXCEPTIONS, LinkFault
from rig.stand.modbus import RECONNECT_S, ModbusBus
from rig.stand.model import Table, TcpLink

from .raw_servers import CLOSE, Script, ScriptedTcp, mbap, transaction_of

DEADLINE_S = 0.05
Opened = Callable[[Script], tuple[ModbusBus, ScriptedTcp]]


@pytest.fixture
def opened() -> Iterator[Opened]:
    """Make a far end from a script, and a bus connected to it."""
    made: list[tuple[ModbusBus, ScriptedTcp]] = []

    def make(script: Script) -> tuple[ModbusBus, ScriptedTcp]:
        server = ScriptedTcp(script)
        server.__enter__()
        bus = ModbusBus(TcpLink("bay", "127.0.0.1", server.port, DEADLINE_S))
        made.append((bus, server))
        bus.connect()
        return bus, server

    yield make
    for bus, server in made:
        bus.close()
        server.__exit__(None, None, None)


def registers(*values: int) -> Script:
    """A device of unit 1 that answers every read of input registers with these."""
    pdu = pack(f">BB{len(values)}H", 4, 2 * len(values), *values)
    return lambda request: mbap(transaction_of(request), request[6], pdu)


def fault_of(act: Callable[[], object]) -> LinkFault:
    with pytest.raises(LinkFault) as caught:
        act()
    return caught.value


def test_registers_come_back_as_they_are(opened: Opened) -> None:
    bus, server = opened(registers(1, 0xFFFF, 0))
    assert bus.read(1, Table.INPUT, 7, 3) == [1, 0xFFFF, 0]
    assert server.requests[0][6:] == bytes([1, 4, 0, 7, 0, 3])


def test_bits_come_back_in_order_without_the_padding(opened: Opened) -> None:
    bus, _ = opened(lambda r: mbap(transaction_of(r), 1, bytes([2, 2, 0b00000101, 0b10])))
    assert bus.read(1, Table.DISCRETE, 0, 10) == [1, 0, 1, 0, 0, 0, 0, 0, 0, 1]


def test_silence_fails_at_the_deadline_after_a_single_try(opened: Opened) -> None:
    bus, server = opened(lambda request: None)
    began = time.monotonic()
    fault = fault_of(lambda: bus.read(1, Table.INPUT, 0, 1))
    took = time.monotonic() - began
    assert fault.kind == "timeout"
    assert str(fault) == "unit 1, input registers, address 0: no answer within 0.05 s"
    assert DEADLINE_S * 0.9 < took < 1.0
    assert len(server.requests) == 1


def test_a_late_answer_on_tcp_is_told_by_its_number_and_dropped(opened: Opened) -> None:
    answers: list[bytes] = []

    def script(request: bytes) -> bytes | None:
        answers.append(mbap(transaction_of(request), 1, bytes([4, 2, 0, len(answers) + 1])))
        return None if len(answers) == 1 else answers[0] + answers[1]

    bus, _ = opened(script)
    assert fault_of(lambda: bus.read(1, Table.INPUT, 0, 1)).kind == "timeout"
    assert bus.read(1, Table.INPUT, 0, 1) == [2]


def test_a_connection_lost_while_waiting_fails_at_once(opened: Opened) -> None:
    server_bus = opened(lambda request: CLOSE)
    bus = server_bus[0]
    bus._link = TcpLink("bay", "127.0.0.1", server_bus[1].port, 5.0)
    bus._drop()
    bus.connect()
    began = time.monotonic()
    fault = fault_of(lambda: bus.read(1, Table.INPUT, 0, 1))
    assert fault.kind == "connection"
    assert "was lost" in str(fault)
    assert time.monotonic() - began < 1.0, "not at the deadline of 5 s"


def test_a_lost_connection_comes_back_by_itself_and_counts_as_a_new_session(opened: Opened) -> None:
    answering = registers(7)
    calls: list[int] = []

    def script(request: bytes) -> bytes | None:
        calls.append(1)
        return CLOSE if len(calls) == 1 else answering(request)

    bus, server = opened(script)
    assert bus.sessions == 1
    fault_of(lambda: bus.read(1, Table.INPUT, 0, 1))
    assert asked_until_it_answers(bus) == [7]
    assert bus.sessions == 2
    assert server.connections == 2


def asked_until_it_answers(bus: ModbusBus) -> list[int]:
    """Keep asking, as the scan does."""
    give_up = time.monotonic() + 5.0
    while time.monotonic() < give_up:
        with suppress(LinkFault):
            return bus.read(1, Table.INPUT, 0, 1)
    raise AssertionError("the connection did not come back")


class FakeTime:
    """Stands in for the module `time` in the adapter."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


def test_reconnecting_is_spaced_and_nothing_is_tried_in_between(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = FakeTime()
    monkeypatch.setattr("rig.stand.modbus.time", fake)
    listener = socket.create_server(("127.0.0.1", 0))
    bus = ModbusBus(TcpLink("bay", "127.0.0.1", listener.getsockname()[1], DEADLINE_S))
    bus.connect()
    listener.close()
    bus._drop()
    fake.now_s += RECONNECT_S
    tried_s = []
    for _ in range(75):
        fake.sleep(0.01)
        if fault_of(lambda: bus.read(1, Table.INPUT, 0, 1)).asked:
            tried_s.append(fake.now_s)
    bus.close()
    assert tried_s == pytest.approx([100.26, 100.51, 100.76], abs=0.011)


@pytest.mark.parametrize("code", sorted(EXCEPTIONS))
def test_every_exception_of_the_specification_is_told_in_words(opened: Opened, code: int) -> None:
    bus, _ = opened(lambda r: mbap(transaction_of(r), 1, bytes([0x84, code])))
    fault = fault_of(lambda: bus.read(1, Table.INPUT, 9, 1))
    assert (fault.kind, fault.code) == ("device", code)
    assert EXCEPTIONS[code] in str(fault)
    assert "unit 1, input registers, address 9" in str(fault)


@pytest.mark.parametrize("held", [1, 3])
def test_an_answer_with_another_number_of_registers_is_not_taken(opened: Opened, held: int) -> None:
    bus, _ = opened(registers(*range(held)))
    fault = fault_of(lambda: bus.read(1, Table.INPUT, 0, 2))
    assert fault.kind == "answer"
    assert f"{held} registers instead of 2" in str(fault)


def test_an_answer_to_another_function_is_not_taken(opened: Opened) -> None:
    bus, _ = opened(lambda r: mbap(transaction_of(r), 1, bytes([3, 2, 0, 5])))
    assert fault_of(lambda: bus.read(1, Table.INPUT, 0, 1)).kind == "answer"


def test_bits_for_another_count_are_not_taken(opened: Opened) -> None:
    bus, _ = opened(lambda r: mbap(transaction_of(r), 1, bytes([2, 1, 1])))
    assert fault_of(lambda: bus.read(1, Table.DISCRETE, 0, 9)).kind == "answer"


@pytest.mark.parametrize(
    ("table", "values", "function", "confirmed", "right"),
    [
        (Table.HOLDING, (5,), 6, bytes([6, 0, 3, 0, 5]), True),
        (Table.HOLDING, (5,), 6, bytes([6, 0, 4, 0, 5]), False),  # another address
        (Table.HOLDING, (5,), 6, bytes([6, 0, 3, 0, 6]), False),  # another value
        (Table.HOLDING, (5, 6), 16, bytes([16, 0, 3, 0, 2]), True),
        (Table.HOLDING, (5, 6), 16, bytes([16, 0, 3, 0, 1]), False),  # another count
        (Table.COILS, (1,), 5, bytes([5, 0, 3, 0xFF, 0]), True),
        (Table.COILS, (1,), 5, bytes([5, 0, 3, 0, 0]), False),
        (Table.COILS, (1, 0), 15, bytes([15, 0, 3, 0, 2]), True),
        (Table.COILS, (1, 0), 15, bytes([15, 0, 9, 0, 2]), False),
    ],
)
def test_a_write_counts_only_when_it_is_confirmed_as_sent(
    opened: Opened, table: Table, values: tuple[int, ...], function: int, confirmed: bytes, right: bool
) -> None:
    bus, _ = opened(lambda r: mbap(transaction_of(r), 1, confirmed))
    if right:
        bus.write(1, table, 3, values, function)
    else:
        assert fault_of(lambda: bus.write(1, table, 3, values, function)).kind == "answer"


def test_a_wrong_length_in_the_header_is_no_answer(opened: Opened) -> None:
    def script(request: bytes) -> bytes:
        good = mbap(transaction_of(request), 1, bytes([4, 2, 0, 9]))
        return good[:4] + pack(">H", 40) + good[6:]

    bus, _ = opened(script)
    assert fault_of(lambda: bus.read(1, Table.INPUT, 0, 1)).kind == "timeout"


def test_a_stand_that_is_not_there_is_told_with_place_time_and_what_to_look_at() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    bus = ModbusBus(TcpLink("bay", "127.0.0.1", port, DEADLINE_S))
    fault = fault_of(bus.connect)
    bus.close()
    assert fault.kind == "connection"
    assert str(fault) == (
        f"no answer from 127.0.0.1:{port} within 0.05 s (3 tries): is the stand switched on and the cable in?"
    )


def test_one_connection_is_closed_before_another_is_opened(opened: Opened) -> None:
    bus, server = opened(registers(1))
    bus.read(1, Table.INPUT, 0, 1)
    bus.connect()
    assert bus.read(1, Table.INPUT, 0, 1) == [1]
    assert server.connections == 2


def test_closing_twice_does_no_harm(opened: Opened) -> None:
    bus, _ = opened(registers(1))
    bus.close()
    bus.close()


def test_a_storm_of_faults_logs_nothing(opened: Opened, caplog: pytest.LogCaptureFixture) -> None:
    bus, _ = opened(lambda request: None)
    for _ in range(6):
        fault_of(lambda: bus.read(1, Table.INPUT, 0, 1))
    assert caplog.records == []
