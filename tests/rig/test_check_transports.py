"""The same check on the same valve gives the same numbers in virtual time, over Modbus TCP and over RTU."""

import os
import pty
import tty
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace

import numpy as np
import pytest

from rig.analysis.check import analyse
from rig.analysis.result import QUANTITIES, CheckResult
from rig.analysis.samples import Samples
from rig.cli.session import demo_actuator
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import plan_ramp
from rig.profile.load import load_profile
from rig.record.reader import sensors_of
from rig.stand.clock import VirtualClock
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.link import Bus, InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.modbus import ModbusBus
from rig.stand.model import RtuLink, Stand, TcpLink
from rig.stand.outputs import Outputs
from rig.stand.run import How, run_inline
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from simulator import SimulatedStand
from simulator.wire import LockStep, serve_rtu, serve_tcp

PROFILE = load_profile("brine-letdown")
FAST_BAUD = 10_000_000  # a pseudo-terminal has no baud rate; the server would keep a slow one's time
SECONDS = 5.0  # deadline: a machine under load may take its time


def stand() -> Stand:
    """Slower than the demonstration, so that a whole cycle over a serial line stays short."""
    return replace(load_stand("simulated"), scans_per_s=20.0)


@contextmanager
def in_process(machine: SimulatedStand) -> Iterator[tuple[Bus, VirtualClock]]:
    yield (
        InProcessBus(machine),
        VirtualClock(lambda passed_s: machine.advance(machine.time_s + passed_s)),
    )


@contextmanager
def over_tcp(machine: SimulatedStand) -> Iterator[tuple[Bus, VirtualClock]]:
    with closing(serve_tcp(machine, pace=LockStep())) as server:
        link = TcpLink("bay", "127.0.0.1", server.port, deadline_s=SECONDS)
        with closing(ModbusBus(link)) as bus:
            yield bus, VirtualClock()


@contextmanager
def over_rtu(machine: SimulatedStand) -> Iterator[tuple[Bus, VirtualClock]]:
    ours, theirs = pty.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    try:
        with closing(serve_rtu(machine, ours, baud=FAST_BAUD, pace=LockStep())):
            link = RtuLink("bay", os.ttyname(theirs), 115_200, "none", 1, SECONDS, SECONDS)
            with closing(ModbusBus(link)) as bus:
                yield bus, VirtualClock()
    finally:
        os.close(ours)
        os.close(theirs)


def measured(transport: str) -> CheckResult:
    fitted = stand()
    machine = SimulatedStand(fitted, demo_actuator(PROFILE), seed=3)
    opened = {"in process": in_process, "Modbus TCP": over_tcp, "Modbus RTU": over_rtu}[transport]
    samples: list[Sample] = []
    with opened(machine) as (bus, clock):
        buses = dict.fromkeys(fitted.links, bus)
        scanner = Scanner(fitted, buses, clock)
        scanner.connect()
        limits = limits_for(PROFILE, fitted)
        loop = ScanLoop(scanner, Outputs(fitted, buses, clock), clock, limits)
        check = BenchCheck(PROFILE, plan_ramp(PROFILE, PROFILE.supply_pa), cycles=1)
        ended = run_inline(loop, check.run(), samples.append)
    assert ended.how is How.FINISHED, (ended.trips, ended.refusals)
    return analyse(columns(samples), PROFILE, sensors_of(fitted))


def columns(samples: list[Sample]) -> Samples:
    def floats(values: list[float]) -> np.ndarray:
        return np.array(values, dtype=float)

    return Samples(
        time_s=floats([s.reading.time_s for s in samples]),
        pressure_pa=floats([s.reading.pressure.value for s in samples]),
        position_m=floats([s.reading.position.value for s in samples]),
        output_pa=floats([s.command.output_pa for s in samples]),
        supply_pa=floats([s.reading.supply.value for s in samples]),
        cycle=np.array([s.demand.cycle if s.demand else 0 for s in samples]),
        stage=np.array([s.demand.stage if s.demand else "" for s in samples]),
    )


@pytest.mark.parametrize("transport", ["Modbus TCP", "Modbus RTU"])
def test_a_real_wire_gives_the_numbers_of_virtual_time(transport: str) -> None:
    virtual, wired = measured("in process"), measured(transport)
    for key in QUANTITIES:
        one, other = virtual.quantities[key], wired.quantities[key]
        assert one.value is not None, key
        assert other.value is not None, key
        assert one.expanded_uncertainty is not None
        assert other.expanded_uncertainty is not None
        apart = abs(one.value - other.value)
        assert apart <= one.expanded_uncertainty + other.expanded_uncertainty, key
