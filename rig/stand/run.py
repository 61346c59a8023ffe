"""A procedure's run on a stand, from arming to vented, apart from where the scan loop lives.

The guard decides; this only asks: arm, the procedure's demands, stop. Whatever ends the procedure, the
run goes on until the guard says that the casing is vented, or that it has come to its end.
"""

from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Generic, TypeVar

from rig.stand.loop import ScanLoop
from rig.stand.notice import REFUSED, Notice
from rig.stand.sample import Sample
from safety.signals import Demand, Reading
from safety.state import Mode, PersonEvent, Trip

T = TypeVar("T")
Procedure = Generator[Demand, Reading, T]
Asked = tuple[Demand | None, PersonEvent | None]

SETTLE_S = 1.2  # the guard refuses to arm before its readings have settled, 1 s
ARM_EVERY_S = 0.5
ARM_WITHIN_S = 2.0  # refused for this long although vented: a person has to do something first
VENT_WITHIN_S = 240.0  # longer than the guard itself waits for the pressure to go

MOVING = (Mode.RAMPING.value, Mode.HANDS_IN.value)
ENDED = (Mode.TRIPPED.value, Mode.ESCALATED.value)


class How(StrEnum):
    FINISHED = "finished"
    REFUSED = "refused"  # the guard would not arm
    STOPPED = "stopped"  # a person ended it in order
    TRIPPED = "tripped"
    LOST = "lost"  # the scan process died; the module's watchdog takes the outputs down


@dataclass(frozen=True, slots=True)
class Ended(Generic[T]):
    """How a run ended. `value` is what the procedure returned, None where it did not come to that."""

    how: How
    value: T | None
    trips: tuple[Trip, ...]
    refusals: tuple[str, ...]
    vented: bool  # False: the casing is not known to be without pressure


class Run(Generic[T]):
    """The conversation of one run: `saw` every sample, `answer` every reading, until `ended`."""

    def __init__(
        self, procedure: Procedure[T], person: Callable[[], PersonEvent | None] = lambda: None
    ) -> None:
        self.ended: Ended[T] | None = None
        self._procedure = procedure
        self._person = person
        self._stage: Callable[[Reading], Asked] = self._arming
        self._value: T | None = None
        self._how = How.FINISHED
        self._trips: list[Trip] = []
        self._refusals: tuple[str, ...] = ()
        self._mode = Mode.RESTING.value
        self._vented = False
        self._since_s: float | None = None  # when the stage began
        self._vented_since_s: float | None = None
        self._armed_s = 0.0  # last try
        self._serial = 0
        self._started = False

    def answer(self, reading: Reading) -> Asked:
        """What to ask of the guard now. A person's order goes before anything else.

        A run that has tripped stays one: an order that comes after it does not make it a person's stop.
        """
        if self._since_s is None:
            self._since_s = reading.time_s
        event = self._person()
        if event in (PersonEvent.STOP, PersonEvent.SAFE_NOW):
            if self._how is not How.TRIPPED:
                self._leave(self._ending, How.STOPPED, reading.time_s)
            return None, event
        demand, own = self._stage(reading)
        return demand, event or own

    def saw(self, sample: Sample, notices: Iterable[Notice] = ()) -> None:
        """Take note of what a scan brought."""
        now_s = sample.reading.time_s
        refused = [notice.text for notice in notices if notice.kind == REFUSED]
        self._trips += [notice.trip for notice in notices if notice.trip is not None]
        if refused:
            self._refusals = tuple(refused)
        self._mode, self._vented = sample.mode, sample.vented
        if not self._vented:
            self._vented_since_s = None
        elif self._vented_since_s is None:
            self._vented_since_s = now_s
        if self._mode in ENDED and self._stage != self._ending:
            self._leave(self._ending, How.TRIPPED, now_s)

    def give_up(self, how: How) -> None:
        """End here: the loop is gone."""
        self._procedure.close()
        self._end(how)

    # -- stages ---------------------------------------------------------------------------------------

    def _arming(self, reading: Reading) -> Asked:
        now_s, began_s = reading.time_s, self._since_s or 0.0
        if self._mode in MOVING:
            self._leave(self._running, How.FINISHED, now_s)
            return self._running(reading)
        given_s = now_s - began_s
        healthy_s = now_s - self._vented_since_s if self._vented_since_s is not None else 0.0
        if given_s > VENT_WITHIN_S or (
            healthy_s > SETTLE_S + ARM_WITHIN_S and given_s > SETTLE_S + ARM_WITHIN_S
        ):
            self._procedure.close()
            self._end(How.REFUSED)
            return None, None
        if given_s < SETTLE_S or now_s - self._armed_s < ARM_EVERY_S or self._mode != Mode.RESTING.value:
            return None, None
        self._armed_s = now_s
        return None, PersonEvent.ARM

    def _running(self, reading: Reading) -> Asked:
        if self._mode not in MOVING:  # hands came out with a trip latched: the guard returns the stem
            self._leave(self._ending, How.TRIPPED, reading.time_s)
            return None, None
        try:
            demand = self._procedure.send(reading) if self._started else next(self._procedure)
        except StopIteration as stop:
            self._value = stop.value
            self._leave(self._ending, How.FINISHED, reading.time_s)
            return None, PersonEvent.STOP
        self._started = True
        self._serial += 1
        return replace(demand, serial=self._serial), None

    def _ending(self, reading: Reading) -> Asked:
        """Nothing is asked any more; the guard is bringing the stand to rest."""
        resting = self._mode == Mode.RESTING.value and (self._vented or self._how is How.STOPPED)
        tripped = self._mode in ENDED and (self._vented or self._mode == Mode.ESCALATED.value)
        too_long = reading.time_s - (self._since_s or 0.0) > VENT_WITHIN_S
        too_long &= self._mode != Mode.HANDS_IN.value  # the end would move the stem: wait for the person
        if resting or tripped or too_long:
            self._end(How.TRIPPED if self._trips and self._how is How.FINISHED else self._how)
        return None, None

    def _leave(self, stage: Callable[[Reading], Asked], how: How, now_s: float) -> None:
        if stage == self._ending:
            self._procedure.close()
        self._stage, self._how, self._since_s = stage, how, now_s

    def _end(self, how: How) -> None:
        self.ended = Ended(how, self._value, tuple(self._trips), self._refusals, self._vented)


def run_inline(
    loop: ScanLoop,
    procedure: Procedure[T],
    on_sample: Callable[[Sample], None],
    on_notice: Callable[[Notice], None] = lambda notice: None,
    person: Callable[[], PersonEvent | None] = lambda: None,
) -> Ended[T]:
    """Run a procedure with the loop in this thread: virtual time, and the tests.

    When `on_sample` or `on_notice` raises, the stand is vented first and the exception goes on after that.
    """
    run = Run(procedure, person)
    try:
        while run.ended is None:
            reading = loop.read()
            demand, event = run.answer(reading)
            sample = loop.act(reading, demand, event)
            notices = loop.take_notices()
            run.saw(sample, notices)
            for notice in notices:
                on_notice(notice)
            on_sample(sample)
    except BaseException:
        procedure.close()
        vent_inline(loop)
        raise
    return run.ended


def vent_inline(loop: ScanLoop) -> bool:
    """Order the outputs safe and wait, by the loop's own time, for the pressure to go; whether it did."""
    sample = loop.step(None, PersonEvent.SAFE_NOW)
    began_s = sample.reading.time_s
    while not sample.vented and sample.mode != Mode.ESCALATED.value:
        if sample.reading.time_s - began_s > VENT_WITHIN_S:
            break
        sample = loop.step()
    return sample.vented
