"""Modbus against its specifications, through our adapter and through the simulated stand's servers.

A = MODBUS Application Protocol Specification V1.1b3; B = MODBUS over Serial Line V1.02. The frames are in
data/modbus_vectors.csv with the clause each was read from; CRC and MBAP framing of them are computed.
"""

import csv
import random
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from struct import pack

import pymodbus
import pytest
from pymodbus.framer import FramerRTU

from rig.stand.line_time import (
    character_s,
    longest_pause_s,
    read_characters,
    silence_s,
    write_characters,
)
from rig.stand.link import EXCEPTIONS, LinkFault
from rig.stand.modbus import ModbusBus
from rig.stand.model import BitChannel, Module, Number, RtuLink, Stand, Table, TcpLink, Watchdog
from simulator import Actuator, SimulatedStand
from simulator.wire import serve_tcp
from simulator.wire.pdu import answer
from simulator.wire.rtu import crc16
from tests.rig.raw_servers import ScriptedLine, ScriptedTcp
from tests.rig.stands import channel, stand

UNIT = 0x11
with (Path(__file__).parent / "data" / "modbus_vectors.csv").open(newline="") as file:
    VECTORS = {row["name"]: row for row in csv.DictReader(file)}
HOLDING, INPUT, COILS = Table.HOLDING, Table.INPUT, Table.COILS
LIBRARY = f"pymodbus {pymodbus.__version__}"


def octets(name: str, column: str) -> bytes:
    return bytes.fromhex(VECTORS[name][column])


def pdu(name: str) -> bytes:
    return octets(name, "pdu_hex")


# -- M1, M2: the CRC -------------------------------------------------------------------------------

CRCS: list[Callable[[bytes], int]] = [
    crc16,
    lambda data: int.from_bytes(FramerRTU.compute_CRC(data).to_bytes(2, "little"), "big"),
]


@pytest.mark.parametrize("crc", CRCS, ids=["simulator", LIBRARY])
def test_crc_worked_example(crc: Callable[[bytes], int]) -> None:
    assert crc(bytes([0x02, 0x07])) == 0x1241  # B, 6.2.2, pages 39-41; sent 41 12


@pytest.mark.parametrize("crc", CRCS, ids=["simulator", LIBRARY])
def test_crc_check_value(crc: Callable[[bytes], int]) -> None:
    assert crc(b"123456789") == 0x4B37  # from memory: the usual check input; algorithm B, 6.2.2


def test_crc_of_a_frame_with_its_crc_is_zero_and_both_codes_agree() -> None:
    draw = random.Random(20061220)
    for _ in range(2000):
        frame = draw.randbytes(draw.randint(1, 254))
        own, library = (crc(frame) for crc in CRCS)
        assert own == library, LIBRARY
        assert crc16(frame + own.to_bytes(2, "little")) == 0  # B, 6.2.2


@pytest.mark.parametrize("name", VECTORS)
def test_crc_of_every_published_frame(name: str) -> None:
    adu = octets(name, "rtu_adu_unit_0x11_hex")
    assert adu[:-2] == bytes([UNIT]) + pdu(name)
    assert crc16(adu[:-2]) == int(VECTORS[name]["crc_value_hex"], 16)


# -- M3 to M7, M10, M18: our adapter sends and takes exactly the published frames --------------------

Ask = Callable[[ModbusBus], object]
EXCHANGES: list[tuple[str, str, Ask, object]] = [
    ("fc03 request", "fc03 response", lambda b: b.read(UNIT, HOLDING, 107, 3), [555, 0, 100]),  # A, 6.3
    ("fc04 request", "fc04 response", lambda b: b.read(UNIT, INPUT, 8, 1), [10]),  # A, 6.4
    ("fc05 request=response", "", lambda b: b.write(UNIT, COILS, 172, (1,), 5), None),  # A, 6.5
    ("fc06 request=response", "", lambda b: b.write(UNIT, HOLDING, 1, (3,), 6), None),  # A, 6.6
    (
        "fc16 request",
        "fc16 response",
        lambda b: b.write(UNIT, HOLDING, 1, (0x000A, 0x0102), 16),  # A, 6.12
        None,
    ),
]


@pytest.mark.parametrize(("request_name", "response_name", "ask", "value"), EXCHANGES)
def test_exchange_over_tcp(request_name: str, response_name: str, ask: Ask, value: object) -> None:
    expected = octets(request_name, "tcp_adu_tid_0x1501_unit_0x11_hex")
    reply = octets(response_name or request_name, "tcp_adu_tid_0x1501_unit_0x11_hex")
    with ScriptedTcp(lambda request: request[:2] + reply[2:]) as far:
        bus = ModbusBus(TcpLink("bay", "127.0.0.1", far.port, 1.0))
        bus.connect()
        assert ask(bus) == value
        bus.close()
    assert far.requests[0][2:] == expected[2:]  # the first two bytes number the transaction


@pytest.mark.parametrize(("request_name", "response_name", "ask", "value"), EXCHANGES)
def test_exchange_over_rtu(request_name: str, response_name: str, ask: Ask, value: object) -> None:
    reply = octets(response_name or request_name, "rtu_adu_unit_0x11_hex")
    with ScriptedLine(lambda request: reply) as far:
        bus = ModbusBus(RtuLink("line", far.device, parity="none", deadline_s=1.0))
        bus.connect()
        assert ask(bus) == value
        bus.close()
    assert far.requests == [octets(request_name, "rtu_adu_unit_0x11_hex")]


def test_exception_frame_becomes_a_typed_fault() -> None:
    """A, 7, page 47: FC01 of one coil at 04A1, which is not there."""
    reply = octets("exception response", "rtu_adu_unit_0x11_hex")
    with ScriptedLine(lambda request: reply) as far:
        bus = ModbusBus(RtuLink("line", far.device, parity="none", deadline_s=1.0))
        bus.connect()
        with pytest.raises(LinkFault) as fault:
            bus.read(UNIT, COILS, 0x04A1, 1)
        bus.close()
    assert far.requests == [octets("fc01 request answered by exception", "rtu_adu_unit_0x11_hex")]
    assert (fault.value.kind, fault.value.code) == ("device", 2)


def test_exception_codes_have_their_meanings() -> None:
    """A, 7, pages 48-49."""
    begin = {
        1: "illegal function",
        2: "illegal data address",
        3: "illegal data value",
        4: "server device failure",
        5: "acknowledge",
        6: "server device busy",
        8: "memory parity error",
        10: "gateway path unavailable",
        11: "gateway target device failed to respond",
    }
    assert {code: text.split(":")[0] for code, text in EXCEPTIONS.items()} == begin


# -- the simulated stand as a server ---------------------------------------------------------------

ACTUATOR = Actuator(
    area_m2=0.05, rated_travel_m=0.03, stroke_m=0.04, travel_m=0.03, preload_n=3000, spring_rate_n_per_m=2e5
)


def simulated(**changes: object) -> SimulatedStand:
    """Unit 0x11 with 100 input registers; one module, gaps read as zero."""
    base = stand()
    module = Module("io", "bay", UNIT)
    given: Stand = replace(
        base,
        modules={"io": module},
        stem_position=channel("stem position", "io", 99, 0.05),
        supply_valve=BitChannel("supply valve", "io", COILS, 172),
        vent_valve=BitChannel("vent valve", "io", COILS, 173),
    )
    return SimulatedStand(replace(given, **changes), ACTUATOR)  # type: ignore[arg-type]


@contextmanager
def served(machine: SimulatedStand) -> Iterator[ModbusBus]:
    with serve_tcp(machine) as server:
        bus = ModbusBus(TcpLink("bay", "127.0.0.1", server.port, 1.0))
        bus.connect()
        yield bus
        bus.close()


def code(machine: SimulatedStand, request: bytes) -> int:
    """Exception code of the answer, 0 for none."""
    reply = answer(machine, None, UNIT, request)
    assert reply[0] & 0x7F == request[0]
    return reply[1] if reply[0] & 0x80 else 0


@pytest.mark.parametrize(("value", "expected"), [(0xFF00, 0), (0x0000, 0), (0x0001, 3), (0xFFFF, 3)])
def test_a_coil_is_written_by_two_values_only(value: int, expected: int) -> None:
    assert code(simulated(), pack(">BHH", 5, 172, value)) == expected  # A, 6.5


def test_single_coil_and_single_register_are_echoed() -> None:
    machine = simulated(demand_output=channel("demand output", "io", 1, 1.0, table=HOLDING, live=None))
    for name in ("fc05 request=response", "fc06 request=response"):  # A, 6.5 and 6.6
        assert answer(machine, None, UNIT, pdu(name)) == pdu(name)


def test_mask_write() -> None:
    """A, 6.16, pages 36-37: 12 masked with F2 and 25 becomes 17, all hexadecimal."""
    machine = simulated(demand_output=channel("demand output", "io", 4, 1.0, table=HOLDING, live=None))
    machine.write(UNIT, HOLDING, 4, [0x12])
    assert answer(machine, None, UNIT, pdu("fc22 request=response")) == pdu("fc22 request=response")
    assert machine.read(UNIT, HOLDING, 4, 1) == [0x17]


def read_write_machine() -> SimulatedStand:
    """Registers 14 to 16 can be written: a float and the watchdog's timeout."""
    dog = Watchdog(30.0, "any request", timeout_register=16)
    demand = channel("demand output", "io", 14, 1.0, table=HOLDING, number=Number.FLOAT32)
    return simulated(modules={"io": Module("io", "bay", UNIT, watchdog=dog)}, demand_output=demand)


def test_read_write() -> None:
    """A, 6.17, page 38."""
    machine = read_write_machine()
    held = machine.unit(UNIT).values[HOLDING]
    held.update(zip(range(3, 9), (0x00FE, 0x0ACD, 1, 3, 0x000D, 0x00FF), strict=True))
    assert answer(machine, None, UNIT, pdu("fc23 request")) == pdu("fc23 response")
    assert [held[at] for at in (14, 15, 16)] == [0xFF] * 3


def test_read_write_writes_before_it_reads() -> None:
    """A, 6.17: "The write operation is performed before the read"."""
    request = pack(">BHHHHBH", 23, 14, 1, 14, 1, 2, 0x4242)
    assert answer(read_write_machine(), None, UNIT, request)[2:] == b"\x42\x42"


# -- M12 to M15 ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "expected"), [(4, 0), (5, 2)])
def test_a_block_past_the_last_register_is_refused(count: int, expected: int) -> None:
    """A, 7, page 48: with 100 registers, 4 from 96 are there, 5 are not."""
    with served(simulated()) as bus:
        if not expected:
            assert len(bus.read(UNIT, INPUT, 96, count)) == count
            return
        with pytest.raises(LinkFault) as fault:
            bus.read(UNIT, INPUT, 96, count)
        assert fault.value.code == expected


QUANTITIES = [  # A, 6.1 to 6.4, 6.11, 6.12, 6.17
    (lambda n: pack(">BHH", 1, 0, n), 2000),
    (lambda n: pack(">BHH", 2, 0, n), 2000),
    (lambda n: pack(">BHH", 3, 0, n), 125),
    (lambda n: pack(">BHH", 4, 0, n), 125),
    (lambda n: pack(">BHHB", 15, 0, n, (n + 7) // 8 & 0xFF) + bytes((n + 7) // 8), 1968),
    (lambda n: pack(">BHHB", 16, 0, n, 2 * n & 0xFF) + bytes(2 * n), 123),
    (lambda n: pack(">BHHHHB", 23, 0, n, 14, 1, 2) + bytes(2), 125),
    (lambda n: pack(">BHHHHB", 23, 0, 1, 14, n, 2 * n & 0xFF) + bytes(2 * n), 121),
]


@pytest.mark.parametrize(("request_of", "most"), QUANTITIES)
def test_quantities_outside_their_limits_are_refused_as_values(
    request_of: Callable[[int], bytes], most: int
) -> None:
    machine = read_write_machine()
    assert code(machine, request_of(0)) == 3
    assert code(machine, request_of(most + 1)) == 3
    assert code(machine, request_of(most)) in (0, 2)  # allowed; there may not be as many registers


@pytest.mark.parametrize(("table", "most"), [(HOLDING, 125), (INPUT, 125), (COILS, 2000)])
def test_our_adapter_reads_as_much_as_is_allowed(table: Table, most: int) -> None:
    machine = simulated(
        casing_pressure=channel("casing pressure", "io", 199, 1.0),
        demand_output=channel("demand output", "io", 199, 1.0, table=HOLDING, live=None),
        vent_valve=BitChannel("vent valve", "io", COILS, 2100),
    )
    with served(machine) as bus:
        assert len(bus.read(UNIT, table, 3, most)) == most


@pytest.mark.parametrize(
    ("request_", "expected"),
    [
        (pack(">BHH", 9, 0xFFFF, 0), 1),  # function, quantity and address wrong
        (pack(">BHH", 3, 0xFFF0, 0), 3),  # quantity and address wrong
        (pack(">BHH", 3, 0xFFF0, 1), 2),  # address wrong
        (pack(">BHH", 5, 0xFFF0, 7), 3),  # value and address wrong
    ],
)
def test_the_first_thing_wrong_is_the_one_told(request_: bytes, expected: int) -> None:
    """Order function, quantity or value, address: A, figures 13, 22, 26 (order in the drawings: memory)."""
    assert code(simulated(), request_) == expected


@pytest.mark.parametrize(("size", "dropped"), [(253, False), (254, True)])
def test_a_pdu_longer_than_253_bytes_is_not_modbus(size: int, dropped: bool) -> None:
    """PDU 253 bytes: A, 4.1; TCP ADU 260 (= 253 + 7): from memory."""
    with (
        serve_tcp(simulated()) as server,
        socket.create_connection(("127.0.0.1", server.port), timeout=5.0) as peer,
    ):
        peer.sendall(pack(">HHHB", 1, 0, size + 1, UNIT) + b"\x09" + bytes(size - 1))
        try:
            heard = peer.recv(300)
        except ConnectionResetError:
            heard = b""
    assert (heard == b"") is dropped


# -- M16, M17: the serial line ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("baud", "pause_us", "silence_us"),
    [  # B, 2.5.1.1, pages 12-13: 1.5 and 3.5 characters, fixed above 19200 Bd; products computed
        (1200, 13_750.0, 32_083.33),
        (9600, 1_718.75, 4_010.42),
        (19200, 859.375, 2_005.21),
        (38400, 750.0, 1_750.0),
        (115200, 750.0, 1_750.0),
    ],
)
def test_silent_intervals(baud: int, pause_us: float, silence_us: float) -> None:
    assert longest_pause_s(baud) * 1e6 == pytest.approx(pause_us, abs=0.01)
    assert silence_s(baud) * 1e6 == pytest.approx(silence_us, abs=0.01)


def test_a_character_is_eleven_bits_and_parity_is_even_by_default() -> None:
    """B, 2.5.1."""
    assert character_s(11_000) == pytest.approx(0.001)
    line = RtuLink("line", "/dev/ttyS0")
    assert (line.parity, line.stop_bits, line.baud) == ("even", 1, 19200)


@pytest.mark.parametrize(
    ("names", "characters"),
    [
        (("fc03 request", "fc03 response"), read_characters(HOLDING, 3)),
        (("fc04 request", "fc04 response"), read_characters(INPUT, 1)),
        (("fc05 request=response",) * 2, write_characters(5, 1)),
        (("fc06 request=response",) * 2, write_characters(6, 1)),
        (("fc16 request", "fc16 response"), write_characters(16, 2)),
    ],
)
def test_an_exchange_has_as_many_characters_as_its_published_frames(
    names: tuple[str, str], characters: int
) -> None:
    assert sum(len(octets(name, "rtu_adu_unit_0x11_hex")) for name in names) == characters
