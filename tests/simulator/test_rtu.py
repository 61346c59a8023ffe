"""The stand on a serial line: frames, the baud rate's own timing, several units, independent clients."""

import os
import random
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from math import inf

import pytest

from rig.stand.model import Module, RtuLink, Table
from simulator import Fault, SimulatedStand, actuator_for
from simulator.wire.pace import LockStep
from simulator.wire.rtu import RtuServer, crc16, framed, request_length, serve_rtu, silence_s
from tests.simulator.stands import INCH, PSI, stand

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
BUS = replace(
    stand(),
    links={"bus": RtuLink("bus", "/dev/none", 19200, "none", 2)},
    modules={"io": replace(stand().modules["io"], link="bus"), "spare": Module("spare", "bus", 2)},
)
FAST = 1_000_000  # Bd: where timing is not the question


@contextmanager
def served(baud: int = FAST, *faults: Fault) -> Iterator[tuple[RtuServer, str]]:
    from simulator.wire.terminal import PseudoLine

    simulated = SimulatedStand(BUS, VALVE, faults=faults)
    simulated.advance(0.02)
    with PseudoLine() as line, serve_rtu(simulated, line.server_fd, baud, LockStep()) as server:
        yield server, line.device


def exchange(device: str, frame: bytes, wanted: int, patience_s: float = 2.0) -> tuple[bytes, float]:
    """Send a frame; what came back and after how long [s]."""
    line = os.open(device, os.O_RDWR | os.O_NOCTTY)
    try:
        sent, got = time.monotonic(), b""
        os.write(line, frame)
        while len(got) < wanted and select.select([line], [], [], patience_s)[0]:
            got += os.read(line, 300)
        return got, time.monotonic() - sent
    finally:
        os.close(line)


def test_crc_of_the_worked_example_and_the_check_value() -> None:
    # MODBUS over Serial Line V1.02, 6.2.2, p. 39: 02 07 gives 1241 hex, sent 41 12; 4B37 (memory)
    assert crc16(bytes.fromhex("02 07")) == 0x1241
    assert framed(2, b"\x07")[-2:] == bytes.fromhex("41 12")
    assert crc16(b"123456789") == 0x4B37


def test_a_frame_with_its_own_crc_has_crc_zero() -> None:
    dice = random.Random(5)
    for _ in range(200):
        frame = framed(dice.randrange(1, 248), dice.randbytes(dice.randrange(1, 250)))
        assert crc16(frame) == 0


@pytest.mark.parametrize(
    "frame",
    [  # unit 11 hex with the PDUs of the application protocol's examples; CRC computed, crcmod 1.7 agrees
        "11 03 00 6B 00 03 76 87", "11 04 00 08 00 01 B2 98", "11 05 00 AC FF 00 4E 8B",
        "11 06 00 01 00 03 9A 9B", "11 10 00 01 00 02 04 00 0A 01 02 C6 F0", "11 16 00 04 00 F2 00 25 66 E2",
    ],
)  # fmt: skip
def test_published_frames(frame: str) -> None:
    data = bytes.fromhex(frame)
    assert framed(data[0], data[1:-2]) == data
    assert request_length(data) == len(data)


@pytest.mark.parametrize(
    ("baud", "expected_us"),
    [(1200, 32083.0), (9600, 4010.42), (19200, 2005.21), (38400, 1750.0), (115200, 1750.0)],
)
def test_silent_interval_of_three_and_a_half_characters(baud: int, expected_us: float) -> None:
    # MODBUS over Serial Line V1.02, 2.5.1.1: 3.5 characters of 11 bit, fixed 1.750 ms above 19200 Bd
    assert silence_s(baud) * 1e6 == pytest.approx(expected_us, rel=1e-4)


def test_a_request_is_answered_with_a_good_crc() -> None:
    with served() as (_, device):
        got, _ = exchange(device, framed(1, bytes.fromhex("04 00 14 00 01")), 7)
        assert got[:5] == bytes.fromhex("01 04 02 5A 31")
        assert crc16(got) == 0


@pytest.mark.parametrize("baud", [9600, 19200, 115200])
def test_answers_take_the_time_that_the_line_takes(baud: int) -> None:
    # request 8, silence, answer 5 + 2 n characters of 11 bit; a busy machine may be late, never early
    asked = framed(1, bytes.fromhex("04 00 00 00 04"))
    characters = len(asked) + 5 + 2 * 4
    expected = characters * 11 / baud + silence_s(baud)
    with served(baud) as (_, device):
        quickest = inf
        for _ in range(200):  # until the machine has a quiet moment
            got, seconds = exchange(device, asked, 13)
            assert crc16(got) == 0
            assert seconds >= expected - 0.0005
            quickest = min(quickest, seconds)
            if quickest <= expected + 0.004:
                break
    assert quickest <= 1.2 * expected + 0.004


def test_several_units_share_the_bus_and_the_absent_one_is_silent() -> None:
    spare = SimulatedStand(BUS, VALVE).unit(2)
    assert spare.module.name == "spare"
    with served() as (server, device):
        server.stand.unit(2).declare(Table.HOLDING, 0, 4, writable=True)
        got, _ = exchange(device, framed(2, bytes.fromhex("06 00 01 12 34")), 8)
        assert got == framed(2, bytes.fromhex("06 00 01 12 34"))
        assert exchange(device, framed(3, bytes.fromhex("04 00 14 00 01")), 7, 0.05)[0] == b""


def test_a_spoilt_request_is_ignored_and_the_next_one_answered() -> None:
    good = framed(1, bytes.fromhex("04 00 14 00 01"))
    spoilt = good[:-1] + bytes([good[-1] ^ 1])
    with served() as (server, device):
        assert exchange(device, spoilt, 7, 0.05)[0] == b""
        assert exchange(device, good, 7)[0][:3] == bytes.fromhex("01 04 02")
        assert exchange(device, good[:5], 7, 0.1)[0] == b""  # truncated, then silence
        assert exchange(device, good, 7)[0][:3] == bytes.fromhex("01 04 02")
        assert server.bad_frames == 2


def test_exceptions_and_faults_of_the_line() -> None:
    good = framed(1, bytes.fromhex("04 00 14 00 01"))
    with served() as (_, device):
        got, _ = exchange(device, framed(1, bytes.fromhex("04 01 F4 00 01")), 5)
        assert got[:3] == bytes.fromhex("01 84 02")
    with served(FAST, Fault("answers garbled")) as (_, device):
        assert crc16(exchange(device, good, 7)[0]) != 0
    with served(FAST, Fault("answers missing")) as (_, device):
        assert exchange(device, good, 7, 0.05)[0] == b""
    with served(FAST, Fault("answers late", 0.05)) as (_, device):
        assert exchange(device, good, 7)[1] >= 0.05
    with served(FAST, Fault("answers twice")) as (_, device):
        got = exchange(device, good, 14)[0]
        assert got[:7] == got[7:]


def test_minimalmodbus_reads_and_writes() -> None:
    library = pytest.importorskip("minimalmodbus", reason="minimalmodbus is not installed")
    with served(115200) as (server, device):
        client = library.Instrument(device, 1)
        client.serial.baudrate, client.serial.timeout = 115200, 1.0
        assert client.read_register(20, 0, functioncode=4) == 0x5A31
        client.write_register(0, 9000, functioncode=6)
        assert server.stand.read(1, Table.HOLDING, 0, 1) == [9000]
        with pytest.raises(library.IllegalRequestError):
            client.read_register(500, 0, functioncode=4)
        client.serial.close()


@pytest.mark.skipif(shutil.which("mbpoll") is None, reason="mbpoll is not installed")
def test_mbpoll_reads_and_writes_on_the_serial_line() -> None:
    with served(115200) as (server, device):
        to = ["mbpoll", "-m", "rtu", "-b", "115200", "-P", "none", "-0", "-1", "-q", "-a", "1"]
        read = subprocess.run(
            [*to, "-t", "3", "-r", "20", device], capture_output=True, text=True, timeout=20
        )
        assert str(0x5A31) in read.stdout, read.stdout + read.stderr
        subprocess.run([*to, "-t", "4", "-r", "0", device, "12345"], capture_output=True, timeout=20)
        assert server.stand.read(1, Table.HOLDING, 0, 1) == [12345]
