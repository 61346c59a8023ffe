"""The scan's side of the process boundary: the loop, its orders in by a pipe, its samples out by a ring."""

import gc
import os
import signal
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any, Protocol

from rig.stand.clock import Clock, MonotonicClock, PacedClock
from rig.stand.link import Bus, LinkFault
from rig.stand.lock import Holding, StandInUse, only_controller
from rig.stand.loop import ScanLoop
from rig.stand.model import Stand
from rig.stand.notice import LINK, PRIORITY, Notice
from rig.stand.outputs import Outputs
from rig.stand.packed import NO_DEMAND, SIZE, packed
from rig.stand.ring import Ring
from rig.stand.run import VENT_WITHIN_S
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from rig.stand.word import WORD
from safety.limits import Limits
from safety.signals import Demand
from safety.state import Mode, PersonEvent

# A pipe holds about 280 messages and then blocks its writer; this many may be on their way unheard.
MOST_UNHEARD = 40
ANSWER_WITHIN_S = 2.0  # paced: real time given to the parent to answer a sample
COLLECT_EVERY = 500  # scans between two collections of garbage, which is little: a fraction of a millisecond
REAL_TIME_PRIORITY = 10
NICENESS = -10  # where there is no real-time priority
NO_PRIORITY = (
    "This system does not let the scan go before other programs: on a busy computer scans are late or left "
    "out, and the guard vents where too many are. Close other programs, or grant a real-time priority."
)
UNCLEAN_END = "The last program on this stand ended without leaving it in order"
ENDS_AFTER_HANDS = (
    "The scan was told to end. With hands in nothing moves; it vents once you say that hands are out."
)
STILL_HEARD = (PersonEvent.HANDS_OUT, PersonEvent.SAFE_NOW)  # while it ends: only what lets the air go
VENTED_FIRST = "Outputs are made safe and any air is let go before anything else."


@dataclass(frozen=True, slots=True)
class Order:
    """What the parent sends."""

    heard: int = 0  # notices received so far
    answers: int | None = None  # the scan that `demand` answers; None: not an answer
    number: int = NO_DEMAND
    demand: Demand | None = None
    event: PersonEvent | None = None
    end: bool = False


@dataclass(frozen=True, slots=True)
class Setup:
    """From which the child makes its loop."""

    stand: Stand
    limits: Limits
    speed: float | None  # None: the machine's own time
    ring_name: str
    ring_slots: int


class Post(Protocol):
    """A semaphore: one `release` for every sample."""

    def release(self) -> None: ...


class ScanServer:
    """Serves one parent until it says so or is gone; then the stand is vented, whatever state it was in.

    But with hands in the mechanism nothing moves without a person's word: the outputs stay as they are until
    hands are said to be out, by the parent where it still lives, or by `released` (a signal to this process:
    `stemrig vent` sends it).
    """

    def __init__(
        self,
        loop: ScanLoop,
        pipe: Connection,
        ring: Ring,
        post: Post,
        paced: bool,
        say_hands_in: Callable[[bool], None] = lambda hands_in: None,
    ) -> None:
        """`say_hands_in` is told whenever hands go in or come out."""
        self._say_hands_in, self._hands_in = say_hands_in, False
        self._loop, self._pipe, self._ring, self._post = loop, pipe, ring, post
        self._paced = paced
        self._expect_answer = True
        self._number = NO_DEMAND
        self._demand: Demand | None = None
        self._answered = -1  # latest scan that the parent answered
        self._events: deque[PersonEvent] = deque()
        self._notices: deque[Notice] = deque()
        self._sent = self._heard = 0
        self._scans = 0
        self._alone = False  # nobody is at the other end of the pipe
        self.ending = False  # set from outside too: a signal
        self.released = False  # set from outside: a person has said that hands are out

    def tell(self, notice: Notice) -> None:
        """Send it with the next scan's."""
        self._notices.append(notice)

    def serve(self) -> None:
        while not self.ending:
            self._scan()
        self._events = deque(event for event in self._events if event in STILL_HEARD)
        if self._loop.state.mode is Mode.HANDS_IN:
            self._hold()
            self._return_slowly()
        self._vent()

    def _scan(self, own: PersonEvent | None = None) -> Sample:
        """One scan; `own`: an event of this side's, before any of the parent's."""
        reading = self._loop.read()
        self._take_orders()  # as late as possible: the freshest demand
        if own is None and self._events:
            own = self._events.popleft()
        sample = self._loop.act(reading, None if self.ending else self._demand, own)
        hands_in = self._loop.state.mode is Mode.HANDS_IN
        if hands_in is not self._hands_in:
            self._hands_in = hands_in
            self._say_hands_in(hands_in)
        self._tell()
        self._ring.push(packed(sample, self._number if sample.demand is not None else NO_DEMAND))
        self._post.release()
        if self._paced and not self.ending:
            self._wait_for_answer(reading.scan)
        self._scans += 1
        if self._scans % COLLECT_EVERY == 0:
            gc.collect()
        return sample

    def _wait_for_answer(self, scan: int) -> None:
        """Virtual time stands still while the parent thinks. One that never answers is waited for once."""
        if not self._expect_answer:
            return
        while self._answered < scan and not self.ending:
            if not self._pipe_has_news(ANSWER_WITHIN_S):
                self._expect_answer = False
                return
            self._take_orders()

    def _pipe_has_news(self, within_s: float) -> bool:
        try:
            return self._pipe.poll(within_s)
        except OSError:
            self.ending = self._alone = True
            return True

    def _take_orders(self) -> None:
        """All that has come: a parent that lives must never wait for a pipe that nobody empties."""
        while not self._alone and self._pipe_has_news(0.0):
            try:
                order: Order = self._pipe.recv()
            except (EOFError, OSError):
                self.ending = self._alone = True
                return
            self._heard = max(self._heard, order.heard)
            if order.event is not None and (not self.ending or order.event in STILL_HEARD):
                self._events.append(order.event)
            if order.answers is not None:
                self._answered, self._expect_answer = order.answers, True
                self._number, self._demand = order.number, order.demand
            self.ending |= order.end

    def _tell(self) -> None:
        self._notices += self._loop.take_notices()
        while self._notices and self._sent - self._heard < MOST_UNHEARD and not self._alone:
            try:
                self._pipe.send(self._notices[0])
            except OSError:
                self.ending = self._alone = True
                return
            self._notices.popleft()
            self._sent += 1

    def _vent(self) -> None:
        """The parent is gone or done. A casing known to be vented, with nothing asked, needs nothing more."""
        loop = self._loop
        if loop.state.vented and loop.state.mode in (Mode.RESTING, Mode.TRIPPED):
            return
        event: PersonEvent | None = PersonEvent.SAFE_NOW
        began_s = loop.state.time_s
        while event is not None or not (loop.state.vented or loop.state.mode is Mode.ESCALATED):
            sample = self._scan(event)
            event = None
            if sample.reading.time_s - began_s > VENT_WITHIN_S:
                return

    def _hold(self) -> None:
        """Outputs as they are, until a person says that hands are out."""
        if not self._alone:
            self.tell(Notice(self._loop.state.time_s, LINK, ENDS_AFTER_HANDS))
        while self._loop.state.mode is Mode.HANDS_IN:
            self._scan(PersonEvent.HANDS_OUT if self.released else None)

    def _return_slowly(self) -> None:
        """Hands were in a moment ago: with a trip latched the guard takes its time over the way down."""
        began_s = self._loop.state.time_s
        while self._loop.state.mode is Mode.VENTING and self._loop.state.time_s - began_s < VENT_WITHIN_S:
            self._scan()


def serve(setup: Setup, pipe: Connection, post: Post) -> None:
    """The child's main function. Tells the parent "ready", or why not, before the first scan.

    The stand is held by this process, which alone writes to it, until it is gone.
    """
    # The parent turns Ctrl-C and a closed terminal into orders; a word before the first scan is no word.
    for number in (signal.SIGINT, getattr(signal, "SIGHUP", None), WORD):
        if number is not None:
            signal.signal(number, signal.SIG_IGN)
    try:
        holding = Holding()
        with only_controller(setup.stand, holding=holding) as left_by:
            _serve_alone(setup, pipe, post, left_by, holding)
    except StandInUse as problem:
        pipe.send(("connection", str(problem), 0))


def _serve_alone(setup: Setup, pipe: Connection, post: Post, left_by: str, holding: Holding) -> None:
    no_priority = take_priority()
    ring = Ring(SIZE, setup.ring_slots, setup.ring_name)
    buses: Mapping[str, Bus] = {}
    try:
        buses = _buses(setup.stand)
        clock: Clock = MonotonicClock() if setup.speed is None else PacedClock(setup.speed)
        scanner = Scanner(setup.stand, buses, clock)
        try:
            scanner.connect()
        except LinkFault as fault:
            pipe.send((fault.kind, fault.text, fault.code))
            return
        loop = ScanLoop(scanner, Outputs(setup.stand, buses, clock), clock, setup.limits)
        server = ScanServer(loop, pipe, ring, post, setup.speed is not None, holding.say)

        if left_by:
            server.tell(Notice(clock.now(), LINK, f"{UNCLEAN_END} ({left_by}). {VENTED_FIRST}"))
        if no_priority and setup.speed is None:
            server.tell(Notice(clock.now(), PRIORITY, no_priority))
        _heed_signals(server)
        pipe.send("ready")
        gc.collect()
        gc.freeze()
        gc.disable()
        try:
            server.serve()
        finally:
            loop.make_safe()
    finally:
        for bus in buses.values():
            bus.close()
        ring.close()


def _heed_signals(server: ScanServer) -> None:
    """To be told to end is one thing (a shutdown, `kill`); that hands are out only a person says."""

    def end(number: int, frame: Any) -> None:
        server.ending = True

    def word(number: int, frame: Any) -> None:
        server.ending = server.released = True

    signal.signal(signal.SIGTERM, end)
    if WORD is not None:
        signal.signal(WORD, word)


def _buses(stand: Stand) -> Mapping[str, Bus]:
    from rig.stand.modbus import open_buses

    return open_buses(stand.links)


def take_priority() -> str:
    """Go before other programs where the system grants it; what to tell a person where it does not.

    Real-time priority if it may be had, else a higher ordinary one. The scan does without where it must.
    """
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(REAL_TIME_PRIORITY))
        return ""
    except (AttributeError, OSError):
        pass
    try:
        os.setpriority(os.PRIO_PROCESS, 0, NICENESS)
        return ""
    except (AttributeError, OSError):
        return NO_PRIORITY
