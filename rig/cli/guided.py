"""Running a guided procedure: the stand, the person, the screen and the record brought together."""

import argparse
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from rich.console import Console
from rich.text import Text

from rig.cli.bench import (
    STOP_KINDS,
    BadRequest,
    Bench,
    limit_words,
    prepare,
    refuse_overdue,
    run_details,
    say_if_lost,
    stop_words,
)
from rig.cli.confirm import confirmed
from rig.cli.exits import STOPPED, UNREACHABLE, WRONG_INPUT
from rig.cli.interrupts import Interrupts
from rig.cli.keys import Keys, at_keyboard
from rig.cli.people import AtTheKeyboard, Simulated, WithHands
from rig.cli.session import DEMO_SPEED, Runner, open_in_process, open_stand
from rig.procedure.conductor import Conductor, Logged, Person, Showing
from rig.procedure.guided import STEP, Code, Guided, Prompt, resume_at
from rig.profile.load import profile_text
from rig.record.progress import Progress, read_progress, save_progress
from rig.record.writer import RecordWriter, new_record_folder
from rig.report.guided_screen import GuidedScreen, choose_guided_screen
from rig.report.words import BY_TIME_ONLY
from rig.stand.file import stand_text
from rig.stand.link import LinkFault
from rig.stand.notice import AIR_LEFT, REFUSED, TRIP, WARNING, Notice
from rig.stand.run import MOVING, Ended
from rig.stand.sample import Sample
from safety.limits import Limits
from safety.signals import Demand
from safety.state import Mode, PersonEvent

if TYPE_CHECKING:
    from simulator import SimulatedStand

STOP_WAITS = (
    "Ctrl-C with hands in: nothing moves. Say first that hands are out; then the air is let down in order."
)
NOTHING_ASKED = Demand(0.0, 0.0, "", vent=True)
T = TypeVar("T")
Work = Callable[[Prompt, str], None]


@dataclass(frozen=True)
class GuidedRun(Generic[T]):
    ended: Ended[T]
    folder: Path
    gone: str = "The casing is vented."  # where it is


def somebody_answers(simulated_person: bool) -> bool:
    """Whether prompts can be answered at all."""
    return simulated_person or at_keyboard()


def guided_command(
    args: argparse.Namespace, doing: str, person_does: str, work: Callable[[Bench], int]
) -> int:
    """Prepare, ask, do `work`; the exit code. `args` lacks what only a check has."""
    args.json, args.cycles = False, getattr(args, "cycles", 1)
    try:
        bench = prepare(args, date.today())
        check_request(bench, doing, person_does)
        refuse_overdue(bench)
        if not (bench.stand.built_in or args.yes or confirmed(bench.question())):
            print("not confirmed: nothing was moved", file=sys.stderr)
            return STOPPED
        return work(bench)
    except BadRequest as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    except (LinkFault, OSError) as fault:
        print(f"stand '{args.stand}' cannot be reached: {fault}", file=sys.stderr)
        return UNREACHABLE


def came_to_an_end(done: "GuidedRun[Any]", otherwise: str) -> bool:
    """Whether the procedure came to its own end; where not, its trips are told, and what that means."""
    if done.ended.value is not None and not done.ended.trips:
        return True
    for trip in done.ended.trips:
        print(f"Stopped: {trip.text}", file=sys.stderr)
    print(done.gone if done.ended.vented else AIR_LEFT)
    print(f"STOPPED  {otherwise}\nRecord: {done.folder}")
    return False


def unanswered(guided: Guided, done: "GuidedRun[Any]") -> bool:
    """Whether it ended because nobody answered: told, and nothing is said of the valve."""
    if guided.unanswered:
        print(f"Stopped: {guided.unanswered}", file=sys.stderr)
        print(f"{done.gone if done.ended.vented else AIR_LEFT}\nSTOPPED\nRecord: {done.folder}")
    return bool(guided.unanswered)


def check_request(bench: Bench, doing: str, person_does: str) -> None:
    """Raises BadRequest where nobody could answer, or a simulated person were before a real stand."""
    args = bench.args
    if args.simulated_person and not bench.stand.built_in:
        raise BadRequest(
            f"--simulated-person is for the built-in stand: on a real one a person {person_does}"
        )
    if args.instant and not args.simulated_person:
        raise BadRequest("--instant leaves no time to answer: give --simulated-person with it")
    if not somebody_answers(args.simulated_person):
        raise BadRequest(f"{doing} asks a person at a terminal; there is none here")


def opener(
    bench: Bench, machine: "SimulatedStand | None", limits: Limits
) -> Callable[[], AbstractContextManager[Runner]]:
    """How to open the stand for a run; `machine`: the built-in one, in this process, for hands to work on."""
    speeds: dict[str, float | None] = {"instant": None, "real time": 1.0, "demo": DEMO_SPEED}
    if machine is None:
        return lambda: open_stand(bench.stand, bench.profile, limits, bench.pace)
    return lambda: open_in_process(machine, limits, speeds[bench.pace])


def resumed(bench: Bench, name: str, guided: Guided) -> str:
    """The step at which the run goes on as `--resume` says, `guided` made ready for it; "" without.

    Raises BadRequest, RecordProblem.
    """
    folder = bench.args.resume
    if folder is None:
        return ""
    if bench.stand.built_in:
        raise BadRequest("--resume is for real stands: the valve on the built-in one is new in every run")
    progress = read_progress(folder)
    if (progress.procedure, progress.model) != (name, bench.profile.model):
        raise BadRequest(
            f"{folder}: is of another run: {progress.procedure.lower()}, model {progress.model}; "
            f"this is {name.lower()}, model {bench.profile.model}"
        )
    if not progress.step:
        raise BadRequest(f"{folder}: came to its end; there is nothing to resume")
    try:
        guided.take_up(progress.kept)
    except (KeyError, TypeError, ValueError) as problem:
        raise BadRequest(f"{folder}: cannot be resumed: {problem}") from problem
    return resume_at(guided.steps(), progress.step)


def run_guided(
    bench: Bench,
    name: str,
    guided: Guided,
    code: Code[T],
    opened: Callable[[], AbstractContextManager[Runner]],
    started: datetime,
    *,
    work: Work | None = None,
    simulated_person: bool = False,
) -> GuidedRun[T]:
    """Run `code` to its end; everything said and answered goes into the record as it happens.

    `work`: what the person's hands do on the built-in stand. Raises LinkFault where the stand does not
    answer, RecordProblem where the record cannot be kept.
    """
    title = f"{name}: {bench.profile.title}"
    with ExitStack() as stack:
        runner = stack.enter_context(opened())
        folder = new_record_folder(bench.args.records, bench.profile.model, started)
        record = stack.enter_context(_record(bench, name, folder, started))
        console = Console()
        for line in limit_words(bench):
            console.print(Text(f"! {line}"), soft_wrap=True)
        screen = stack.enter_context(choose_guided_screen(console, title, bench.units, guided.stroke))
        interrupts = stack.enter_context(Interrupts())
        person = _person(stack, screen, simulated_person)
        talk = Conversation(record, screen, lambda step: _keep(bench, name, guided, folder, step))
        conductor = Conductor(guided, code, WithHands(person, work) if work else person, talk.log)
        talk.conductor = conductor
        ended: Ended[T] = runner(
            conductor.run(), talk.on_sample, talk.on_notice, lambda: talk.event(interrupts.order)
        )
        say_if_lost(ended, record.last_s, screen.event)
        if ended.value is not None and not ended.trips:
            _keep(bench, name, guided, folder, "")
        if ended.how in STOP_KINDS:
            record.event(record.last_s, STOP_KINDS[ended.how], stop_words(ended, interrupts.presses))
        if not ended.vented:
            record.event(record.last_s, WARNING, AIR_LEFT)
    if bench.stand.casing_pressure is None:
        return GuidedRun(ended, folder, BY_TIME_ONLY)
    return GuidedRun(ended, folder)


def _keep(bench: Bench, name: str, guided: Guided, folder: Path, step: str) -> None:
    save_progress(folder, Progress(name, bench.profile.model, step, guided.kept()))


class Conversation:
    """Between the stand, the conductor, the record and the screen."""

    def __init__(
        self,
        record: RecordWriter,
        screen: GuidedScreen,
        began: Callable[[str], None] = lambda step: None,
    ) -> None:
        """`began` is told the name of every step that begins."""
        self._began = began
        self.conductor: Conductor[Any] | None = None
        self._record, self._screen = record, screen
        self._mode = ""
        self._refused: list[str] = []
        self._trips: list[str] = []
        self._waiting: PersonEvent | None = None  # a Ctrl-C that came while hands were in, or going in
        self._unsaid = False  # that it waits has not been told

    def log(self, entry: Logged) -> None:
        self._record.event(entry.time_s, entry.told.kind, entry.told.text)
        self._screen.log(entry)
        if entry.told.kind == STEP:
            self._began(entry.told.name)

    def on_sample(self, sample: Sample) -> None:
        self._record.sample(sample)
        self._mode = sample.mode
        if sample.mode not in MOVING:  # the person looks on although the procedure does not
            shown = Showing(
                sample.reading, NOTHING_ASKED, None, sample.mode, in_charge=False, written=sample.written
            )
            self._screen.show(shown)
        if self.conductor is not None:
            self.conductor.saw(sample.mode, self._refused, self._trips)
        self._refused, self._trips = [], []

    def on_notice(self, notice: Notice) -> None:
        self._record.event(notice.time_s, notice.kind, notice.text)
        if notice.kind == REFUSED:
            self._refused.append(notice.text)
        if notice.kind == TRIP:
            self._trips.append(notice.text)
        if notice.kind not in ("mode", "limited"):
            self._screen.event(notice.time_s, notice.kind, notice.text)

    def event(self, order: Callable[[], PersonEvent | None]) -> PersonEvent | None:
        """The next event for the guard. Ctrl-C with hands in waits until they are out: it would only
        raise the alarm, and ending the run there would vent the casing onto the hands. While an answer waits
        for the guard it waits too: hands may be in with the next scan."""
        given = order()
        if given is not None:
            self._waiting, self._unsaid = given, True
        conductor, hands_in = self.conductor, self._mode == Mode.HANDS_IN.value
        if hands_in and self._unsaid:
            self._say_that_it_waits()
        if self._waiting is not None and not hands_in and not (conductor is not None and conductor.asking):
            given, self._waiting, self._unsaid = self._waiting, None, False
            return given
        return conductor.take_event() if conductor is not None else None

    def _say_that_it_waits(self) -> None:
        self._waiting = PersonEvent.STOP  # however often it was pressed: in order, once hands are out
        self._unsaid = False
        self._record.event(self._record.last_s, "stop asked", STOP_WAITS)
        self._screen.event(self._record.last_s, "stop", STOP_WAITS)


def _person(stack: ExitStack, screen: GuidedScreen, simulated: bool) -> Person:
    return Simulated(screen) if simulated else AtTheKeyboard(screen, stack.enter_context(Keys()))


def _record(bench: Bench, name: str, folder: Path, started: datetime) -> RecordWriter:
    instant = bench.pace == "instant"
    return RecordWriter(
        folder,
        profile_text(bench.args.profile),
        stand_text(bench.args.stand),
        run_details(bench, started) | {"procedure": name},
        rows_per_write=500 if instant else 1,
        sync_every_s=None if instant else 1.0,
    )
