"""Conducts a guided procedure: shows its prompts to a person, brings the replies, keeps the record of both.

To the stand it is a plain procedure. What the guard is to do with hands (hands in, hands out) is asked of it
only by a person's answer, and the answer counts only when the guard has obeyed; the reasons against it are
shown beside the prompt that stays open.
"""

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, replace
from typing import Generic, Protocol, TypeVar

from rig.procedure.guided import (
    ANSWER,
    BACK,
    PROMPT,
    REMARK,
    TIMED_OUT,
    Answer,
    Ask,
    Code,
    Guided,
    Prompt,
    Seen,
    Told,
)
from safety.signals import Demand, Reading
from safety.state import Mode, PersonEvent

T = TypeVar("T")

PAUSE_KEY, BACK_KEY, STOP_KEY = "p", "b", "q"
CLEAR_KEY = "o"  # hands are out, after an alarm
PAUSE_LIMIT_S = 600.0  # then the run is ended in order: an unwatched stand holds no pressure
OBEYED_WITHIN_S = 1.0  # the guard answers in the next scan; a slow stand has a few

STOP_WAITS = "Stop: it waits for the guard's answer, and where hands go in until you say that they are out."


@dataclass(frozen=True, slots=True)
class Showing:
    """All that a screen needs for one scan."""

    reading: Reading
    demand: Demand
    prompt: Prompt | None  # None: the machine is at work
    mode: str  # the guard's
    waited_s: float = 0.0  # since the prompt was opened
    overdue: bool = False  # its time-out has passed, with hands in: shout
    paused: bool = False
    refusals: tuple[str, ...] = ()  # why the guard did not obey the last answer
    alarm: tuple[str, ...] = ()  # causes latched while hands are in
    in_charge: bool = True  # False: the procedure has not begun or has ended; no key is heard
    written: bool = True  # the outputs were acknowledged in this scan


class Person(Protocol):
    """Whoever sits before the screen, or a script that stands for them."""

    def look(self, showing: Showing) -> str | None:
        """See what is shown in this scan; the key pressed since the last one, if any."""


@dataclass(frozen=True, slots=True)
class Logged:
    """An entry of the conversation, for the record."""

    time_s: float
    told: Told


class Conductor(Generic[T]):
    """`run` is the procedure for the stand, `take_event` its person; `saw` is to be told the guard's mind."""

    def __init__(
        self,
        guided: Guided,
        code: Code[T],
        person: Person,
        log: Callable[[Logged], None] = lambda logged: None,
    ) -> None:
        self._guided, self._code, self._person, self._log = guided, code, person, log
        self._now_s = 0.0
        self._mode = Mode.RAMPING.value
        self._refusals: tuple[str, ...] = ()
        self._trips: list[str] = []
        self._event: PersonEvent | None = None
        self._asked: tuple[Answer, float] | None = None  # an answer waiting for the guard, and since when
        self._stop_waits = False  # the stop key came meanwhile
        self._open: tuple[str, float] | None = None  # the open prompt's title, and when it was opened
        self._timed_out = False
        self._paused_since_s: float | None = None
        self._away_s = 0.0  # paused altogether; to the procedure that time does not pass

    # -- from the stand ------------------------------------------------------------------------------

    def saw(self, mode: str, refusals: Sequence[str] = (), trips: Sequence[str] = ()) -> None:
        """What the guard said in this scan: its mode, what it refused and why, causes newly latched."""
        self._mode = mode
        self._trips += trips
        if refusals:
            self._refusals = tuple(refusals)

    @property
    def asking(self) -> bool:
        """Whether an answer waits for the guard: it may just be obeying "hands in", and a stop that closes
        the procedure would leave nobody to hear that they are out."""
        return self._asked is not None

    def take_event(self) -> PersonEvent | None:
        """A person's event for the guard, once."""
        event, self._event = self._event, None
        return event

    # -- the procedure -------------------------------------------------------------------------------

    def run(self) -> Generator[Demand, Reading, T]:
        try:
            ask = next(self._code)
            while True:
                reading = yield self._demand(ask)
                self._now_s = reading.time_s
                self._tell(self._now_s)
                reply = self._conduct(ask, reading)
                if self._paused_since_s is None:
                    ask = self._code.send(Seen(_earlier(reading, self._away_s), reply))
        except StopIteration as stop:
            value: T = stop.value
            return value
        finally:
            self._asked = None
            if self._event is PersonEvent.HANDS_IN:  # nobody is left to hear that they are out
                self._event = None
            self._code.close()
            self._tell(self._now_s)

    def _demand(self, ask: Ask) -> Demand:
        """What to ask of the guard. A rate of zero keeps the output where it is."""
        demand = ask.hold if isinstance(ask, Prompt) else ask
        if self._paused_since_s is None or demand.vent:
            return demand
        return replace(demand, rate_pa_per_s=0.0, stage=f"paused: {demand.stage}")

    def _conduct(self, ask: Ask, reading: Reading) -> str | None:
        """One scan before the person's eyes; the reply to the open prompt, once there is one."""
        now_s = reading.time_s
        prompt = ask if isinstance(ask, Prompt) else None
        alarm = tuple(self._trips) if self._mode == Mode.HANDS_IN.value else ()
        if alarm:
            prompt = _alarm(alarm, ask)
        waited_s = self._opened(prompt, now_s)
        overdue = prompt is not None and waited_s > prompt.time_out_s
        key = self._person.look(
            Showing(
                reading,
                self._demand(ask),
                prompt,
                self._mode,
                waited_s,
                overdue,
                self._paused_since_s is not None,
                self._refusals,
                alarm,
            )
        )
        if self._common(key, now_s):
            return None
        if self._asked is not None:
            return self._obeyed(now_s)
        if prompt is None or self._paused_since_s is not None:
            return None
        if key is not None:
            return self._answered(prompt, key, now_s)
        return self._overdue(prompt, now_s) if overdue else None

    def _opened(self, prompt: Prompt | None, now_s: float) -> float:
        """Note a prompt that was not open before; for how long it has been open [s], pauses left out."""
        if prompt is None:
            self._open = None
            return 0.0
        here_s = now_s - self._away(now_s)
        if self._open is None or self._open[0] != prompt.title:
            self._open = (prompt.title, here_s)
            self._refusals, self._timed_out = (), False
            self._note(now_s, PROMPT, prompt.text, prompt.title)
        return here_s - self._open[1]

    def _away(self, now_s: float) -> float:
        """Time spent paused so far [s]."""
        since_s = self._paused_since_s
        return self._away_s + (0.0 if since_s is None else now_s - since_s)

    def _common(self, key: str | None, now_s: float) -> bool:
        """Stop and pause, which are always there; True when the key is used up."""
        if self._paused_since_s is not None and now_s - self._paused_since_s > PAUSE_LIMIT_S:
            self._note(
                now_s, REMARK, f"Paused for {PAUSE_LIMIT_S / 60:.0f} min: ended, the stand is made safe."
            )
            self._event, self._paused_since_s = PersonEvent.STOP, None
            return True
        if self._mode != Mode.HANDS_IN.value and (key == STOP_KEY or self._stop_waits):
            return self._stop(now_s)
        if key == PAUSE_KEY and self._mode != Mode.HANDS_IN.value and self._asked is None:
            self._pause(now_s)
            return True
        return False

    def _stop(self, now_s: float) -> bool:
        if not self.asking:
            self._note(now_s, ANSWER, "Stopped by the person.", STOP_KEY)
            self._event, self._stop_waits = PersonEvent.STOP, False
            return True
        if not self._stop_waits:
            self._note(now_s, ANSWER, STOP_WAITS, STOP_KEY)
        self._stop_waits = True
        return False

    def _pause(self, now_s: float) -> None:
        if self._paused_since_s is None:
            self._paused_since_s = now_s
            self._note(now_s, ANSWER, "Paused by the person.", PAUSE_KEY)
            return
        self._away_s = self._away(now_s)
        self._note(now_s, ANSWER, f"Went on after {now_s - self._paused_since_s:.0f} s.", PAUSE_KEY)
        self._paused_since_s = None

    def _answered(self, prompt: Prompt, key: str, now_s: float) -> str | None:
        if key == BACK_KEY and prompt.back_is_safe:
            self._note(now_s, ANSWER, "Back to the step before.", key)
            self._open = None
            return BACK
        answer = prompt.answer_for(key)
        if answer is None:
            return None
        self._note(now_s, ANSWER, answer.text, key)
        if answer.event is not None:
            self._asked, self._event, self._refusals = (answer, now_s), answer.event, ()
            return None
        self._open = None
        return key

    def _obeyed(self, now_s: float) -> str | None:
        """The key of an answer that asked something of the guard, as soon as the guard has done it."""
        assert self._asked is not None, "nothing was asked"
        answer, since_s = self._asked
        wanted = Mode.HANDS_IN if answer.event is PersonEvent.HANDS_IN else Mode.RAMPING
        if self._mode == wanted.value:
            self._asked = self._open = None
            return answer.key
        if self._refusals or now_s - since_s > OBEYED_WITHIN_S:
            self._asked = None
            for reason in self._refusals:
                self._note(now_s, REMARK, f"Not yet: {reason}")
        return None

    def _overdue(self, prompt: Prompt, now_s: float) -> str | None:
        if not self._timed_out:
            self._timed_out = True
            text = (
                "No answer in time; hands may be in, so nothing moves."
                if prompt.hands_in
                else "No answer in time."
            )
            self._note(now_s, REMARK, text)
        if prompt.hands_in:
            return None
        self._open = None
        return TIMED_OUT

    # -- the record ----------------------------------------------------------------------------------

    def _tell(self, now_s: float) -> None:
        while self._guided.told:
            self._log(Logged(now_s, self._guided.told.popleft()))

    def _note(self, now_s: float, kind: str, text: str, name: str = "") -> None:
        self._tell(now_s)
        self._log(Logged(now_s, Told(kind, text, name)))


def _alarm(causes: Sequence[str], ask: Ask) -> Prompt:
    """In place of any other prompt: hands out, and nothing before a person says so."""
    return Prompt(
        title="Hands out",
        text="HANDS OUT NOW. Step back from the valve, then press the key.",
        answers=(Answer(CLEAR_KEY, "Hands are out, everyone is clear.", PersonEvent.HANDS_OUT),),
        hold=ask.hold if isinstance(ask, Prompt) else ask,
        watch=" ".join(causes),
        caution="The stem may move at any moment: the spring moves it the moment the air is lost.",
        meanwhile="The outputs are frozen. After your key the pressure is let down slowly and the run ends.",
        time_out_s=5.0,
        hands_in=True,
    )


def _earlier(reading: Reading, by_s: float) -> Reading:
    """The reading as if it had come `by_s` earlier."""
    if by_s == 0.0:
        return reading
    pressure, position = reading.pressure, reading.position
    return replace(
        reading,
        time_s=reading.time_s - by_s,
        pressure=replace(pressure, time_s=pressure.time_s - by_s),
        position=replace(position, time_s=position.time_s - by_s),
    )
