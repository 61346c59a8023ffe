"""The scan's side of the process boundary, in virtual time: the test plays the parent between two scans."""

import multiprocessing
import threading
from collections.abc import Callable, Iterator

import pytest

from rig.stand.clock import VirtualClock
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.model import Table
from rig.stand.notice import Notice
from rig.stand.outputs import Outputs
from rig.stand.packed import SIZE, demand_number_of, unpacked
from rig.stand.ring import Ring
from rig.stand.sample import Sample
from rig.stand.scan_process import ENDS_AFTER_HANDS, MOST_UNHEARD, Order, ScanServer
from rig.stand.scanner import Scanner
from safety.limits import Role, expect
from safety.signals import Demand
from safety.state import Mode, PersonEvent
from simulator import SimulatedStand

from .stands import PSI, limits, stand
from .test_loop_run import LIFTS_AT_10_PSI

Play = Callable[["Boundary", int], None]


class Boundary:
    """A server on a simulated stand; `play(boundary, scan)` is called before every scan."""

    def __init__(self, play: Play, paced: bool = False) -> None:
        given = stand()
        self.machine = SimulatedStand(given, LIFTS_AT_10_PSI, seed=3)
        self.pipe, theirs = multiprocessing.Pipe()
        self.ring = Ring(SIZE, 30_000)
        self.posted = threading.Semaphore(0)
        self.heard = 0
        self._play, self._scan, self._theirs = play, 0, theirs

        def advance(passed_s: float) -> None:
            self.machine.advance(self.machine.time_s + passed_s)
            self._scan += 1
            self._play(self, self._scan)

        clock = VirtualClock(advance)
        buses = {"bay": InProcessBus(self.machine)}
        loop = ScanLoop(
            Scanner(given, buses, clock),
            Outputs(given, buses, clock),
            clock,
            limits(signals=expect(Role.PRESSURE, Role.POSITION), isolate_supply_hands_in=False),
        )
        self.server = ScanServer(loop, theirs, self.ring, self.posted, paced)

    def send(self, psi: float | None = None, scan: int = 0, **order: object) -> None:
        demand = None if psi is None else Demand(psi * PSI, 3 * PSI, "rise", serial=scan)
        self.pipe.send(Order(self.heard, scan, scan, demand, **order))  # type: ignore[arg-type]

    def notices(self) -> list[Notice]:
        found = []
        while self.pipe.poll(0):
            found.append(self.pipe.recv())
        self.heard += len(found)
        return found

    def samples(self) -> list[Sample]:
        return [unpacked(record, None) for record in self.ring.take()]

    def close(self) -> None:
        self.pipe.close()
        self._theirs.close()
        self.ring.close()
        self.ring.unlink()


@pytest.fixture
def bounded() -> Iterator[Callable[..., Boundary]]:
    made: list[Boundary] = []

    def make(
        play: Play, paced: bool = False, first: Callable[[Boundary], None] = lambda boundary: None
    ) -> Boundary:
        made.append(Boundary(play, paced))
        first(made[-1])
        made[-1].server.serve()
        return made[-1]

    yield make
    for boundary in made:
        boundary.close()


def ramp_until(last: int, then: Play) -> Play:
    """Arm at scan 100, ask for 8 psi with a fresh demand before every scan, and at `last` do `then`."""

    def play(boundary: Boundary, scan: int) -> None:
        if scan == 100:
            boundary.pipe.send(Order(event=PersonEvent.ARM))
        if 100 < scan < last:
            boundary.send(8.0, scan)
        if scan == last:
            then(boundary, scan)

    return play


def hang_up(boundary: Boundary, scan: int) -> None:
    boundary.pipe.close()


def check_ramped_and_vented(boundary: Boundary) -> list[Sample]:
    seen = boundary.samples()
    assert max(s.reading.pressure.value for s in seen) > 5 * PSI
    assert boundary.machine.outputs.casing_pa < 0.6 * PSI
    assert seen[-1].vented
    return seen


def test_when_the_parent_dies_the_stand_is_made_safe_at_once_and_vented(
    bounded: Callable[..., Boundary],
) -> None:
    boundary = bounded(ramp_until(300, hang_up))
    seen = check_ramped_and_vented(boundary)
    first_safe = next(s for s in seen if s.reading.scan >= 300 and s.command.vent_open)
    assert first_safe.reading.scan <= 301
    assert seen[-1].mode == Mode.TRIPPED.value


def test_asked_to_end_in_the_middle_it_vents_first(bounded: Callable[..., Boundary]) -> None:
    boundary = bounded(ramp_until(300, lambda b, scan: b.pipe.send(Order(end=True))))
    check_ramped_and_vented(boundary)


def hands_in_at(scan_in: int, then: Play, last: int) -> Play:
    """Ramped to 5 psi, hands in at `scan_in`, `then` played at `last`."""

    def play(boundary: Boundary, scan: int) -> None:
        if scan == 100:
            boundary.pipe.send(Order(event=PersonEvent.ARM))
        if 100 < scan < last:
            boundary.send(5.0, scan)
        if scan == scan_in:
            boundary.pipe.send(Order(event=PersonEvent.HANDS_IN))
        if scan == last:
            then(boundary, scan)

    return play


def test_when_the_parent_dies_with_hands_in_nothing_moves_until_a_person_says_so(
    bounded: Callable[..., Boundary],
) -> None:
    def play(boundary: Boundary, scan: int) -> None:
        if scan <= 700:
            hands_in_at(600, hang_up, 700)(boundary, scan)
        boundary.server.released = scan > 15_000  # 286 s later: longer than any venting is waited for

    boundary = bounded(play)
    seen = boundary.samples()
    held = [s for s in seen if 700 <= s.reading.scan <= 15_000]
    assert {s.mode for s in held} == {Mode.HANDS_IN.value}
    assert {(s.command.vent_open, s.command.output_pa) for s in held} == {(False, held[0].command.output_pa)}
    assert held[0].command.output_pa > 4.0 * PSI
    assert seen[-1].command.vent_open
    assert seen[-1].vented, "once a person has said that hands are out"


def test_told_to_end_with_hands_in_it_holds_still_and_hears_its_living_parent_say_that_they_are_out(
    bounded: Callable[..., Boundary],
) -> None:
    """What a signal to end does: a shutdown speaks for nobody's hands. The pipe never fills meanwhile."""
    told: list[Notice] = []

    def end(boundary: Boundary) -> None:
        boundary.server.ending = True

    def play(boundary: Boundary, scan: int) -> None:
        hands_in_at(600, lambda b, scan: end(b), 700)(boundary, scan)
        if 700 < scan < 3000:
            boundary.send(5.0, scan)
            told.extend(boundary.notices())
        if scan in (1000, 1001):  # what moves the stem is not heard, whoever asks for it
            boundary.pipe.send(Order(event=(PersonEvent.STOP, PersonEvent.ARM)[scan - 1000]))
        if scan == 3000:
            boundary.pipe.send(Order(event=PersonEvent.HANDS_OUT))
        boundary.server.released = scan > 5000  # deaf: an end all the same

    seen = bounded(play).samples()
    held = [s for s in seen if 700 <= s.reading.scan < 3000]
    assert {(s.mode, s.command.vent_open) for s in held} == {(Mode.HANDS_IN.value, False)}
    assert ENDS_AFTER_HANDS in [notice.text for notice in told]
    assert seen[-1].vented
    assert seen[-1].reading.scan < 5000


def test_hands_that_come_out_under_an_alarm_are_given_time_before_the_vent_opens(
    bounded: Callable[..., Boundary],
) -> None:
    def play(boundary: Boundary, scan: int) -> None:
        if scan <= 700:
            hands_in_at(600, hang_up, 700)(boundary, scan)
        if scan == 650:
            boundary.pipe.send(Order(event=PersonEvent.SAFE_NOW))  # with hands in it only latches
        boundary.server.released = scan >= 800

    seen = bounded(play).samples()
    out = next(s for s in seen if s.mode == Mode.VENTING.value)
    opened = next(s for s in seen if s.command.vent_open and s.reading.scan >= out.reading.scan)
    assert out.reading.scan <= 801
    rate = out.command.output_pa / (opened.reading.time_s - out.reading.time_s)
    assert rate == pytest.approx(limits().slow_return_pa_per_s.value, rel=0.05)
    assert seen[-1].vented
    assert seen[-1].mode == Mode.TRIPPED.value


def test_asked_to_end_at_rest_it_ends_at_once(bounded: Callable[..., Boundary]) -> None:
    def play(boundary: Boundary, scan: int) -> None:
        if scan == 200:
            boundary.pipe.send(Order(end=True))

    seen = bounded(play).samples()
    assert seen[-1].reading.scan in (200, 201)
    assert seen[-1].mode == Mode.RESTING.value


def test_a_parent_that_lives_but_stops_answering_trips_the_guard(bounded: Callable[..., Boundary]) -> None:
    def later(boundary: Boundary, scan: int) -> None:
        if scan == 600:
            boundary.pipe.send(Order(end=True))

    quiet = ramp_until(300, lambda b, scan: None)
    boundary = bounded(lambda b, scan: (quiet(b, scan), later(b, scan))[0])
    seen = check_ramped_and_vented(boundary)
    tripped = next(s for s in seen if s.mode == Mode.TRIPPED.value)
    assert 320 <= tripped.reading.scan <= 330, "25 scans without a fresh demand"
    assert [n.trip.code for n in boundary.notices() if n.trip] == ["no fresh demand"]


def test_every_sample_is_posted(bounded: Callable[..., Boundary]) -> None:
    boundary = bounded(ramp_until(50, hang_up))
    posts = 0
    while boundary.posted.acquire(blocking=False):
        posts += 1
    assert posts == len(boundary.samples()) >= 50


def test_of_several_demands_the_latest_counts_and_events_come_one_a_scan(
    bounded: Callable[..., Boundary],
) -> None:
    def play(boundary: Boundary, scan: int) -> None:
        if scan == 100:
            boundary.pipe.send(Order(event=PersonEvent.ARM))
            boundary.pipe.send(Order(event=PersonEvent.STOP))
            boundary.send(2.0, 1)
            boundary.send(3.0, 2)
        if scan == 110:
            boundary.pipe.send(Order(end=True))

    boundary = bounded(play)
    modes = [s.mode for s in boundary.samples()]
    first = modes.index(Mode.RAMPING.value)
    assert modes[first + 1] == Mode.VENTING.value


def test_a_parent_that_hears_nothing_never_blocks_the_scan(bounded: Callable[..., Boundary]) -> None:
    """More notices than a pipe holds: the refusal of an event that means nothing, in changing modes."""

    def play(boundary: Boundary, scan: int) -> None:
        if scan < 300:
            for event in (PersonEvent.ARM, PersonEvent.STOP, PersonEvent.SAFE_NOW, PersonEvent.CLEAR):
                boundary.pipe.send(Order(event=event))
            # The order pipe must not fill either: the server takes all of them in every scan.
        if scan == 300:
            boundary.pipe.send(Order(end=True))

    boundary = bounded(play)
    assert len(boundary.notices()) == MOST_UNHEARD


def test_a_paced_scan_waits_for_the_answer_to_its_sample(bounded: Callable[..., Boundary]) -> None:
    """What answers sample k is judged in scan k + 1, always, however slow the parent."""
    records: list[bytes] = []

    def parent(boundary: Boundary) -> None:
        while not records or scan_of(records[-1]) < 150:
            boundary.posted.acquire()
            for record in boundary.ring.take():
                records.append(record)
                boundary.send(1.0, scan_of(record))
        boundary.pipe.send(Order(end=True))

    def start(boundary: Boundary) -> None:
        threads.append(threading.Thread(target=parent, args=(boundary,)))
        threads[0].start()

    threads: list[threading.Thread] = []
    bounded(lambda boundary, scan: None, paced=True, first=start)
    threads[0].join()
    assert [scan_of(record) for record in records] == list(range(151))
    assert [demand_number_of(record) for record in records] == [-1, *range(150)]


def scan_of(record: bytes) -> int:
    return unpacked(record, None).reading.scan


def test_a_paced_scan_goes_on_without_a_parent_that_never_answers(
    bounded: Callable[..., Boundary], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.stand.scan_process.ANSWER_WITHIN_S", 0.01)

    def play(boundary: Boundary, scan: int) -> None:
        if scan == 100:
            boundary.pipe.send(Order(end=True))

    boundary = bounded(play, paced=True)
    assert len(boundary.samples()) >= 100


def test_an_unwritable_stand_still_ends(bounded: Callable[..., Boundary]) -> None:
    """The vent is ordered and cannot be written: escalated, then the end; the module's watchdog is left."""

    def deafen(boundary: Boundary, scan: int) -> None:
        boundary.machine.condition.writes_ignored = frozenset({""})  # type: ignore[assignment]
        boundary.pipe.close()

    boundary = bounded(ramp_until(300, deafen))
    seen = boundary.samples()
    assert seen[-1].mode == Mode.ESCALATED.value
    assert not seen[-1].command.feed_watchdog
    assert boundary.machine.read(1, Table.HOLDING, 40, 1) == [500]
