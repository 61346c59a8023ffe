"""Hands are in and the program ends: by a signal, an early Ctrl-C, or its own failure. Nothing moves."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import rig.cli.vent
import rig.stand.process
from rig.stand.process import HANDS_STILL_IN, StandProcess
from rig.stand.word import WORD, deaf_to_word
from simulator import SimulatedStand
from simulator.wire import LockStep, TcpServer, serve_tcp

from .stands import PSI, stand
from .test_loop_run import LIFTS_AT_10_PSI
from .test_process import ROOT, running, wait_for

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="sends signals")


class Scanning:
    """In place of the scan's process: at every look something may happen; a word ends it."""

    pid = 4711

    def __init__(self, looks: list[Callable[[], None]]) -> None:
        self.words: list[int] = []
        self.taken_down = False
        self._looks = looks
        self._patience = 20_000

    def is_alive(self) -> bool:
        return not (self.words or self.taken_down)

    def join(self, timeout: float | None = None) -> None:
        self._patience -= 1
        assert self._patience, "waited for ever"
        if self._looks:
            self._looks.pop(0)()

    def hear(self, process: int) -> bool:
        self.words.append(process)
        return True

    def terminate(self) -> None:
        self.taken_down = True

    kill = terminate


def press() -> None:
    signal.raise_signal(signal.SIGINT)


def nothing() -> None: ...


def closed(
    monkeypatch: pytest.MonkeyPatch, looks: list[Callable[[], None]], hands_in: bool = True
) -> Scanning:
    process = Scanning(looks)
    monkeypatch.setattr(rig.stand.process, "give_word", process.hear)
    scan = StandProcess(stand(), None)  # type: ignore[arg-type]
    scan._process, scan._hands_in = process, hands_in  # type: ignore[assignment]
    scan.close()
    return process


def test_only_a_press_after_the_person_was_told_what_it_means_is_their_word(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def not_told() -> None:
        assert HANDS_STILL_IN not in capsys.readouterr().err
        press()

    def told() -> None:
        assert capsys.readouterr().err.count(HANDS_STILL_IN) == 1

    looks = [not_told, told, nothing, nothing, press]
    process = closed(monkeypatch, looks)
    assert looks == [], "what came before was no word"
    assert process.words == [Scanning.pid]
    assert not process.taken_down


def test_a_scan_that_hangs_is_taken_down_but_never_with_hands_in(monkeypatch: pytest.MonkeyPatch) -> None:
    assert closed(monkeypatch, [], hands_in=False).taken_down
    assert not closed(monkeypatch, [nothing] * 10_000 + [press]).taken_down


PARENT = """
import signal, sys
from tests.rig.test_process import *
from safety.limits import Role, expect
from safety.state import Mode, PersonEvent

scan = StandProcess(
    at_port(int(sys.argv[1])),
    limits(signals=expect(Role.PRESSURE, Role.POSITION), isolate_supply_hands_in=False),
    SPEED,
)
how = sys.argv[2]
inside = at_work = 0

def keep(sample):
    global inside, at_work
    at_work += sample.mode == Mode.RAMPING.value
    inside += sample.mode == Mode.HANDS_IN.value
    if inside == 1:
        print(scan._process.pid, flush=True)
    if inside == 20 and how != "stays":
        raise OSError("the disk is full")

def person():
    return PersonEvent.HANDS_IN if at_work > 250 and not inside else None

def interrupted(order, send=scan._order):
    send(order)
    if order.end:
        signal.raise_signal(signal.SIGINT)

if __name__ == "__main__":
    scan.open()
    if how == "interrupted":
        scan._order = interrupted
    try:
        run_over(scan, hold(5.0, 1e6), keep, person=person)
    finally:
        if how == "interrupted":
            scan.close()
"""


@pytest.fixture
def machine() -> SimulatedStand:
    return SimulatedStand(stand(), LIFTS_AT_10_PSI, seed=5)


@pytest.fixture
def lock_step(machine: SimulatedStand) -> Iterator[TcpServer]:
    with serve_tcp(machine, pace=LockStep()) as server:
        yield server


Start = Callable[[str], tuple[subprocess.Popen[str], int]]


@pytest.fixture
def start(lock_step: TcpServer, tmp_path: Path) -> Iterator[Start]:
    """A program with hands in, and the process of its scan."""
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    started: list[tuple[subprocess.Popen[str], int]] = []

    def begin(how: str) -> tuple[subprocess.Popen[str], int]:
        parent = subprocess.Popen(
            [sys.executable, str(script), str(lock_step.port), how],
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert parent.stdout is not None
        started.append((parent, int(parent.stdout.readline())))
        return started[-1]

    yield begin
    for parent, child in started:
        parent.kill()
        if running(child):
            os.kill(child, signal.SIGKILL)
        parent.communicate()


def holds_still(machine: SimulatedStand, server: TcpServer, seconds: float = 20.0) -> bool:
    """Whether it stays under air for that long, of the stand's time."""
    with server.lock:
        until_s = machine.time_s + seconds

    def later() -> bool:
        with server.lock:
            return machine.time_s > until_s or machine.drive.valves.vent_open

    wait_for(later)
    with server.lock:
        return machine.outputs.casing_pa > 4 * PSI and not machine.drive.valves.vent_open


def check_vented(machine: SimulatedStand, server: TcpServer, child: int) -> None:
    wait_for(lambda: not running(child))
    with server.lock:
        assert machine.outputs.casing_pa < 0.6 * PSI
        assert machine.drive.valves.vent_open


@pytest.mark.parametrize("how", ["interrupted", "unclosed"])
def test_a_program_that_fails_and_is_interrupted_before_it_could_wait_holds_still(
    how: str, start: Start, machine: SimulatedStand, lock_step: TcpServer
) -> None:
    parent, child = start(how)
    assert parent.stderr is not None
    while HANDS_STILL_IN not in (line := parent.stderr.readline()):
        assert line, "it ended without a word"
    assert holds_still(machine, lock_step)
    parent.send_signal(signal.SIGINT)
    check_vented(machine, lock_step, child)
    parent.wait(20.0)


@pytest.mark.parametrize("parent_lives", [True, False])
def test_to_be_told_to_end_is_no_word_that_hands_are_out(
    parent_lives: bool, start: Start, machine: SimulatedStand, lock_step: TcpServer
) -> None:
    parent, child = start("stays")
    if not parent_lives:
        parent.kill()
    os.kill(child, signal.SIGTERM)
    assert holds_still(machine, lock_step)
    rig.cli.vent._let_go(child)
    check_vented(machine, lock_step, child)


def test_one_that_holds_a_stand_and_no_hands_outlives_the_word() -> None:
    assert WORD is not None
    before = signal.getsignal(WORD)
    with deaf_to_word():
        signal.raise_signal(WORD)
    assert signal.getsignal(WORD) == before
