"""One suite for mock and simulator, in process, on TCP and on RTU: what any stand's far end has to do.

Every test speaks in protocol data units of MODBUS Application Protocol Specification V1.1b3 (section in
brackets) and so sees exactly what a client sees.
"""

import os
import select
import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from struct import pack, unpack

import pytest

from simulator import MockStand, SimulatedStand, actuator_for
from simulator.registers import NoAnswer
from simulator.transmitters import PERFECT
from simulator.wire import Still, serve_rtu, serve_tcp
from simulator.wire.pdu import answer
from simulator.wire.rtu import crc16, framed
from tests.simulator.stands import INCH, PSI, stand

STAND = stand()
VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
FarEnd = MockStand | SimulatedStand
Exchange = Callable[[int, bytes], bytes | None]  # unit, PDU -> PDU, None for silence


def mock() -> FarEnd:
    return MockStand(STAND)


def simulated() -> FarEnd:
    return SimulatedStand(STAND, VALVE, errors={"": PERFECT})


@contextmanager
def in_process(far: FarEnd) -> Iterator[Exchange]:
    def exchange(unit: int, pdu: bytes) -> bytes | None:
        try:
            return answer(far, None, unit, pdu)
        except NoAnswer:
            return None

    yield exchange


@contextmanager
def over_tcp(far: FarEnd) -> Iterator[Exchange]:
    with (
        serve_tcp(far, pace=Still()) as server,
        socket.create_connection(("127.0.0.1", server.port), timeout=5.0) as line,
    ):

        def exchange(unit: int, pdu: bytes) -> bytes | None:
            line.sendall(pack(">HHHB", 9, 0, len(pdu) + 1, unit) + pdu)
            head = line.recv(7, socket.MSG_WAITALL)
            transaction, protocol, length, back = unpack(">HHHB", head)
            assert (transaction, protocol, back) == (9, 0, unit)
            return line.recv(length - 1, socket.MSG_WAITALL)

        yield exchange


@contextmanager
def over_rtu(far: FarEnd) -> Iterator[Exchange]:
    from simulator.wire.terminal import PseudoLine

    with PseudoLine() as line, serve_rtu(far, line.server_fd, 1_000_000, Still()):
        client = os.open(line.device, os.O_RDWR | os.O_NOCTTY)

        def exchange(unit: int, pdu: bytes) -> bytes | None:
            os.write(client, framed(unit, pdu))
            got, patience_s = b"", 5.0 if unit == 1 else 0.1
            while (len(got) < 5 or crc16(got)) and select.select([client], [], [], patience_s)[0]:
                got += os.read(client, 300)
            if not got:
                return None
            assert got[0] == unit
            assert crc16(got) == 0
            return got[1:-2]

        yield exchange
        os.close(client)


POSIX = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
WAYS = [in_process, over_tcp, pytest.param(over_rtu, marks=POSIX)]
Both = tuple[FarEnd, Exchange]


@pytest.fixture(params=[mock, simulated])
def far(request: pytest.FixtureRequest) -> FarEnd:
    made: FarEnd = request.param()
    return made


@pytest.fixture(params=WAYS)
def ask(request: pytest.FixtureRequest, far: FarEnd) -> Iterator[Exchange]:
    with request.param(far) as exchange:
        yield exchange


def sent(ask: Exchange, pdu: str, unit: int = 1) -> bytes | None:
    return ask(unit, bytes.fromhex(pdu))


def words(ask: Exchange, pdu: str) -> list[int]:
    got = sent(ask, pdu)
    assert got is not None
    assert got[0] < 0x80, f"refused: {got.hex(' ')}"
    return list(unpack(f">{got[1] // 2}H", got[2:]))


def test_the_identity_register_tells_who_it_is(ask: Exchange) -> None:
    assert words(ask, "04 00 14 00 01") == [0x5A31]


def test_every_input_of_the_stand_file_can_be_read_at_rest(ask: Exchange) -> None:
    # casing, stem, supply, demand read-back in one block [6.4]; no pressure and no demand are 4 mA
    casing, stem, supply, demand = words(ask, "04 00 00 00 04")
    assert (casing, stem, demand) == pytest.approx((4000, 4000, 4000), abs=30)
    assert 4000 <= supply < 20000
    assert sent(ask, "02 00 00 00 04") == bytes.fromhex("02 01 0B")  # healthy, closed, supply shut, venting


def test_outputs_hold_what_is_written_and_show_it_back(far: FarEnd, ask: Exchange) -> None:
    assert sent(ask, "06 00 00 2E E0") == bytes.fromhex("06 00 00 2E E0")  # [6.6] echo
    assert sent(ask, "0F 00 00 00 02 01 03") == bytes.fromhex("0F 00 00 00 02")  # [6.11]
    assert words(ask, "03 00 00 00 01") == [12000]
    assert sent(ask, "01 00 00 00 02") == bytes.fromhex("01 01 03")
    far.advance(0.1)
    assert words(ask, "04 00 03 00 01") == [12000]
    assert sent(ask, "02 00 02 00 02") == bytes.fromhex("02 01 01")  # supply open, vent shut


def test_one_coil_at_a_time_and_several_registers_at_once(ask: Exchange) -> None:
    assert sent(ask, "05 00 01 FF 00") == bytes.fromhex("05 00 01 FF 00")  # [6.5]
    assert sent(ask, "01 00 00 00 02") == bytes.fromhex("01 01 02")
    assert sent(ask, "10 00 00 00 01 02 1F 40") == bytes.fromhex("10 00 00 00 01")  # [6.12]
    assert words(ask, "03 00 00 00 01") == [8000]


@pytest.mark.parametrize(
    ("request_pdu", "expected"),
    [
        ("06 00 05 00 01", "86 02"),  # between demand and watchdog: there to read, not to write
        ("06 01 F4 00 01", "86 02"),  # beyond everything
        ("10 00 00 00 02 04 00 01 00 02", "90 02"),  # one declared, one not: neither is written
        ("05 00 09 FF 00", "85 02"),
    ],
)
def test_what_the_stand_file_does_not_declare_cannot_be_written(
    ask: Exchange, request_pdu: str, expected: str
) -> None:
    before = words(ask, "03 00 00 00 01")
    assert sent(ask, request_pdu) == bytes.fromhex(expected)
    assert words(ask, "03 00 00 00 01") == before


@pytest.mark.parametrize(
    ("request_pdu", "expected"),
    [
        ("07", "87 01"),  # a function that it has not [7, code 01]
        ("04 01 F4 00 01", "84 02"),  # an address that it has not [7, code 02]
        ("04 00 14 00 01", "04 02 5A 31"),  # the last register ...
        ("04 00 14 00 02", "84 02"),  # ... and one too many: 02, as "96 and 5 of 100" [7, p. 48]
        ("04 00 00 00 00", "84 03"),  # quantity 0 [6.4]
        ("04 00 00 00 7E", "84 03"),  # 126 of at most 125 [6.4]
        ("03 00 00 00 7E", "83 03"),  # [6.3]
        ("01 00 00 07 D1", "81 03"),  # 2001 of at most 2000 [6.1]
        ("02 00 00 07 D1", "82 03"),  # [6.2]
        ("10 00 00 00 00 00", "90 03"),  # [6.12]
        ("0F 00 00 00 00 00", "8F 03"),  # [6.11]
        ("10 00 00 00 01 04 00 01 00 02", "90 03"),  # byte count of two registers for one [6.12]
        ("05 00 00 12 34", "85 03"),  # a coil is FF00 or 0000 [6.5]
        ("04 01 F4 00 7E", "84 03"),  # wrong twice: quantity is looked at before the address [state diagram]
        ("05 00 09 12 34", "85 03"),  # value before address
    ],
)
def test_exception_answers(ask: Exchange, request_pdu: str, expected: str) -> None:
    assert sent(ask, request_pdu) == bytes.fromhex(expected)


def test_the_most_that_one_request_may_write(ask: Exchange) -> None:
    # [6.12] 1..123 registers, [6.11] 1..1968 coils, one more is 03; 124 registers would not fit the 253 bytes
    assert ask(1, bytes([16, 0, 0, 0, 123, 246]) + bytes(246)) == bytes.fromhex("90 02")
    assert ask(1, bytes([15, 0, 0, 0x07, 0xB0, 246]) + bytes(246)) == bytes.fromhex("8F 02")
    assert ask(1, bytes([15, 0, 0, 0x07, 0xB1, 247]) + bytes(247)) == bytes.fromhex("8F 03")


def test_a_unit_that_is_not_there_does_not_answer_as_one_that_is(ask: Exchange) -> None:
    # a gateway says 0B [7]; on a serial line nobody speaks
    assert sent(ask, "04 00 14 00 01", unit=3) in (bytes.fromhex("84 0B"), None)


def test_the_watchdog_drops_the_outputs_and_a_request_brings_it_back(far: FarEnd, ask: Exchange) -> None:
    sent(ask, "06 00 28 01 F4")  # register 40: 500 ms
    sent(ask, "06 00 00 2E E0")
    sent(ask, "0F 00 00 00 02 01 03")
    far.advance(0.49)
    assert not far.watchdog_tripped("io")
    sent(ask, "04 00 14 00 01")  # fed
    far.advance(0.98)
    assert not far.watchdog_tripped("io")
    far.advance(1.0)
    assert far.watchdog_tripped("io")
    assert words(ask, "03 00 00 00 01") == [0]
    assert sent(ask, "01 00 00 00 02") == bytes.fromhex("01 01 00")


def test_without_a_timeout_the_watchdog_sleeps(far: FarEnd, ask: Exchange) -> None:
    sent(ask, "06 00 00 2E E0")
    far.advance(60.0)
    assert words(ask, "03 00 00 00 01") == [12000]


def test_time_passes_only_when_it_is_told_to(far: FarEnd, ask: Exchange) -> None:
    sent(ask, "0F 00 00 00 02 01 03")
    sent(ask, "06 00 00 2E E0")
    for _ in range(5):
        assert words(ask, "04 00 00 00 01") == pytest.approx([4000], abs=30)
    assert far.time_s == 0.0
    far.advance(3.0)
    assert far.time_s == 3.0
    far.advance(1.0)
    assert far.time_s == 3.0


def test_what_the_wire_does_to_answers_happens_to_both(far: FarEnd) -> None:
    with over_tcp(far) as ask:
        far.advance(0.02)
        far.condition.wire["answers short"] = 1.0
        got = sent(ask, "04 00 00 00 04")
    assert got is not None
    assert (got[1], len(got)) == (6, 8)
