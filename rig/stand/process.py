"""The scan in a process of its own, seen from the one that plots and records.

Nothing that this process does can stall the scan: samples come through shared memory, demands go by a pipe
that is polled. When this process dies or stops answering, the scan vents the stand.
"""

import atexit
import multiprocessing
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Self, TypeVar

from rig.stand.link import LinkFault
from rig.stand.model import Stand
from rig.stand.notice import SILENT, Notice
from rig.stand.packed import NO_DEMAND, SIZE, demand_number_of, unpacked
from rig.stand.ring import Ring
from rig.stand.run import VENT_WITHIN_S, Ended, How, Procedure, Run
from rig.stand.sample import Sample
from rig.stand.scan_process import Order, Setup, serve
from rig.stand.word import Presses, give_word
from safety.limits import Limits
from safety.signals import Demand
from safety.state import Mode, PersonEvent

T = TypeVar("T")

SLOTS = 8192  # samples: 160 s at 50 scans/s may be left untaken
START_WITHIN_S = 30.0
END_WITHIN_S = START_WITHIN_S + VENT_WITHIN_S
SLOW_RETURN_S = VENT_WITHIN_S  # before the venting, once hands are out
HANDS_STILL_IN = (
    "HANDS ARE IN, and this program cannot go on. Nothing moves: the outputs are held as they are. Shut off "
    "the air by hand if you can. When everybody is clear press Ctrl-C here, or run `stemrig vent` elsewhere: "
    "then it vents."
)
LOOK_EVERY_S = 0.25  # whether the scan still lives, while no sample comes
NO_READING = (
    "NOTHING HAS BEEN READ for {:.0f} s: the scan does not answer, what is shown is old, and nobody holds "
    "the outputs. Press the stand's emergency stop, shut the air, stay clear. Ctrl-C twice gives the scan up."
)
SILENT_S, SAY_SILENT_EVERY_S = 2.0, 5.0  # without a sample: said then, and again


class StandProcess:
    """A running scan. `open` it, then `send` an answer to every batch of `samples`; a context manager."""

    def __init__(self, stand: Stand, limits: Limits, speed: float | None = None) -> None:
        """`speed`: None for real time, else how many times faster than it a paced stand may run."""
        self.lost_samples = 0  # written over before they were taken
        self._stand, self._limits, self._speed = stand, limits, speed
        self._context = multiprocessing.get_context("spawn")
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._ring: Ring | None = None
        self._post = self._context.Semaphore(0)
        self._demands: dict[int, Demand] = {}  # sent, and perhaps still to come back in a sample
        self._number = 0
        self._scan = -1  # latest seen
        self._heard = 0
        self._hands_in = False  # as of the latest sample

    def open(self) -> None:
        """Start the scan. Raises LinkFault when the stand does not answer, RuntimeError if nothing starts."""
        # An interrupt may land before `close` is reached. Then the interpreter's exit closes; it must not
        # end the scan itself, as it would a daemon: hands may be in.
        atexit.register(self.close)
        try:
            self._open()
        except BaseException:
            self.close()
            raise

    def _open(self) -> None:
        self._ring = Ring(SIZE, SLOTS)
        self._pipe, theirs = self._context.Pipe()
        setup = Setup(self._stand, self._limits, self._speed, self._ring.name, SLOTS)
        self._process = self._context.Process(
            target=serve, args=(setup, theirs, self._post), name="scan", daemon=False
        )
        self._process.start()
        theirs.close()
        told: object = None
        try:
            told = self._pipe.recv() if self._pipe.poll(START_WITHIN_S) else None
        except EOFError:
            told = None
        if told == "ready":
            return
        if isinstance(told, tuple):
            raise LinkFault(*told)
        raise RuntimeError("the scan process did not start")

    @property
    def alive(self) -> bool:
        return self._process is not None and self._process.is_alive()

    def samples(self, wait_s: float = 0.0) -> list[Sample]:
        """Every sample since the last call; waits up to `wait_s` for the first."""
        if self._ring is None:
            return []
        self._post.acquire(timeout=wait_s)
        records = self._ring.take()
        for _ in records[1:]:
            self._post.acquire(block=False)
        self.lost_samples = self._ring.overrun
        found = [unpacked(r, self._demands.get(demand_number_of(r))) for r in records]
        if found:
            self._scan = found[-1].reading.scan
            self._hands_in = found[-1].mode == Mode.HANDS_IN.value
            oldest = demand_number_of(records[-1])
            self._demands = {n: d for n, d in self._demands.items() if n >= oldest}
        return found

    def notices(self) -> list[Notice]:
        """What happened beside the samples since the last call; all of it up to the last sample taken."""
        found: list[Notice] = []
        try:
            while self._pipe is not None and self._pipe.poll(0):
                found.append(self._pipe.recv())
        except (EOFError, OSError):
            pass
        self._heard += len(found)
        return found

    def send(self, demand: Demand | None) -> None:
        """Answer the latest sample. A paced stand waits for this; the guard wants it fresh."""
        number = NO_DEMAND
        if demand is not None:
            self._number += 1
            number = self._number
            self._demands[number] = demand
        self._order(Order(self._heard, self._scan, number, demand))

    def event(self, event: PersonEvent) -> None:
        self._order(Order(self._heard, event=event))

    def close(self) -> None:
        """End the scan, which vents first where that is not done, and wait for it.

        With hands in the mechanism the scan holds everything still; then the wait is for a person's word.
        """
        with Presses() as presses:
            self._order(Order(self._heard, end=True))
            if self._process is not None:
                self._see_it_end(self._process, presses)
            if self._pipe is not None:
                self._pipe.close()
            if self._ring is not None:
                self._ring.close()
                self._ring.unlink()
            self._process = self._pipe = self._ring = None
        atexit.unregister(self.close)

    def _see_it_end(self, process: BaseProcess, presses: Presses) -> None:
        """Wait for the scan's end. A Ctrl-C is the person's word only after they were told what it means."""
        told, left_s = False, END_WITHIN_S
        while process.is_alive() and left_s > 0.0:
            process.join(LOOK_EVERY_S)
            self.samples()  # hands may have gone in since the last look
            if not self._hands_in:
                left_s -= LOOK_EVERY_S
                continue
            left_s = SLOW_RETURN_S + END_WITHIN_S
            if not told:
                told = True
                with suppress(OSError, ValueError):  # the terminal may be what is gone
                    print(HANDS_STILL_IN, file=sys.stderr, flush=True)
                presses.count = 0
            elif presses.count:
                presses.count = 0
                if process.pid is None or not give_word(process.pid):
                    process.terminate()  # the module's watchdog lets the air go
        if process.is_alive():  # the same
            process.kill()
            process.join()

    def _order(self, order: Order) -> None:
        """A scan that is gone takes no orders; that it is gone shows in `alive`."""
        try:
            if self._pipe is not None:
                self._pipe.send(order)
        except OSError:
            pass

    def give_it_up(self) -> bool:
        """Kill a scan that does not answer, so that nothing of it comes back later, and say whether it was
        done: not with hands in, where it may only be late. Only the module's watchdog acts from then on."""
        if self._process is None or self._hands_in:
            return False
        self._process.kill()
        self._process.join()
        return True

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def run_over(
    scan: StandProcess,
    procedure: Procedure[T],
    on_sample: Callable[[Sample], None],
    on_notice: Callable[[Notice], None] = lambda notice: None,
    person: Callable[[], PersonEvent | None] = lambda: None,
) -> Ended[T]:
    """Run a procedure here with the scan over there.

    When `on_sample` or `on_notice` raises, the stand is vented first and the exception goes on after that.
    """
    run, silence = Run(procedure, person), _Silence(scan, on_notice, person)
    try:
        while run.ended is None:
            samples = scan.samples(LOOK_EVERY_S)
            if not samples and (not scan.alive or silence.ended()):
                run.give_up(How.LOST)
            if samples:
                silence.over(samples[-1].reading.time_s)
                _answer(scan, run, samples, on_sample, on_notice)
    except BaseException:
        procedure.close()
        vent_over(scan)
        raise
    return run.ended


class _Silence:
    """A scan that lives and brings nothing: stopped, or stuck in the system. What is shown is old then."""

    def __init__(
        self,
        scan: StandProcess,
        on_notice: Callable[[Notice], None],
        person: Callable[[], PersonEvent | None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._scan, self._on_notice, self._person, self._clock = scan, on_notice, person, clock
        self._heard_at = self._clock()
        self._said_at: float | None = None
        self._last_s = 0.0

    def over(self, time_s: float) -> None:
        self._last_s, self._heard_at, self._said_at = time_s, self._clock(), None

    def ended(self) -> bool:
        """Look while nothing comes, and say it; True when a person gave the scan up (Ctrl-C twice)."""
        now = self._clock()
        silent_s = now - self._heard_at
        if silent_s < SILENT_S:
            return False
        if self._said_at is None or now - self._said_at >= SAY_SILENT_EVERY_S:
            self._said_at = now
            self._on_notice(Notice(self._last_s + silent_s, SILENT, NO_READING.format(silent_s)))
        order = self._person()
        if order is not None:
            self._scan.event(order)  # for when it wakes
        return order is PersonEvent.SAFE_NOW and self._scan.give_it_up()


def _answer(
    scan: StandProcess,
    run: Run[T],
    samples: list[Sample],
    on_sample: Callable[[Sample], None],
    on_notice: Callable[[Notice], None],
) -> None:
    """The procedure sees every reading; what it asks last of a batch is sent."""
    notices = scan.notices()
    for notice in notices:
        on_notice(notice)
    demand: Demand | None = None
    for sample in samples:
        on_sample(sample)
        run.saw(sample, notices)
        notices = []
        if run.ended is None:
            demand, event = run.answer(sample.reading)
            if event is not None:
                scan.event(event)
    scan.send(demand)


def vent_over(scan: StandProcess) -> bool:
    """Order the outputs safe and wait for the pressure to go; whether it is known to be gone."""
    scan.event(PersonEvent.SAFE_NOW)
    began_s: float | None = None
    while scan.alive:
        samples = scan.samples(LOOK_EVERY_S)
        scan.notices()
        scan.send(None)
        for sample in samples:
            began_s = sample.reading.time_s if began_s is None else began_s
            tripped = sample.mode != Mode.RAMPING.value
            if sample.mode == Mode.HANDS_IN.value:
                return False  # frozen: only the person ends that
            if tripped and (sample.vented or sample.mode == Mode.ESCALATED.value):
                return sample.vented
            if sample.reading.time_s - began_s > VENT_WITHIN_S:
                return False
    return False
