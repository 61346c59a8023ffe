"""The simulated stand of the socket campaign: a process of its own, on a real socket or pseudo-terminal.

Orders come as lines of JSON on its standard input, answers go out the same way; it ends with its input.
Run: python -m tests.campaign.socket_stand STAND_FILE PROFILE SEED SPEED tcp|rtu
"""

import json
import os
import pty
import sys
import threading
import tty
from collections.abc import Sequence
from contextlib import suppress
from random import Random
from typing import Any

from rig.cli.session import demo_actuator
from rig.profile.load import load_profile
from rig.stand.clock import machine_s
from rig.stand.file import load_stand
from rig.stand.model import RtuLink, Table
from simulator import SimulatedStand
from simulator.outputs import read_bit
from simulator.wire import LockStep, RealTime, serve_rtu, serve_tcp
from tests.campaign.socket_kinds import STAND_KINDS

LOOK_S = 0.005  # plant time between two looks at the truth
TICK_S = 0.004  # the plant goes on while nobody asks
PRIORITY = 20  # above the scan's: a stand is made of things, not of programs


class Watched(SimulatedStand):
    """Notes the truth: highest pressure, a trace, and every change of the vent's command."""

    peak_pa = 0.0

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.trace: list[tuple[float, float]] = []
        self.vents: list[tuple[float, bool]] = []  # commanded over the wire: when, open
        self.tripped_s: float | None = None  # the output module's watchdog

    def advance(self, to_s: float) -> None:
        while self.time_s < to_s:
            super().advance(min(to_s, self.time_s + LOOK_S))
            self.peak_pa = max(self.peak_pa, self.outputs.casing_pa)
            self.trace.append((self.time_s, self.outputs.casing_pa))
            if self.tripped_s is None and self.vents and self.watchdog_tripped("outputs"):
                self.tripped_s = self.time_s

    def module_write(
        self,
        unit: int,
        table: Table,
        address: int,
        values: Sequence[int],
        function: int | None = None,
        link: str | None = None,
    ) -> None:
        super().module_write(unit, table, address, values, function, link)
        vent = self.stand.vent_valve
        assert vent is not None
        opened = read_bit(self.drive.modules[vent.module], vent) != vent.inverted
        if not self.vents or self.vents[-1][1] != opened:
            self.vents.append((self.time_s, opened))


class Counting(RealTime):
    """Real time, and when each scan asked."""

    def __init__(self, speed: float) -> None:
        super().__init__(speed)
        self.scans_s: list[float] = []

    def before(self, stand: Any, unit: int, pdu: bytes) -> None:
        super().before(stand, unit, pdu)
        if pdu and LockStep.is_scan(stand, unit, pdu):
            self.scans_s.append(stand.time_s)


class Bay:
    """Stand, wire, and what the campaign does to them. Takes the place of a `Bench` for a strike."""

    def __init__(self, stand_file: str, profile: str, seed: int, speed: float, wire: str) -> None:
        stand = load_stand(stand_file)
        self.machine = Watched(stand, demo_actuator(load_profile(profile)), seed=seed)
        self.pace = Counting(speed)
        self.speed = speed
        self.ends: list[int] = []
        if wire == "tcp":
            self.server: Any = serve_tcp(self.machine, 0, self.pace, seed=seed)
            self.where = str(self.server.port)
        else:
            line = next(link for link in stand.links.values() if isinstance(link, RtuLink))
            self.ends = list(pty.openpty())
            for end in self.ends:
                tty.setraw(end)
            self.server = serve_rtu(self.machine, self.ends[0], line.baud, self.pace, seed=seed)
            self.where = os.ttyname(self.ends[1])
        self._over = threading.Event()
        self._ticker = threading.Thread(target=self._tick, daemon=True)
        self._ticker.start()

    def _tick(self) -> None:
        while not self._over.wait(TICK_S):
            with self.server.lock:
                self.pace.before(self.machine, 0, b"")

    def unplug(self) -> None:
        self.server.close()
        for end in self.ends:
            os.close(end)
        self.ends = []

    def close(self) -> None:
        self._over.set()
        self._ticker.join()
        self.unplug()

    def order(self, words: dict[str, Any]) -> dict[str, Any]:
        if words["do"] == "unplug":
            self.unplug()
        with self.server.lock:
            self.pace.before(self.machine, 0, b"")
            machine, now_s = self.machine, self.machine.time_s
            if words["do"] == "strike":
                kind = next(kind for kind in STAND_KINDS if kind.name == words["kind"])
                kind.strike(self, Random(words["seed"]))  # type: ignore[arg-type]
            told: dict[str, Any] = {
                "time_s": now_s,
                "began_s": machine_s() - now_s / self.speed,  # of the machine's own clock
                "casing_pa": machine.outputs.casing_pa,
                "vents": machine.vents,
                "tripped_s": machine.tripped_s,
            }
            if words["do"] == "tell all":
                told |= {"peak_pa": machine.peak_pa, "trace": machine.trace, "scans_s": self.pace.scans_s}
            return told


def main() -> int:
    stand_file, profile, seed, speed, wire = sys.argv[1:]
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(PRIORITY))
    bay = Bay(stand_file, profile, int(seed), float(speed), wire)
    print(json.dumps({"where": bay.where}), flush=True)
    for line in sys.stdin:
        print(json.dumps(bay.order(json.loads(line))), flush=True)
    bay.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
