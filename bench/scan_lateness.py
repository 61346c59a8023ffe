"""How late scans begin while the main process is idle, and while it keeps the processor to itself.

The scan runs in its own process in real time, over Modbus TCP, on the simulated stand in a third process.
Lateness is the scan's start less its slot. Figures of one run on one machine: compare them with each other.

Run: python bench/scan_lateness.py --seconds 20
"""

import argparse
import gc
import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from rich.console import Console

from rig.cli.session import demo_actuator
from rig.profile.load import load_profile
from rig.report.dashboard import Dashboard
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.process import StandProcess
from rig.stand.sample import Sample
from rig.units import UNIT_SETS
from safety.signals import Demand
from simulator.wire import RealTime, start_server_process

PROFILE = load_profile("brine-letdown")
SLICE_S = 0.25  # the hog looks at its samples this often, as a busy program would
Work = Callable[[list[Sample]], None]


def idle(samples: list[Sample]) -> None:
    time.sleep(0.01)


def hog(samples: list[Sample]) -> None:
    """Pure Python that holds the interpreter, with rings of garbage for the collector."""
    until = time.monotonic() + SLICE_S
    while time.monotonic() < until:
        rings: list[list[object]] = [[] for _ in range(2000)]
        for ring in rings:
            ring.append(ring)
        gc.collect()


def plots() -> Work:
    """The live screen, drawn as fast as it goes instead of eight times a second."""
    board = Dashboard(PROFILE, UNIT_SETS["psi"], (), "")
    out = open(os.devnull, "w")  # noqa: SIM115 - kept for the whole run
    console = Console(file=out, force_terminal=True, width=120, height=40)

    def draw(samples: list[Sample]) -> None:
        until = time.monotonic() + SLICE_S
        for sample in samples:
            board.see(sample, sample.reading.position.value)
        while time.monotonic() < until:
            console.print(board.drawn(120, 40))

    return draw


def full_disk(samples: list[Sample]) -> None:
    """Every write fails, and is tried again at once."""
    until = time.monotonic() + SLICE_S
    file = os.open("/dev/full", os.O_WRONLY)
    while time.monotonic() < until:
        with suppress(OSError):
            os.write(file, b"row " * 250)
    os.close(file)


def things_not_programs(pid: int) -> None:
    """The simulated stand stands for modules and air: it does not wait for this computer's programs."""
    for thread in Path(f"/proc/{pid}/task").glob("*"):
        with suppress(OSError):
            os.sched_setscheduler(int(thread.name), os.SCHED_FIFO, os.sched_param(20))


def ordinary(pid: int) -> None:
    """Take the scan's priority away again."""
    os.setpriority(os.PRIO_PROCESS, pid, 0)
    os.sched_setscheduler(pid, os.SCHED_OTHER, os.sched_param(0))


def lateness(work: Work, seconds: float, keep_priority: bool) -> tuple[list[Sample], str]:
    """Every scan after the first half second, and how the scan was scheduled."""
    stand = load_stand("simulated")
    with start_server_process(stand, demo_actuator(PROFILE), pace=RealTime(1.0)) as server:
        things_not_programs(server.process.pid or 0)
        links = {name: replace(link, port=server.port) for name, link in stand.links.items()}  # type: ignore[call-arg]
        stand = replace(stand, links=links)
        with StandProcess(stand, limits_for(PROFILE, stand)) as scan:
            assert scan._process is not None
            pid = scan._process.pid or 0
            if not keep_priority:
                ordinary(pid)
            real_time = os.sched_getscheduler(pid) != os.SCHED_OTHER
            how = "real time" if real_time else f"nice {os.getpriority(os.PRIO_PROCESS, pid)}"
            seen: list[Sample] = []
            until = time.monotonic() + seconds
            while time.monotonic() < until:
                got = scan.samples(0.0)
                seen += got
                if got:
                    scan.send(Demand(0.0, 0.0, "rest"))
                work(got)
            seen += scan.samples(0.5)
    return seen[25:], how


def row(name: str, seen: list[Sample], how: str) -> str:
    ordered = sorted(sample.late_s for sample in seen)
    missed = seen[-1].lost_scans - seen[0].lost_scans
    between = 1000.0 * max(b.reading.time_s - a.reading.time_s for a, b in pairwise(seen))

    def at(share: float) -> float:
        return 1000.0 * ordered[min(len(ordered) - 1, int(share * len(ordered)))]

    return (
        f"| {name} | {how} | {len(ordered)} | {at(0.5):.2f} | {at(0.99):.2f} | {at(0.999):.2f} "
        f"| {at(1.0):.2f} | {missed} | {between:.0f} |"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0, help="for each line (default: 20)")
    args = parser.parse_args()
    works: dict[str, Work] = {
        "idle": idle,
        "pure Python and garbage": hog,
        "plots drawn": plots(),
        "disk full": full_disk,
    }
    load = os.getloadavg()[0]
    print(f"{os.cpu_count()} cores, load before it {load:.1f}; 50 scans/s: one every 20 ms")
    print(
        "| main process | scan's priority | scans | median, ms | 99 % | 99.9 % | worst | slots missed "
        "| longest between two readings, ms |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for keep in (True, False):
        for name, work in works.items():
            print(row(name, *lateness(work, args.seconds, keep)), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
