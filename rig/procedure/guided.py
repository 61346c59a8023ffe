"""Guided procedures: data for the person, code for the machine, in one generator.

Like every procedure it yields a `Demand` per scan and receives what the scan saw. Where a person has to do
something it yields a `Prompt` instead, scan after scan, until the reply comes: the prompt carries the demand
that is held meanwhile, so readings go on and the code can watch them. It knows no terminal: whoever conducts
it shows the prompts and brings the replies (`conductor.py`).
"""

from collections import deque
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias, TypeVar

from rig.procedure.watch import Stroke
from rig.units import Dimension
from safety.signals import Demand, Reading
from safety.state import PersonEvent

BACK = "back"  # replies that every procedure understands, beside the keys of a prompt's answers
END = "end"  # a step's turn: the procedure has come to its end
TIMED_OUT = "timed out"
STEP, FACT, PROMPT, ANSWER, REMARK = "step", "fact", "prompt", "answer", "remark"  # kinds of events


@dataclass(frozen=True, slots=True)
class Large:
    """The reading that is shown large: SI, with where it should be. `value` None: not known."""

    name: str
    dimension: Dimension
    value: float | None
    target: float | None = None
    tolerance: float | None = None

    @property
    def within(self) -> bool | None:
        """Whether it is where it should be; None where that cannot be told."""
        if self.value is None or self.target is None or self.tolerance is None:
            return None
        return abs(self.value - self.target) <= self.tolerance


@dataclass(frozen=True, slots=True)
class Answer:
    """One expected answer: a single key. `event` is asked of the guard before the answer counts."""

    key: str
    text: str
    event: PersonEvent | None = None


@dataclass(frozen=True, slots=True)
class Prompt:
    """What a person is asked to do now, and what the stand does meanwhile.

    The title tells one prompt from the next; text, reading and the rest may change while it is open.
    """

    title: str
    text: str
    answers: tuple[Answer, ...]
    hold: Demand
    large: Large | None = None
    watch: str = ""
    caution: str = ""
    meanwhile: str = ""
    time_out_s: float = 600.0
    hands_in: bool = False  # a time-out is only announced: nothing may move, so nothing is ended
    back_is_safe: bool = False

    def answer_for(self, key: str) -> Answer | None:
        return next((answer for answer in self.answers if answer.key == key), None)


@dataclass(frozen=True, slots=True)
class Seen:
    """What one scan brought: the reading, and the reply to an open prompt (a key, BACK or TIMED_OUT)."""

    reading: Reading
    reply: str | None = None


T = TypeVar("T")
Ask: TypeAlias = Demand | Prompt
Code: TypeAlias = Generator[Ask, Seen, T]
Machine: TypeAlias = Generator[Demand, Reading, T]
Fact: TypeAlias = float | str | bool


class Stop(Exception):  # noqa: N818 - it is no error of the program: the procedure ends, with the reason
    """Ends a guided procedure; the text is the reason, in the person's words."""


@dataclass(frozen=True, slots=True)
class Told:
    """Something for the record: `kind` as above, `name` of a fact or a step."""

    kind: str
    text: str
    name: str = ""
    value: Fact | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a procedure. Its code returns None to go on, BACK, END, or another step's name."""

    name: str
    code: Callable[[], Code[str | None]]
    back_is_safe: bool = False  # from here a person may go to the step before
    again_from: str = ""  # where to begin after an interruption; "": this step itself


@dataclass
class Guided:
    """What guided procedures share. `facts` is what the steps so far have found: enough to go on from."""

    stroke: Stroke
    facts: dict[str, Fact] = field(default_factory=dict)
    told: deque[Told] = field(default_factory=deque)
    now_s: float = 0.0
    unanswered: str = ""  # why it ended, where nobody answered

    # -- for the person ------------------------------------------------------------------------------

    def prompt(self, prompt: Prompt, update: Callable[[Prompt], Prompt] = lambda prompt: prompt) -> Code[str]:
        """Keep a prompt open until its reply: the key, or BACK. `update` renews it with each reading.

        Raises Stop when nobody answers in time.
        """
        while True:
            seen = yield update(prompt)
            self.see(seen.reading)
            self.stroke.see(seen.reading)
            if seen.reply == TIMED_OUT:
                minutes = prompt.time_out_s / 60.0
                self.unanswered = (
                    f"Nobody answered “{prompt.title}” for {minutes:.0f} min; the stand was made safe."
                )
                raise Stop(self.unanswered)
            if seen.reply is not None:
                return seen.reply

    # -- for the machine -----------------------------------------------------------------------------

    def machine(self, code: Machine[T]) -> Code[T]:
        """Run plain procedure code as a part of this one."""
        try:
            demand = next(code)
            while True:
                seen = yield demand
                self.see(seen.reading)
                demand = code.send(seen.reading)
        except StopIteration as stop:
            value: T = stop.value
            return value

    def see(self, reading: Reading) -> None:
        self.now_s = reading.time_s

    # -- for the record ------------------------------------------------------------------------------

    def remember(self, name: str, value: Fact, text: str = "") -> None:
        """A finding that later steps, or a run resumed later, rest on."""
        self.facts[name] = value
        self.told.append(Told(FACT, text or f"{name}: {value}", name, value))

    def remark(self, text: str) -> None:
        self.told.append(Told(REMARK, text))

    def kept(self) -> dict[str, Any]:
        """What a run resumed later needs of this one, as plain values for JSON."""
        return {}

    def take_up(self, kept: Mapping[str, Any]) -> None:
        """Go on from what an earlier run kept. Raises KeyError, TypeError or ValueError on anything else."""

    def steps(self) -> tuple[Step, ...]:
        """In order."""
        raise NotImplementedError

    def walk(self, steps: Sequence[Step], start: str = "") -> Code[None]:
        """Go through the steps, back and on as their code says, from `start` (default: the first)."""
        names = [step.name for step in steps]
        at = names.index(start) if start else 0
        while at < len(steps):
            step = steps[at]
            self.told.append(Told(STEP, f"Step {at + 1} of {len(steps)}: {step.name}", step.name))
            turn = yield from self._step(step)
            if turn is None:
                at += 1
            elif turn == END:
                return
            elif turn == BACK:
                at = max(0, at - 1)
            else:
                at = names.index(turn)

    def _step(self, step: Step) -> Code[str | None]:
        """Run a step; the way back is offered only where the step says that it is safe."""
        code = step.code()
        try:
            ask = next(code)
            while True:
                if isinstance(ask, Prompt) and ask.back_is_safe is not step.back_is_safe:
                    ask = replace(ask, back_is_safe=step.back_is_safe)
                seen = yield ask
                ask = code.send(seen)
        except StopIteration as stop:
            turn: str | None = stop.value
            return turn


def resume_at(steps: Sequence[Step], interrupted: str) -> str:
    """The step at which a run that was interrupted in `interrupted` may begin again; the first if unknown."""
    step = next((step for step in steps if step.name == interrupted), None)
    return "" if step is None else step.again_from or step.name
