"""One procedure on one simulated stand over three transports: in-process, Modbus TCP, Modbus RTU."""

import os
import pty
import sys
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are POSIX", allow_module_level=True)

from rig.stand.clock import Clock, PacedClock, VirtualClock
from rig.stand.link import Bus, InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.modbus import ModbusBus
from rig.stand.model import RtuLink, Stand, TcpLink
from rig.stand.outputs import Outputs
from rig.stand.run import How, run_inline
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.signals import Health
from simulator import SimulatedStand
from simulator.wire import LockStep, serve_rtu, serve_tcp

from .stands import PSI, limits, stand
from .test_loop_run import LIFTS_AT_10_PSI, hold

SPEED = 1000.0


def bay() -> Stand:
    return replace(stand(), scans_per_s=20.0)


@contextmanager
def in_process() -> Iterator[tuple[Bus, Clock]]:
    machine = SimulatedStand(bay(), LIFTS_AT_10_PSI, seed=11)
    yield InProcessBus(machine), VirtualClock(lambda passed_s: machine.advance(machine.time_s + passed_s))


@contextmanager
def over_tcp() -> Iterator[tuple[Bus, Clock]]:
    with serve_tcp(SimulatedStand(bay(), LIFTS_AT_10_PSI, seed=11), pace=LockStep()) as server:
        bus = ModbusBus(TcpLink("bay", "127.0.0.1", server.port, 2.0))
        yield bus, PacedClock(SPEED)
        bus.close()


@contextmanager
def over_rtu() -> Iterator[tuple[Bus, Clock]]:
    ours, theirs = pty.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    machine = SimulatedStand(bay(), LIFTS_AT_10_PSI, seed=11)
    with serve_rtu(machine, ours, 115200, pace=LockStep()):
        bus = ModbusBus(RtuLink("bay", os.ttyname(theirs), 115200, parity="none", deadline_s=2.0))
        yield bus, PacedClock(SPEED)
        bus.close()
    os.close(ours)
    os.close(theirs)


def ridden(transport) -> list[Sample]:  # type: ignore[no-untyped-def]
    seen: list[Sample] = []
    with transport() as (bus, clock):
        bus.connect()
        buses = {"bay": bus}
        loop = ScanLoop(Scanner(bay(), buses, clock), Outputs(bay(), buses, clock), clock, limits())
        ended = run_inline(loop, hold(5.0, 2.0), seen.append)
    assert (ended.how, ended.vented) == (How.FINISHED, True)
    return seen


@pytest.fixture(scope="module")
def reference() -> list[Sample]:
    return ridden(in_process)


@pytest.mark.parametrize("transport", [over_tcp, over_rtu])
def test_the_same_run_over_a_wire_gives_the_same_readings(  # type: ignore[no-untyped-def]
    transport, reference: list[Sample]
) -> None:
    seen = ridden(transport)
    top, same_top = (max(s.reading.pressure.value for s in run) for run in (seen, reference))
    assert top == pytest.approx(same_top, abs=0.15 * PSI)
    assert top > 3 * PSI
    assert len(seen) == pytest.approx(len(reference), abs=10)
    assert all(s.written for s in seen)
    assert {s.reading.pressure.health for s in seen} == {Health.GOOD}
    assert seen[-1].lost_scans == 0
