"""What the person sees while a check runs: a live screen on a terminal, a line per stage elsewhere."""

import time
from collections.abc import Callable
from types import TracebackType
from typing import Protocol, Self

from rich.console import Console
from rich.live import Live
from rich.text import Text

from rig.profile.model import Profile
from rig.report.dashboard import Dashboard
from rig.report.words import BEFORE_MOVEMENT, travel_text
from rig.stand.notice import SILENT, TRIP
from rig.stand.sample import Sample
from rig.units import UnitSet

DRAWS_PER_S = 8.0
STOP_HINT = "Ctrl-C: vent in order; twice: outputs safe at once"


class Screen(Protocol):
    """Used as a context; `update` for every sample, `event` for what happens in between."""

    def __enter__(self) -> Self: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...
    def update(self, sample: Sample, travel_m: float | None) -> None: ...
    def event(self, time_s: float, kind: str, text: str) -> None: ...


def choose_screen(
    console: Console, profile: Profile, units: UnitSet, limits: tuple[str, ...] = ()
) -> "LiveScreen | PlainScreen":
    """The live screen on a terminal that is wide enough, the plain one otherwise."""
    able = console.is_terminal and not console.is_dumb_terminal and not console.options.ascii_only
    if able and console.width >= 60 and console.height >= 20:
        return LiveScreen(console, profile, units, limits)
    return PlainScreen(console, profile, units, limits)


def ring_for(kind: str, console: Console) -> None:
    """The terminal's bell for a trip or a dead scan: a person looks at the valve, not at the screen."""
    if kind in (TRIP, SILENT):
        console.bell()


class LiveScreen:
    """Draws at most `DRAWS_PER_S` times a second of `clock`, however often it is told."""

    def __init__(
        self,
        console: Console,
        profile: Profile,
        units: UnitSet,
        limits: tuple[str, ...] = (),
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._dashboard = Dashboard(profile, units, limits, STOP_HINT)
        self._limits = limits
        self._clock = clock
        self._drawn_at: float | None = None
        self._console = console
        self._live = Live(console=console, auto_refresh=False, transient=True, vertical_overflow="crop")

    def __enter__(self) -> Self:
        for line in (*self._limits, *BEFORE_MOVEMENT):  # whole here; below they are cut at the screen's edge
            self._console.print(Text(f"! {line}"))
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    def update(self, sample: Sample, travel_m: float | None) -> None:
        self._dashboard.see(sample, travel_m)
        now = self._clock()
        if self._drawn_at is None or now - self._drawn_at >= 1.0 / DRAWS_PER_S:
            self._drawn_at = now
            self._draw()

    def event(self, time_s: float, kind: str, text: str) -> None:
        """Shown at once, and kept above the screen after it has gone."""
        ring_for(kind, self._console)
        self._dashboard.tell(kind, text)
        self._console.print(Text(f"{time_s:7.1f} s  {kind}: {text}"))
        self._draw()

    def _draw(self) -> None:
        size = self._console.size
        self._live.update(self._dashboard.drawn(size.width, size.height), refresh=True)


class PlainScreen:
    """One line when a stage begins and one for every event: for files, pipes and small terminals."""

    def __init__(
        self, console: Console, profile: Profile, units: UnitSet, limits: tuple[str, ...] = ()
    ) -> None:
        self._console, self._profile, self._units, self._limits = console, profile, units, limits
        self._stage: tuple[int, str] | None = None
        self._mode = ""

    def __enter__(self) -> Self:
        profile = self._profile
        self._say(
            f"{profile.title}: {profile.action.value}, {travel_text(self._units, profile.rated_travel_m)}"
        )
        for line in (*self._limits, *BEFORE_MOVEMENT, STOP_HINT):
            self._say(f"! {line}")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return None

    def update(self, sample: Sample, travel_m: float | None) -> None:
        demand, now = sample.demand, sample.reading.time_s
        if sample.mode != self._mode:
            self._mode = sample.mode
            self._say(f"{now:7.1f} s  guard: {sample.mode}")
        if demand is None or (demand.cycle, demand.stage) == self._stage:
            return
        self._stage = (demand.cycle, demand.stage)
        where = f"cycle {demand.cycle}, {demand.stage}" if demand.cycle else demand.stage
        done = f"{max(0.0, demand.progress):.0%} done"
        self._say(f"{now:7.1f} s  {where} ({done}). {demand.watch_for}")

    def event(self, time_s: float, kind: str, text: str) -> None:
        ring_for(kind, self._console)
        self._say(f"{time_s:7.1f} s  {kind}: {text}")

    def _say(self, words: str) -> None:
        self._console.print(Text(words), soft_wrap=True)
