"""Real processes: the demonstration in lock step, an unreachable stand, and the death of either side."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Generator, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from rig.stand.link import LinkFault
from rig.stand.model import Stand, TcpLink
from rig.stand.process import StandProcess, run_over
from rig.stand.run import How
from rig.stand.sample import Sample
from safety.signals import Demand, Reading
from simulator import SimulatedStand
from simulator.wire import LockStep, RealTime, TcpServer, serve_tcp

from .stands import PSI, limits, stand
from .test_loop_run import LIFTS_AT_10_PSI, hold

SPEED = 1000.0  # as fast as the machine allows
ROOT = Path(__file__).resolve().parents[2]


def at_port(port: int, deadline_s: float = 2.0) -> Stand:
    return replace(stand(), links={"bay": TcpLink("bay", "127.0.0.1", port, deadline_s)})


@pytest.fixture
def machine() -> SimulatedStand:
    return SimulatedStand(stand(), LIFTS_AT_10_PSI, seed=5)


@pytest.fixture
def lock_step(machine: SimulatedStand) -> Iterator[TcpServer]:
    with serve_tcp(machine, pace=LockStep()) as server:
        yield server


def test_a_run_over_the_process_boundary_is_the_same_every_time() -> None:
    def once() -> list[Sample]:
        seen: list[Sample] = []
        simulated = SimulatedStand(stand(), LIFTS_AT_10_PSI, seed=5)
        with (
            serve_tcp(simulated, pace=LockStep()) as server,
            StandProcess(at_port(server.port), limits(), SPEED) as scan,
        ):
            ended = run_over(scan, hold(8.0, 3.0), seen.append)
        assert (ended.how, ended.value, ended.vented) == (How.FINISHED, "done", True)
        assert scan.lost_samples == 0
        assert not scan.alive
        return seen

    first, second = once(), once()
    assert [s.reading.scan for s in first] == list(range(len(first)))
    assert max(s.reading.pressure.value for s in first) > 6 * PSI
    assert [s.demand for s in first] == [s.demand for s in second]
    assert [s.reading.pressure for s in first] == [s.reading.pressure for s in second]


def test_a_stand_that_is_not_there_is_told_as_it_is_without_the_process(lock_step: TcpServer) -> None:
    port = lock_step.port
    lock_step.close()
    scan = StandProcess(at_port(port, 0.05), limits(), SPEED)
    with pytest.raises(LinkFault) as fault:
        scan.open()
    assert fault.value.kind == "connection"
    assert str(fault.value) == (
        f"no answer from 127.0.0.1:{port} within 0.05 s (3 tries): is the stand switched on and the cable in?"
    )
    assert not scan.alive


def test_when_whoever_records_fails_the_stand_is_vented_first(
    machine: SimulatedStand, lock_step: TcpServer
) -> None:
    def fail(sample: Sample) -> None:
        if sample.reading.pressure.value > 3 * PSI:
            raise OSError("the disk is full")

    with StandProcess(at_port(lock_step.port), limits(), SPEED) as scan:
        with pytest.raises(OSError, match="the disk is full"):
            run_over(scan, hold(8.0, 3.0), fail)
        assert machine.outputs.casing_pa < 0.6 * PSI


def test_a_second_controller_is_refused_until_the_first_is_gone_even_when_it_is_killed(
    lock_step: TcpServer,
) -> None:
    second = StandProcess(at_port(lock_step.port), limits(), SPEED)
    with StandProcess(at_port(lock_step.port), limits(), SPEED) as first:
        with pytest.raises(LinkFault, match="in use by another program"):
            second.open()
        assert not second.alive
        kill_child(first)
    with second:
        assert second.samples(10.0)
        told = [notice.text for notice in second.notices()]
        assert any("ended without leaving it in order" in text for text in told), told
        second.send(None)


def kill_child(scan: StandProcess) -> None:
    assert scan._process is not None
    assert scan._process.pid is not None
    os.kill(scan._process.pid, signal.SIGKILL)


def test_when_the_scan_process_dies_the_run_is_lost_and_the_watchdog_takes_the_outputs_down(
    machine: SimulatedStand, lock_step: TcpServer
) -> None:
    def ramp() -> Generator[Demand, Reading, None]:
        while True:
            reading = yield Demand(8 * PSI, 3 * PSI, "rise")
            if reading.pressure.value > 3 * PSI:
                kill_child(scan)

    with StandProcess(at_port(lock_step.port), limits(), SPEED) as scan:
        ended = run_over(scan, ramp(), lambda sample: None)
    assert ended.how is How.LOST
    assert not ended.vented
    with lock_step.lock:
        machine.advance(machine.time_s + 5.0)  # nobody speaks to the module any more
        assert machine.watchdog_tripped("io")
        assert machine.outputs.casing_pa < 0.6 * PSI


PARENT = """
import sys, time
from tests.rig.test_process import *
scan = StandProcess(at_port(int(sys.argv[1])), limits(), SPEED)

def ramp():
    while True:
        reading = yield Demand(8 * PSI, 3 * PSI, "rise")
        if reading.pressure.value > 3 * PSI:
            print(scan._process.pid, flush=True)
            sys.stdin.read()  # until it is killed

if __name__ == "__main__":
    scan.open()
    run_over(scan, ramp(), lambda sample: None)
"""


def test_when_the_parent_is_killed_the_scan_vents_and_ends(
    machine: SimulatedStand, lock_step: TcpServer, tmp_path: Path
) -> None:
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    parent = subprocess.Popen(
        [sys.executable, str(script), str(lock_step.port)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    with lock_step.lock:
        assert machine.outputs.casing_pa > 2.5 * PSI
    parent.kill()
    parent.communicate()
    wait_for(lambda: not running(child))
    with lock_step.lock:
        assert machine.outputs.casing_pa < 0.6 * PSI
        assert machine.drive.valves.vent_open


def running(pid: int) -> bool:
    """Neither gone nor a zombie that nobody has collected."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_for(happened, within_s: float = 20.0) -> None:  # type: ignore[no-untyped-def]
    give_up = time.monotonic() + within_s
    while not happened():
        assert time.monotonic() < give_up
        os.sched_yield()


def test_in_real_time_samples_come_without_being_answered(machine: SimulatedStand) -> None:
    with (
        serve_tcp(machine, pace=RealTime()) as server,
        StandProcess(at_port(server.port, 0.5), limits()) as scan,
    ):
        seen: list[Sample] = []
        while len(seen) < 20:
            seen += scan.samples(1.0)
    times = [s.reading.time_s for s in seen]
    assert times == sorted(times)
    assert times[-1] - times[0] == pytest.approx(
        0.02 * (seen[-1].reading.scan - seen[0].reading.scan), abs=0.02
    )
