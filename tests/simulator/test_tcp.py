"""The stand on a real TCP socket: independent clients, faults of the wire, pace, process."""

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from struct import pack, unpack

import pytest
from pymodbus.client import ModbusTcpClient

from rig.stand.model import Table, TcpLink
from simulator import Fault, SimulatedStand, actuator_for
from simulator.wire import LockStep, RealTime, TcpServer, serve_tcp, start_server_process
from tests.simulator.stands import INCH, PSI, stand

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
STAND = stand()


@contextmanager
def served(*faults: Fault, pace: RealTime | LockStep | None = None) -> Iterator[TcpServer]:
    simulated = SimulatedStand(STAND, VALVE, faults=faults)
    simulated.advance(0.02)
    with serve_tcp(simulated, pace=pace or LockStep()) as server:
        yield server


@contextmanager
def plain(server: TcpServer, patience_s: float = 2.0) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", server.port), timeout=patience_s) as line:
        yield line


def ask(line: socket.socket, pdu: str, transaction: int = 7, unit: int = 1) -> bytes:
    body = bytes.fromhex(pdu)
    line.sendall(pack(">HHHB", transaction, 0, len(body) + 1, unit) + body)
    return line.recv(300)


def ended(line: socket.socket, data: bytes) -> bool:
    """Whether the other side closes the connection after that."""
    try:
        line.sendall(data)
        return line.recv(10) == b""
    except ConnectionError:
        return True


def test_the_header_carries_transaction_protocol_length_and_unit() -> None:
    # MODBUS Messaging on TCP/IP V1.0b: transaction, protocol 0, length of what follows, unit (a copy)
    with served() as server, plain(server) as line:
        transaction, protocol, length, unit, function, size = unpack(
            ">HHHBBB", ask(line, "04 00 14 00 01", 0x1501)[:9]
        )
        assert (transaction, protocol, length, unit, function, size) == (0x1501, 0, 5, 1, 4, 2)


def test_requests_in_one_segment_and_in_pieces_are_all_answered() -> None:
    with served() as server, plain(server) as line:
        one = pack(">HHHB", 1, 0, 6, 1) + bytes.fromhex("04 00 14 00 01")
        two = pack(">HHHB", 2, 0, 6, 1) + bytes.fromhex("04 00 14 00 01")
        line.sendall(one + two[:5])
        line.sendall(two[5:])
        got = b""
        while len(got) < 22:
            got += line.recv(100)
        assert [got[1], got[12]] == [1, 2]


def test_what_is_not_modbus_ends_the_connection() -> None:
    with served() as server:
        for junk in (b"GET / HTTP/1.1\r\n", pack(">HHHB", 1, 0, 1, 1), pack(">HHHB", 1, 0, 999, 1)):
            with plain(server) as line:
                assert ended(line, junk)


def test_a_taken_port_is_told() -> None:
    with served() as server, pytest.raises(OSError, match=r"[Aa]ddress"):
        serve_tcp(SimulatedStand(STAND, VALVE), port=server.port)


def test_pymodbus_reads_and_writes() -> None:
    with served() as server:
        client = ModbusTcpClient("127.0.0.1", port=server.port, timeout=2)
        assert client.connect()
        assert client.read_input_registers(20, count=1, device_id=1).registers == [0x5A31]
        assert not client.write_register(0, 12000, device_id=1).isError()
        assert not client.write_coils(0, [True, True], device_id=1).isError()
        assert client.read_holding_registers(0, count=1, device_id=1).registers == [12000]
        assert client.read_coils(0, count=2, device_id=1).bits[:2] == [True, True]
        refused = client.read_input_registers(500, count=1, device_id=1)
        assert refused.isError()
        assert refused.exception_code == 2
        client.close()


def test_pymodbustcp_reads_and_writes() -> None:
    library = pytest.importorskip("pyModbusTCP.client", reason="pyModbusTCP is not installed")
    with served() as server:
        client = library.ModbusClient(
            host="127.0.0.1", port=server.port, unit_id=1, auto_open=True, timeout=2
        )
        assert client.read_input_registers(20, 1) == [0x5A31]
        assert client.write_single_register(0, 9000)
        assert client.write_multiple_coils(0, [True, False])
        assert client.read_holding_registers(0, 1) == [9000]
        assert client.read_input_registers(500, 1) is None
        assert client.last_except == 2
        client.close()


needs_mbpoll = pytest.mark.skipif(shutil.which("mbpoll") is None, reason="mbpoll is not installed")


def mbpoll(*arguments: str) -> str:
    """Debian's mbpoll, built on libmodbus; -0: zero-based addresses, -1: once."""
    run = subprocess.run(
        ["mbpoll", "-m", "tcp", "-0", "-1", "-q", *arguments], capture_output=True, text=True, timeout=20
    )
    return run.stdout + run.stderr


@needs_mbpoll
def test_mbpoll_reads_and_writes() -> None:
    with served() as server:
        to = ("-p", str(server.port), "-a", "1")
        assert str(0x5A31) in mbpoll(*to, "-t", "3", "-r", "20", "127.0.0.1")
        mbpoll(*to, "-t", "4", "-r", "0", "127.0.0.1", "12345")
        assert server.shared.stand.read(1, Table.HOLDING, 0, 1) == [12345]
        mbpoll(*to, "-t", "0", "-r", "0", "127.0.0.1", "1")
        assert server.shared.stand.read(1, Table.COILS, 0, 1) == [1]
        assert "Illegal data address" in mbpoll(*to, "-t", "3", "-r", "500", "127.0.0.1")


def always(kind: str, size: float = 1.0) -> Fault:
    return Fault(kind, size)


def test_a_dropped_connection_closes() -> None:
    with served(always("connection drops")) as server, plain(server) as line:
        assert ask(line, "04 00 00 00 01") == b""


def test_a_missing_answer_never_comes_and_the_line_stays_open() -> None:
    with served(always("answers missing")) as server, plain(server, 0.05) as line:
        with pytest.raises(TimeoutError):
            ask(line, "04 00 00 00 01")
        server.shared.stand.faults.clear()
        server.shared.stand.advance(1.0)
        line.settimeout(2.0)
        assert ask(line, "04 00 14 00 01", 9)[:2] == b"\0\x09"


def test_a_late_answer_comes_late_with_its_old_transaction() -> None:
    with served(always("answers late", 0.06)) as server, plain(server, 0.02) as line:
        with pytest.raises(TimeoutError):
            ask(line, "04 00 14 00 01", 5)
        line.settimeout(2.0)
        assert line.recv(100)[:2] == b"\0\x05"


def test_garbled_short_wrong_and_doubled_answers() -> None:
    good = bytes.fromhex("00 07 00 00 00 05 01 04 02 5A 31")
    with served(always("answers short")) as server, plain(server) as line:
        got = ask(line, "04 00 00 00 02")
        assert (got[8], len(got)) == (2, 11)
    with served(always("wrong unit answers")) as server, plain(server) as line:
        assert ask(line, "04 00 00 00 02")[6] == 2
    with served(always("exception answers", 6)) as server, plain(server) as line:
        assert ask(line, "04 00 00 00 02")[7:] == b"\x84\x06"
    with served(always("answers twice")) as server, plain(server) as line:
        got = ask(line, "04 00 14 00 01")
        while len(got) < 22:
            got += line.recv(100)
        assert got[:11] == got[11:]
    with served(always("answers garbled")) as server, plain(server) as line:
        answers = {ask(line, "04 00 14 00 01") for _ in range(8)}
        assert len(answers) > 3
        assert good not in answers


def test_in_lock_step_each_scan_is_one_scan_period() -> None:
    with served(pace=LockStep()) as server, plain(server) as line:
        before = server.shared.stand.time_s
        for _ in range(25):
            ask(line, "04 00 00 00 04")  # covers the casing pressure
            ask(line, "02 00 00 00 04")  # does not
        assert server.shared.stand.time_s == pytest.approx(before + 25 / STAND.scans_per_s)


def test_without_a_casing_transmitter_the_position_paces() -> None:
    simulated = SimulatedStand(replace(STAND, casing_pressure=None), VALVE)
    with serve_tcp(simulated, pace=LockStep()) as server, plain(server) as line:
        ask(line, "04 00 01 00 01")
        ask(line, "04 00 02 00 01")
        assert simulated.time_s == pytest.approx(0.02)


def test_in_real_time_the_plant_follows_so_many_times_the_clock() -> None:
    now = [100.0]
    simulated = SimulatedStand(STAND, VALVE)
    pace = RealTime(speed=20.0, clock=lambda: now[0])
    with serve_tcp(simulated, pace=pace) as server, plain(server) as line:
        ask(line, "04 00 00 00 01")
        now[0] += 0.5
        ask(line, "04 00 00 00 01")
        assert simulated.time_s == pytest.approx(10.0)


def test_a_module_for_one_connection_refuses_the_second() -> None:
    one = replace(STAND, links={"bay": TcpLink("bay", "127.0.0.1", 502, one_connection=True)})
    simulated = SimulatedStand(one, VALVE)
    with serve_tcp(simulated, pace=LockStep(), link="bay") as server, plain(server) as first:
        assert ask(first, "04 00 14 00 01")
        with plain(server) as second:
            assert ended(second, b"")
        assert ask(first, "04 00 14 00 01")


def test_the_server_process_answers_and_ends_when_asked() -> None:
    with start_server_process(STAND, VALVE, pace=LockStep()) as running:
        with socket.create_connection(("127.0.0.1", running.port), timeout=5) as line:
            assert ask(line, "04 00 14 00 01")[-2:] == b"\x5a\x31"
        process = running.process
    assert process.exitcode == 0


ORPHAN = """
import sys
from simulator.wire import start_server_process
from tests.simulator.test_tcp import STAND, VALVE
if __name__ == "__main__":
    running = start_server_process(STAND, VALVE)
    print(running.process.pid, running.port, flush=True)
    import os
    os.kill(os.getpid(), 9)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs POSIX signals")
def test_the_server_process_ends_when_its_parent_is_killed(tmp_path) -> None:  # type: ignore[no-untyped-def]
    import sys
    from pathlib import Path

    script = tmp_path / "parent.py"
    script.write_text(ORPHAN)
    root = Path(__file__).resolve().parents[2]
    run = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=60,
        env={**os.environ, "PYTHONPATH": str(root)},
    )  # fmt: skip
    port = int(run.stdout.split()[1])
    # the server inherited stdout: run() came back because the server, too, has closed it
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
