"""`serve()`: a scenario on TCP and on a serial device, at the speed asked for, until it is told to end."""

import os
import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from queue import Queue
from struct import pack, unpack

import pytest

from rig.stand.model import RtuLink
from simulator.faults import NOW
from simulator.scenario import Scenario, load
from simulator.serve import serve
from simulator.wire.rtu import framed
from tests.simulator.stands import PSI, stand

STAND = stand()
BUS = replace(STAND, links={name: RtuLink(name, "", 57600, "even", 1) for name in STAND.links})
CASING, SUPPLY = "04 00 00 00 01", "04 00 02 00 01"
OPEN_SUPPLY_SHUT_VENT = "0F 00 00 00 02 01 03"


class Interrupted(threading.Event):
    """Ctrl-C at the first wait."""

    def wait(self, timeout: float | None = None) -> bool:
        raise KeyboardInterrupt


class HandClock:
    """Stands still unless somebody moves it."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


class Session:
    """A scenario being served, and what it said."""

    def __init__(self) -> None:
        self.said: Queue[str] = Queue()
        self.end = threading.Event()
        self.clock = HandClock()
        self.first = ""

    @property
    def port(self) -> int:
        return int(self.first.split(" port ")[1].split(";")[0])


@contextmanager
def serving(scenario: Scenario, device: str | None = None, speed: float = 1.0) -> Iterator[Session]:
    """In a thread; the body must find the server ended when it leaves."""
    s = Session()
    a_stand = BUS if device else STAND
    thread = threading.Thread(
        target=serve,
        args=(scenario, a_stand),
        kwargs={
            "serial_device": device, "speed": speed, "tell": s.said.put, "until": s.end, "clock": s.clock,
        },
    )  # fmt: skip
    thread.start()
    try:
        s.first = s.said.get(timeout=20)
        yield s
    finally:
        s.end.set()
        thread.join(timeout=20)
    assert not thread.is_alive()


def ask(line: socket.socket, pdu: str) -> bytes:
    body = bytes.fromhex(pdu)
    line.sendall(pack(">HHHB", 1, 0, len(body) + 1, 1) + body)
    return line.recv(300)[7:]


def shown_pa(answer: bytes, full_scale_pa: float) -> float:
    """4000 to 20000 uA in one register of an answer to function 4."""
    return float((unpack(">xxH", answer)[0] - 4000) / 16000 * full_scale_pa)


def test_any_client_drives_the_scenarios_valve_over_tcp() -> None:
    scenario = load("healthy-membrane-rinse")
    with serving(scenario) as s, socket.create_connection(("127.0.0.1", s.port), timeout=20) as line:
        assert scenario.title in s.first
        assert ask(line, "06 00 00" + pack(">H", 8000).hex())[:1] == b"\x06"  # 15 of 60 psi
        assert ask(line, OPEN_SUPPLY_SHUT_VENT)[:1] == b"\x0f"
        s.clock.now_s += 30.0
        assert shown_pa(ask(line, CASING), 60 * PSI) == pytest.approx(15 * PSI, abs=0.1 * PSI)
        assert shown_pa(ask(line, SUPPLY), 100 * PSI) == pytest.approx(35 * PSI, abs=0.2 * PSI)


def casing_after_pa(clock_s: float, speed: float) -> float:
    """While the casing is still filling."""
    scenario = load("healthy-brine-letdown")
    with serving(scenario, speed=speed) as s, socket.create_connection(("127.0.0.1", s.port), 20) as line:
        ask(line, "06 00 00" + pack(">H", 12000).hex())
        ask(line, OPEN_SUPPLY_SHUT_VENT)
        s.clock.now_s += clock_s
        return shown_pa(ask(line, CASING), 60 * PSI)


def test_the_speed_is_so_many_times_the_clock() -> None:
    slow, fast = casing_after_pa(0.5, 1.0), casing_after_pa(0.5, 4.0)
    assert fast == pytest.approx(casing_after_pa(2.0, 1.0), abs=0.02 * PSI)
    assert fast > slow + 2 * PSI


def test_a_fault_of_the_scenario_happens_on_the_wire() -> None:
    file = load("fault-exception-answers")  # begins at half an inch, ends 2 s later
    at_once = replace(file, faults=tuple(replace(fault, start=NOW) for fault in file.faults))
    with serving(at_once) as s, socket.create_connection(("127.0.0.1", s.port), timeout=20) as line:
        ask(line, CASING)
        s.clock.now_s += 1.0
        ask(line, CASING)
        assert ask(line, CASING) == b"\x84\x06"  # busy
        s.clock.now_s += 3.0
        ask(line, CASING)
        assert ask(line, CASING)[:2] == b"\x04\x02"


def test_the_port_is_free_again_after_it_and_taken_during_it() -> None:
    scenario = load("healthy-brine-letdown")
    with serving(scenario) as s, pytest.raises(OSError):
        serve(scenario, STAND, tcp_port=s.port, until=Interrupted())
    with pytest.raises(ConnectionError):
        socket.create_connection(("127.0.0.1", s.port), timeout=20)


def test_an_interrupt_ends_it_and_is_told() -> None:
    said: list[str] = []
    serve(load("healthy-brine-letdown"), STAND, tell=said.append, until=Interrupted())
    assert len(said) == 2
    assert said[1] == "ended"
    port = int(said[0].split(" port ")[1].split(";")[0])
    with pytest.raises(ConnectionError):
        socket.create_connection(("127.0.0.1", port), timeout=20)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_any_client_drives_it_over_a_serial_device() -> None:
    from simulator.wire.terminal import PseudoLine

    with PseudoLine() as line:
        with serving(load("healthy-brine-letdown"), device=line.device) as s:
            assert f"{line.device}, 57600 Bd, parity even, stop bits 1" in s.first
            os.write(line.server_fd, framed(1, bytes.fromhex(SUPPLY)))
            got = b""
            while len(got) < 7:
                got += os.read(line.server_fd, 300)
        assert framed(1, got[1:-2]) == got
        assert shown_pa(got[1:-2], 100 * PSI) == pytest.approx(40 * PSI, abs=0.2 * PSI)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a serial device's name")
def test_a_device_that_is_not_there_is_an_os_error() -> None:
    with pytest.raises(OSError, match="nowhere"):
        serve(load("healthy-brine-letdown"), BUS, serial_device="/dev/nowhere", until=Interrupted())


def test_ctrl_c_while_it_is_still_being_told_ends_it_too() -> None:
    """Whoever reads the port may interrupt before the telling has returned."""
    said: list[str] = []

    def tell(line: str) -> None:
        said.append(line)
        if len(said) == 1:
            raise KeyboardInterrupt

    serve(load("healthy-brine-letdown"), STAND, tell=tell)
    assert said[1:] == ["ended"]
