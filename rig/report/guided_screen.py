"""The screen of a guided procedure: live with large readings on a terminal, plain lines elsewhere."""

import time
from collections.abc import Callable
from math import inf
from types import TracebackType
from typing import Protocol, Self

from rich.console import Console
from rich.live import Live
from rich.text import Text

from rig.procedure.conductor import Logged, Showing
from rig.procedure.guided import PROMPT, STEP
from rig.procedure.watch import LiveTravel, Stroke
from rig.report.guided_board import GuidedBoard
from rig.report.screen import DRAWS_PER_S, ring_for
from rig.report.words import BEFORE_MOVEMENT
from rig.units import UnitSet

RINGS_EVERY_S = 1.0


class GuidedScreen(Protocol):
    """Used as a context; `show` for every scan, `log` for every entry of the conversation."""

    def __enter__(self) -> Self: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...
    def show(self, showing: Showing) -> None: ...
    def log(self, entry: Logged) -> None: ...
    def event(self, time_s: float, kind: str, text: str) -> None: ...


def choose_guided_screen(console: Console, title: str, units: UnitSet, stroke: Stroke) -> GuidedScreen:
    able = console.is_terminal and not console.is_dumb_terminal and not console.options.ascii_only
    if able and console.width >= 60 and console.height >= 20:
        return LiveGuided(console, title, units, stroke)
    return PlainGuided(console, title)


class LiveGuided:
    """Draws at most `DRAWS_PER_S` times a second of `clock`, and at once when a prompt opens."""

    def __init__(
        self,
        console: Console,
        title: str,
        units: UnitSet,
        stroke: Stroke,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._board, self._console, self._clock = GuidedBoard(title, units), console, clock
        self._travel = LiveTravel(stroke)
        self._drawn_at: float | None = None
        self._rang_at = -inf
        self._prompt = ""
        self._live = Live(console=console, auto_refresh=False, transient=True, vertical_overflow="crop")

    def __enter__(self) -> Self:
        for line in BEFORE_MOVEMENT:
            self._console.print(Text(f"! {line}"))
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    def show(self, showing: Showing) -> None:
        prompt = showing.prompt.title if showing.prompt else ""
        travel_m = self._travel.see(showing.reading.position)
        now = self._clock()
        if showing.alarm and now - self._rang_at >= RINGS_EVERY_S:  # until a person says that hands are out
            self._rang_at = now
            self._console.bell()
        if prompt == self._prompt and self._drawn_at is not None and now - self._drawn_at < 1.0 / DRAWS_PER_S:
            return
        self._prompt, self._drawn_at = prompt, now
        size = self._console.size
        self._live.update(self._board.drawn(showing, travel_m, size.width, size.height), refresh=True)

    def log(self, entry: Logged) -> None:
        """Kept above the screen after it has gone; the step and the prompt are on it anyway."""
        if entry.told.kind not in (STEP, PROMPT):
            self.event(entry.time_s, entry.told.kind, entry.told.text)

    def event(self, time_s: float, kind: str, text: str) -> None:
        ring_for(kind, self._console)
        self._board.tell(f"{kind}: {text}")
        self._console.print(Text(f"{time_s:7.1f} s  {kind}: {text}"))


class PlainGuided:
    """Lines for steps, prompts with their cautions, answers and findings: for pipes and small terminals."""

    def __init__(self, console: Console, title: str) -> None:
        self._console, self._title = console, title
        self._open = ""

    def __enter__(self) -> Self:
        self._say(self._title)
        for line in BEFORE_MOVEMENT:
            self._say(f"! {line}")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return None

    def show(self, showing: Showing) -> None:
        prompt = showing.prompt
        title = prompt.title if prompt is not None else ""
        if title == self._open:
            return
        self._open = title
        if prompt is None:
            return
        for name, text in (
            ("caution", prompt.caution),
            ("watch", prompt.watch),
            ("meanwhile", prompt.meanwhile),
        ):
            if text:
                self._say(f"           {name}: {text}")
        for answer in prompt.answers:
            self._say(f"           [{answer.key}] {answer.text}")

    def log(self, entry: Logged) -> None:
        self.event(entry.time_s, entry.told.kind, entry.told.text)

    def event(self, time_s: float, kind: str, text: str) -> None:
        ring_for(kind, self._console)
        self._say(f"{time_s:7.1f} s  {kind}: {text}")

    def _say(self, words: str) -> None:
        self._console.print(Text(words), soft_wrap=True)
