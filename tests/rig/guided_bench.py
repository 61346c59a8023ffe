"""A guided procedure on the simulated stand in virtual time, with a scripted person at its screen."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from rig.procedure.conductor import Conductor, Logged, Showing
from rig.procedure.guided import ANSWER, PROMPT, Code, Guided
from rig.profile.model import Profile
from rig.stand.clock import VirtualClock
from rig.stand.limits import limits_for
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.model import Stand
from rig.stand.notice import REFUSED, TRIP, Notice
from rig.stand.outputs import Outputs
from rig.stand.run import Ended, run_inline
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.limits import Limits, Role, expect
from simulator import Actuator, Fault, Installation, SimulatedStand
from simulator.plant import Converter

Act = Callable[[SimulatedStand], None]


@dataclass(frozen=True)
class Line:
    """What the person does when a prompt opens whose title begins with `title`: act, wait, press the key."""

    title: str
    key: str = ""  # "": the first answer of the prompt
    act: Act | None = None
    after_s: float = 2.0  # from the opening of the prompt to the act, and again to the key
    times: int = 10_000  # how often this line serves; then the next one with such a title does


@dataclass
class Script:
    """A person who follows lines; prompts that no line fits are answered by their first answer."""

    lines: list[Line]
    machine: SimulatedStand | None = None
    shown: list[Showing] = field(default_factory=list)  # the first scan of each prompt
    keys: list[tuple[float, str]] = field(default_factory=list)  # pressed at a time, whatever is shown
    each: Callable[[Showing], str | None] = lambda showing: None

    def __post_init__(self) -> None:
        self._open: tuple[str, float] | None = None
        self._acted = self._pressed = False
        self._served: dict[int, int] = {}

    def look(self, showing: Showing) -> str | None:
        now_s = showing.reading.time_s
        if self.keys and now_s >= self.keys[0][0]:
            return self.keys.pop(0)[1]
        special = self.each(showing)
        if special is not None:
            return special
        prompt = showing.prompt
        if prompt is None:
            self._open = None
            return None
        if self._open is None or self._open[0] != prompt.title or showing.waited_s == 0.0:
            self._open, self._acted, self._pressed = (prompt.title, now_s), False, False
            self.shown.append(showing)
        return self._act(showing, now_s - self._open[1])

    def _act(self, showing: Showing, waited_s: float) -> str | None:
        assert showing.prompt is not None, "called with a prompt open"
        at, line = self._line(showing.prompt.title)
        if not self._acted and waited_s >= line.after_s:
            self._acted = True
            if line.act is not None and self.machine is not None:
                line.act(self.machine)
        wait_s = 2.0 * line.after_s
        if self._acted and waited_s >= wait_s and (not self._pressed or int(waited_s) % 3 == 0):
            if not self._pressed:
                self._served[at] = self._served.get(at, 0) + 1
            self._pressed = True
            return line.key or showing.prompt.answers[0].key
        return None

    def _line(self, title: str) -> tuple[int, Line]:
        for at, line in enumerate(self.lines):
            if title.startswith(line.title) and (self._served.get(at, 0) < line.times):
                return at, line
        return -1, Line(title)


@dataclass
class Ride:
    """What came of it."""

    ended: Ended[Any]
    machine: SimulatedStand
    log: list[Logged]
    samples: list[Sample]
    notices: list[Notice]
    script: Script

    def prompts(self) -> list[str]:
        return [entry.told.name for entry in self.log if entry.told.kind == PROMPT]

    def answers(self) -> list[str]:
        return [entry.told.text for entry in self.log if entry.told.kind == ANSWER]

    def texts(self) -> str:
        return "\n".join(f"{entry.time_s:8.2f} {entry.told.kind:7s} {entry.told.text}" for entry in self.log)


def machine_for(
    stand: Stand,
    actuator: Actuator,
    *,
    seed: int = 1,
    faults: Iterable[Fault] = (),
    converter: Converter | None = None,
    installation: Installation | None = None,
) -> SimulatedStand:
    return SimulatedStand(
        stand, actuator, seed=seed, faults=tuple(faults), converter=converter, installation=installation
    )


def ride(
    machine: SimulatedStand,
    profile: Profile,
    guided: Guided,
    code: Code[Any],
    script: Script,
    *,
    limits: Limits | None = None,
    keep_samples: bool = True,
    each: Callable[[Sample], None] = lambda sample: None,
) -> Ride:
    """Run a guided procedure to its end under the guard."""
    stand = machine.stand
    clock = VirtualClock(lambda passed_s: machine.advance(machine.time_s + passed_s))
    buses = {name: InProcessBus(machine) for name in stand.links}
    given = limits or guided_limits(profile, stand)
    loop = ScanLoop(Scanner(stand, buses, clock), Outputs(stand, buses, clock), clock, given)
    log: list[Logged] = []
    samples: list[Sample] = []
    notices: list[Notice] = []
    script.machine = machine
    conductor: Conductor[Any] = Conductor(guided, code, script, log.append)
    pending: list[Notice] = []

    def on_sample(sample: Sample) -> None:
        refused = [n.text for n in pending if n.kind == REFUSED]
        trips = [n.text for n in pending if n.kind == TRIP]
        pending.clear()
        conductor.saw(sample.mode, refused, trips)
        if keep_samples:
            samples.append(sample)
        each(sample)

    def on_notice(notice: Notice) -> None:
        notices.append(notice)
        pending.append(notice)

    ended = run_inline(loop, conductor.run(), on_sample, on_notice, conductor.take_event)
    return Ride(ended, machine, log, samples, notices, script)


def guided_limits(profile: Profile, stand: Stand, *, isolate: bool = False) -> Limits:
    """As a run has them. The simulated stand has no blocking valve between I/P and casing: shutting the
    supply would bleed the casing down through the I/P, so the supply stays open with hands in."""
    limits = limits_for(profile, stand)
    return replace(limits, signals=expect(Role.PRESSURE, Role.POSITION), isolate_supply_hands_in=isolate)
