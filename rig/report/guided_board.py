"""What is on the screen during a guided procedure: what to do, the reading large, the caution, the keys."""

from dataclasses import replace
from math import isfinite
from textwrap import wrap

from rich.text import Text

from rig.procedure.conductor import BACK_KEY, PAUSE_KEY, STOP_KEY, Showing
from rig.procedure.guided import Large, Prompt
from rig.report.dashboard import MODE_STYLE, WITHOUT_DEMAND, bar, minutes, watch_without_demand
from rig.report.large import large
from rig.report.words import live_text
from rig.units import Dimension, UnitSet
from safety.state import Mode

HANDS_IN = " HANDS IN THE MECHANISM: outputs frozen, nothing may move "
ALARM = " ALARM: HANDS OUT "
LOOK_BACK = 3  # lines at the bottom that tell what was before
PAUSED = " PAUSED: the output stays where it is "


class GuidedBoard:
    """Drawn anew for every scan that is shown; at most height - 1 lines, so that nothing scrolls."""

    def __init__(self, title: str, units: UnitSet) -> None:
        self._title, self._units = title, units
        self._told: list[str] = []

    def tell(self, text: str) -> None:
        self._told.append(text)

    def drawn(self, showing: Showing | None, travel_m: float | None, width: int, height: int) -> Text:
        inner = width - 1
        top = [Text(self._title, "bold"), *_banner(showing, inner), Text("")]
        if showing is None:
            middle, bottom = [Text("waiting for the first reading")], [Text("")]
        elif showing.prompt is None:
            middle, bottom = self._at_work(showing, travel_m, inner), _keys(showing)
        else:
            middle, bottom = [], _keys(showing)
        bottom = [Text(""), *self._last_told(inner), self._status(showing, travel_m), *bottom]
        room = max(0, height - 1 - len(top) - len(bottom))
        if showing is not None and showing.prompt is not None:
            middle = self._fitting(showing, showing.prompt, inner, room)
            if len(middle) > room:  # better no look back than no caution
                bottom, room = bottom[LOOK_BACK:], room + LOOK_BACK
        lines = [*top, *middle[:room], *[Text("")] * (room - len(middle)), *bottom]
        for line in lines:
            line.truncate(inner, overflow="ellipsis")
        return Text("\n").join(lines[: height - 1])

    # -- the middle ----------------------------------------------------------------------------------

    def _fitting(self, showing: Showing, prompt: Prompt, width: int, room: int) -> list[Text]:
        """As much of a prompt as there is room for. What to do, the caution and what is refused are always
        there: before them go what happens meanwhile, what to watch, the lines that look back, and last the
        size of the figures."""
        lines: list[Text] = []
        for meanwhile, watch, figures, more in (
            (True, True, True, 0),
            (False, True, True, 0),
            (False, False, True, LOOK_BACK),
            (False, True, False, LOOK_BACK),
            (False, False, False, LOOK_BACK),
        ):
            less = replace(
                prompt,
                meanwhile=prompt.meanwhile if meanwhile else "",
                watch=prompt.watch if watch else "",
            )
            lines = self._prompt(showing, less, width, figures)
            if len(lines) <= room + more:
                break
        return lines

    def _prompt(self, showing: Showing, prompt: Prompt, width: int, figures: bool) -> list[Text]:
        lines = _wrapped(prompt.text, width, "bold")
        gap = [Text("")] if figures else []
        if prompt.large is not None:
            lines += [*gap, *self._large(prompt.large, figures)]
        lines += gap
        lines += _labelled("caution", prompt.caution, width, "yellow")
        for reason in showing.refusals:
            lines += _labelled("not yet", reason, width, "bold yellow")
        if showing.overdue:
            lines += _labelled("waiting", "No answer for a long time. Is somebody there?", width, "bold red")
        lines += _labelled("watch", prompt.watch, width, "italic")
        lines += _labelled("meanwhile", prompt.meanwhile, width, "dim")
        return lines

    def _at_work(self, showing: Showing, travel_m: float | None, width: int) -> list[Text]:
        demand, pressure = showing.demand, showing.reading.pressure
        reading = Large("casing pressure", Dimension.PRESSURE, pressure.value if pressure.good else None)
        doing, watch = f"at work: {demand.stage}", demand.watch_for
        if not showing.in_charge:
            doing = WITHOUT_DEMAND.get(showing.mode, "being made ready")
            watch = watch_without_demand(showing.mode, showing.written, pressure.good) or ""
        lines = [Text(f"The stand is {doing}.", "bold"), Text(""), *self._large(reading)]
        lines += [Text(""), *_labelled("watch", watch, width, "italic")]
        if showing.in_charge and demand.progress > 0.0:
            left = f" about {minutes(demand.remaining_s)} left"
            lines.append(Text(f"{'progress':<11}{bar(demand.progress, width - 11 - len(left))}{left}"))
        return lines

    def _large(self, reading: Large, figures: bool = True) -> list[Text]:
        """In large figures, or in one line where there is no room for them."""
        if reading.value is None or not isfinite(reading.value):
            return [Text(f"{reading.name}: not known", "bold")]
        style = {None: "bold", True: "bold green", False: "bold yellow"}[reading.within]
        shown = self._text(reading, reading.value)
        lines = [Text(f"  {line}", style) for line in large(shown)] if figures else []
        name = reading.name if figures else f"{shown.strip()}: {reading.name}"
        if reading.target is not None:
            name += f", wanted {self._text(reading, reading.target)}"
        if reading.tolerance is not None:
            name += f" ± {self._text(reading, reading.tolerance)}"
        if reading.within is not None:
            name += ": as wanted" if reading.within else ": not there"
        return [*lines, Text(f"  {name}", style)]

    def _text(self, reading: Large, value: float) -> str:
        return live_text(self._units, reading.dimension, value)

    # -- the lines below -----------------------------------------------------------------------------

    def _last_told(self, width: int) -> list[Text]:
        """Always two lines, so that nothing jumps."""
        lines = [line for text in self._told[-2:] for line in wrap(text, width)][-2:]
        return [Text(line, "cyan") for line in lines] + [Text("")] * (2 - len(lines))

    def _status(self, showing: Showing | None, travel_m: float | None) -> Text:
        if showing is None:
            return Text("")
        reading, units = showing.reading, self._units
        pressure = reading.pressure
        shown = (
            live_text(units, Dimension.PRESSURE, pressure.value) if pressure.good else pressure.health.value
        )
        travel = "not known"
        if travel_m is not None and isfinite(travel_m):
            travel = live_text(units, Dimension.LENGTH, travel_m)
        guard = (showing.mode, MODE_STYLE.get(showing.mode, ""))
        return Text.assemble(f"pressure {shown.strip()}   travel {travel.strip()}   guard: ", guard)


def _banner(showing: Showing | None, width: int) -> list[Text]:
    if showing is None:
        return []
    if showing.alarm:
        return [Text(ALARM.center(width, "!"), "bold white on red")]
    if showing.mode == Mode.HANDS_IN.value:
        return [Text(HANDS_IN.center(width, "="), "bold black on yellow")]
    if showing.paused:
        return [Text(PAUSED.center(width, "="), "bold black on yellow")]
    return []


def _keys(showing: Showing) -> list[Text]:
    """One line for each answer, one for what is always there."""
    prompt, hands_in = showing.prompt, showing.mode == Mode.HANDS_IN.value
    lines = [Text(f"[{answer.key}] {answer.text}", "bold") for answer in prompt.answers] if prompt else []
    always = []
    if not showing.in_charge:
        return [Text("")]
    if prompt is not None and prompt.back_is_safe:
        always.append(f"[{BACK_KEY}] a step back")
    if not hands_in:
        always.append(f"[{PAUSE_KEY}] go on" if showing.paused else f"[{PAUSE_KEY}] pause")
        always.append(f"[{STOP_KEY}] end it: vent in order")
    return [*lines, Text("   ".join(always))]


def _wrapped(text: str, width: int, style: str) -> list[Text]:
    return [Text(line, style) for line in wrap(text, width)]


def _labelled(name: str, text: str, width: int, style: str) -> list[Text]:
    if not text:
        return []
    lines = wrap(text, width - 11)
    return [Text(f"{name if at == 0 else '':<11}{line}", style) for at, line in enumerate(lines)]
