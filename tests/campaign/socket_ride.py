"""One run of `stemrig check` against a served stand, all in real processes, with one fault at one moment."""

import fcntl
import json
import os
import pty
import resource
import signal
import socket
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random
from typing import Any

from rig.profile.load import load_profile
from rig.stand.clock import machine_s
from rig.stand.file import load_stand, stand_text
from rig.stand.limits import limits_for
from tests.campaign.fault_kinds import PSI, Kind
from tests.campaign.socket_clock import BUSY_S, LEAP_S, SCAN_PROCESS, SPEED, STARTED_S, Slots

ROOT = Path(__file__).resolve().parents[2]
PROFILES = ("permeate-flush", "acid-dosing")  # small casings, quickly filled and empty
TIMES_LIFE = 2.0
SCANS_PER_S = {"tcp": 25.0, "rtu": 12.5}  # of the stand's time
CAP_ABOVE = 6.0 * PSI
MOMENTS_S = (0.0, 9.0)  # of the stand's time after the pressure begins to rise: up, a look at the top, down
RISEN_PA = 0.3 * PSI
WATCHED_S = 3.5  # from the fault on, of real time; then Ctrl-C ends the run
START_S, END_S = 60.0, 60.0  # real time; beyond it the run hangs
AFTERWARDS_S = 3.0  # real time given to the air to go once nobody speaks to the stand
POLL_S = 0.01
GONE_PA = 1.0 * PSI
RTU_LINK = """  bay:
    kind: modbus rtu
    device: {where}
    baud: 115200
    parity: none
    stop_bits: 1
    deadline: 60 ms
    slowest_reply: 120 ms
"""
TCP_LINK = """  bay:
    kind: modbus tcp
    host: 127.0.0.1
    port: {where}
    deadline: 50 ms
"""


class Hangs(Exception):  # noqa: N818 - says what happens
    """Something did not come to its end in time."""


def stand_file(wire: str, where: str) -> str:
    """The shipped simulated stand, as it is reached on this wire."""
    text = stand_text("simulated").replace("built_in: yes\n", "")
    text = text.replace("scan_rate: 50 scans/s", f"scan_rate: {SCANS_PER_S[wire]} scans/s")
    head, rest = text.split("links:\n")
    link = (TCP_LINK if wire == "tcp" else RTU_LINK).format(where=where)
    return head + "links:\n" + link + "\nmodules:\n" + rest.split("modules:\n")[1]


class EndedBefore(Hangs):
    """The run was over before the fault was planted: this machine's own delays looked like one."""


class StandSide:
    """The stand's process, and orders to it."""

    def __init__(self, folder: Path, profile: str, seed: int, wire: str, environment: Mapping[str, str]):
        draft = folder / "served.yaml"
        draft.write_text(stand_file(wire, "5020" if wire == "tcp" else "/dev/ttyUSB0"), encoding="utf-8")
        words = [str(draft), profile, str(seed), str(TIMES_LIFE), wire]
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.campaign.socket_stand", *words],
            cwd=ROOT,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.where: str = self._answer()["where"]

    def order(self, do: str, **more: object) -> dict[str, Any]:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps({"do": do, **more}) + "\n")
        self._process.stdin.flush()
        return self._answer()

    def _answer(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise Hangs("the simulated stand has ended")
        found: dict[str, Any] = json.loads(line)
        return found

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        with suppress(OSError):
            self._process.stdin.close()
        try:
            self._process.wait(10.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process.stdout.close()


class Terminal:
    """The terminal that the command runs in: what is shown is read, keys are pressed, it may be closed."""

    def __init__(self) -> None:
        self._ours, self.theirs = pty.openpty()
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        self.text = b""
        self._open = True
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        with suppress(OSError):
            while got := os.read(self._ours, 65536):
                self.text += got

    def press(self, key: bytes) -> None:
        os.write(self._ours, key)

    def close(self) -> None:
        if self._open:
            self._open = False
            os.close(self._ours)

    def ended(self) -> None:
        """Whoever ran in it is gone: take in the rest."""
        self._reader.join(5.0)
        self.close()


class Ride:
    """All processes of one run. `go` runs it; what was seen is in the attributes afterwards."""

    def __init__(self, kind: Any, seed: int, wire: str, folder: Path) -> None:
        self.kind, self.seed, self.wire, self.folder = kind, seed, wire, folder
        self.random = Random(f"{kind.name} {wire} {seed}")
        self.profile_name = self.random.choice(PROFILES)
        self.moment_s = self.random.uniform(*MOMENTS_S)
        folder.mkdir(parents=True)
        self.slots = Slots(folder / "clock")
        self.slots[SPEED] = TIMES_LIFE
        temporary = folder / "tmp"
        temporary.mkdir()
        path = f"{ROOT}{os.pathsep}{os.environ.get('PYTHONPATH', '')}"
        self.environment = os.environ | {
            "PYTHONPATH": path, "TMPDIR": str(temporary), "TERM": "xterm"
        }  # fmt: skip
        self.struck_s = 0.0  # by `machine_s`
        self.dead_s: float | None = (
            None  # main process killed: when it was gone; a busy machine takes its time
        )
        self.heard_s: float | None = None  # killed scan: until the main process said so
        self.exit_code: int | None = None
        self.tries = 1
        self.truth: dict[str, Any] = {}
        self.problems: list[str] = []
        self._others: list[subprocess.Popen[bytes]] = []

    # -- the run --------------------------------------------------------------------------------------

    def go(self) -> None:
        self.stand = StandSide(self.folder, self.profile_name, self.seed, self.wire, self.environment)
        try:
            path = self.folder / "stand.yaml"
            path.write_text(stand_file(self.wire, self.stand.where), encoding="utf-8")
            self.loaded = load_stand(str(path))
            profile = self.profile = load_profile(self.profile_name)
            self.cap_pa = profile.bench_upper_pa + CAP_ABOVE
            self.limits = limits_for(profile, self.loaded, self.cap_pa)
            self.terminal = Terminal()
            self.check = self._start(path)
            try:
                self._ride()
            finally:
                self._end_all()
        finally:
            self.stand.close()

    def _start(self, stand: Path) -> "subprocess.Popen[bytes]":
        """A session of its own with the terminal as its controlling one, as a shell's would be."""
        words = [
            "check",
            self.profile_name,
            "--stand",
            str(stand),
            "--yes",
            "--coarse",
            "--calibration-overdue",
        ]
        words += ["--cap", f"{self.cap_pa / PSI:.4f} psi", "--records", str(self.folder / "records")]
        theirs = self.terminal.theirs

        def become_leader() -> None:
            os.setsid()
            fcntl.ioctl(theirs, termios.TIOCSCTTY, 0)
            with suppress(OSError):  # what else runs on this machine is not what is looked at
                os.setpriority(os.PRIO_PROCESS, 0, -10)

        process = subprocess.Popen(
            [sys.executable, "-m", "tests.campaign.socket_check", str(self.folder), *words],
            cwd=ROOT,
            env=self.environment,
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            preexec_fn=become_leader,
        )
        os.close(theirs)
        return process

    def _ride(self) -> None:
        if not self.wait_for(lambda: self._rises() or self._over(), START_S):
            raise Hangs(f"the run did not begin:\n{self.terminal.text.decode(errors='replace')[-2000:]}")
        self.wait(self.moment_s / TIMES_LIFE)
        if self._over() or self.vent_commanded():
            raise EndedBefore(self.terminal.text.decode(errors="replace")[-2000:])
        self.struck()
        if isinstance(self.kind, Kind):
            told = self.stand.order("strike", kind=self.kind.name, seed=f"{self.kind.name} {self.seed}")
            self.struck_s = told["began_s"] + told["time_s"] / TIMES_LIFE
        else:
            self.kind.hurt(self, self.random)
        if not self.wait_for(self._over, WATCHED_S):
            with suppress(OSError):
                self.press()
        if not self.wait_for(self._over, END_S):
            self.problems.append("never ended")
        self.exit_code = self.check.poll()
        self.wait_for(lambda: not running(self.scan_pid), END_S)
        self.wait_for(lambda: self.stand.order("tell")["casing_pa"] <= GONE_PA, AFTERWARDS_S)
        self.wait(0.25)
        self.truth = self.stand.order("tell all")

    def _end_all(self) -> None:
        for other in self._others:
            other.kill()
            other.wait()
        for pid in (self.scan_pid, self.check.pid):
            if pid and running(pid):
                with suppress(OSError):
                    os.kill(pid, signal.SIGKILL)
        self.check.wait()
        self.terminal.ended()

    # -- looking --------------------------------------------------------------------------------------

    @property
    def scan_pid(self) -> int:
        return int(self.slots[SCAN_PROCESS])

    def at_s(self, guard_s: float) -> float:
        """The scan's time as the machine's."""
        return self.slots[STARTED_S] + (guard_s - self.slots[LEAP_S]) / TIMES_LIFE

    def _over(self) -> bool:
        return self.check.poll() is not None

    def _rises(self) -> bool:
        return float(self.stand.order("tell")["casing_pa"]) > RISEN_PA

    def vent_commanded(self) -> bool:
        vents = self.stand.order("tell")["vents"]
        return bool(vents) and bool(vents[-1][1])

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)

    def wait_for(self, so: Callable[[], bool], within_s: float) -> bool:
        until = time.monotonic() + within_s
        while not so():
            if time.monotonic() > until:
                return False
            time.sleep(POLL_S)
        return True

    # -- what is done to programs, people and machine ---------------------------------------------------

    def struck(self) -> None:
        self.struck_s = machine_s()

    def kill(self, *pids: int) -> None:
        for pid in pids:
            os.kill(pid, signal.SIGKILL)
        if self.check.pid in pids:
            self.check.wait()
            self.dead_s = machine_s()
        if pids == (self.scan_pid,):
            began = time.monotonic()
            if self.wait_for(lambda: b"lost" in self.terminal.text or self._over(), 10.0):
                self.heard_s = time.monotonic() - began

    @contextmanager
    def stopped(self, *pids: int) -> Iterator[None]:
        for pid in pids:
            os.kill(pid, signal.SIGSTOP)
        try:
            yield
        finally:
            for pid in pids:
                with suppress(OSError):
                    os.kill(pid, signal.SIGCONT)

    def keep_busy(self, seconds: float) -> None:
        self.slots[BUSY_S] = seconds
        os.kill(self.check.pid, signal.SIGUSR1)

    def fill_disk(self) -> None:
        """No byte more into the file of samples: writing fails in the living process."""
        size = next((self.folder / "records").glob("*/samples.csv")).stat().st_size
        resource.prlimit(self.check.pid, resource.RLIMIT_FSIZE, (size, size))

    def close_terminal(self) -> None:
        self.terminal.close()

    def press(self) -> None:
        self.terminal.press(b"\x03")

    def leap(self, seconds: float) -> None:
        self.slots[LEAP_S] = seconds

    def unplug(self) -> None:
        self.stand.order("unplug")

    def write_from_outside(self, times: int) -> None:
        """Another program on the same stand: air on, vent shut, output at full scale."""
        port = int(self.stand.where)
        with socket.create_connection(("127.0.0.1", port), 2.0) as line:
            for number in range(times):
                for transaction, (function, address, value) in enumerate(full_on(self.loaded)):
                    pdu = struct.pack(">BHH", function, address, value)
                    unit = self.loaded.modules[self.loaded.demand_output.module].unit
                    line.sendall(struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu)
                    line.recv(64)
                self.wait(0.1 if number < times - 1 else 0.0)


def full_on(stand: Any) -> Sequence[tuple[int, int, int]]:
    """Function, address and value of what lets all the air in."""
    supply, vent, output = stand.supply_valve, stand.vent_valve, stand.demand_output
    on = 0xFF00
    return (
        (5, supply.address, on),
        (5, vent.address, on if vent.inverted else 0),
        (6, output.address, round(output.scale.raw_high)),
    )


def running(pid: int) -> bool:
    """Neither gone nor a zombie that nobody has collected."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
