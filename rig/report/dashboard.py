"""What is on the live screen: built from samples, drawn for any size from 60 x 20 up."""

from collections import deque
from math import isfinite
from textwrap import wrap

from rich.text import Text

from rig.profile.model import Profile
from rig.report.text_plot import LABEL, plot_lines
from rig.report.words import BEFORE_MOVEMENT, ends, live_text, pressure_range_text, travel_text
from rig.stand.sample import Sample
from rig.units import Dimension, UnitSet
from safety.signals import Demand

WATCH_LINES = TOLD_LINES = 2
OTHER_LINES = 11 + TOLD_LINES  # lines of a drawing that are neither plot nor what to watch for
KEPT_POINTS = 4000
# Status colours after IEC 60073; the word itself is always there.
MODE_STYLE = {"ramping": "green", "venting": "yellow", "tripped": "bold red", "escalated": "bold red"}
# What is going on when no procedure asks for anything, and what to watch for then.
WITHOUT_DEMAND = {"venting": "stopping: venting in order", "tripped": "stopped", "escalated": "stopped"}
NO_DEMAND_WATCH = {
    "venting": "The casing is venting. Stay clear until the pressure is gone.",
    "tripped": "Outputs are safe. Stay clear until the pressure is gone.",
    "escalated": "The pressure does not go. Shut off the air and vent by hand; stay clear.",
}

NOT_WRITTEN = (
    "NOTHING REACHES THE OUTPUTS: they are not known to be safe. Press the emergency stop, shut the air."
)
NOT_KNOWN = "The pressure is not known. Stay clear; press the emergency stop and look at a gauge."


def watch_without_demand(mode: str, written: bool, pressure_good: bool) -> str | None:
    """What a person should know while the guard brings the stand to rest; None in other modes."""
    if mode not in NO_DEMAND_WATCH:
        return None
    if not written and mode != "escalated":
        return NOT_WRITTEN
    return NO_DEMAND_WATCH[mode] if pressure_good or mode == "escalated" else NOT_KNOWN


class Dashboard:
    def __init__(self, profile: Profile, units: UnitSet, limits: tuple[str, ...], stop_hint: str) -> None:
        self._profile, self._units, self._limits, self._stop_hint = profile, units, limits, stop_hint
        self._sample: Sample | None = None
        self._demand: Demand | None = None  # the last there was
        self._travel_m: float | None = None
        self._points: deque[tuple[float, float]] = deque(maxlen=KEPT_POINTS)
        self._cycle = 0
        self._told: list[tuple[str, str]] = []

    def see(self, sample: Sample, travel_m: float | None) -> None:
        self._sample, self._travel_m = sample, travel_m
        self._demand = sample.demand or self._demand
        cycle = self._demand.cycle if self._demand else 0
        if cycle != self._cycle:
            self._points.clear()  # the plot shows the present cycle
            self._cycle = cycle
        pressure = sample.reading.pressure
        if pressure.good and travel_m is not None and isfinite(travel_m):
            self._points.append((pressure.value, travel_m))

    def tell(self, kind: str, text: str) -> None:
        self._told.append((kind, text))

    def drawn(self, width: int, height: int) -> Text:
        """At most height - 1 lines, so that the terminal never scrolls under it."""
        inner = width - 1
        lines = [self._title(inner), self._stage_line(), *self._watch_lines(inner), Text("")]
        lines += [self._pressure_line(), self._travel_line(inner), self._progress_line(inner), Text("")]
        rows = max(3, min(14, height - 1 - OTHER_LINES - WATCH_LINES))
        lines += plot_lines(self._profile, self._units, self._points, inner, rows)
        lines += [Text(f"{'limits':<{LABEL}}{' · '.join(self._limits)}", "dim")] if self._limits else []
        lines += [*self._told_lines(inner), Text(self._stop_hint, "bold")]
        for line in lines:
            line.truncate(inner, overflow="ellipsis")
        return Text("\n").join(lines[: height - 1])

    # -- lines -----------------------------------------------------------------------------------

    def _title(self, width: int) -> Text:
        profile, units = self._profile, self._units
        bench = pressure_range_text(units, profile.bench_lower_pa, profile.bench_upper_pa)
        rated = f"  {profile.action.value} · {bench} · {travel_text(units, profile.rated_travel_m)}"
        title = Text(profile.title, "bold")
        title.truncate(max(10, width - len(rated)), overflow="ellipsis")
        return title.append(rated, "not bold")

    def _stage_line(self) -> Text:
        sample = self._sample
        if sample is None:
            return Text("waiting for the first reading")
        demand = sample.demand
        stage = demand.stage if demand else WITHOUT_DEMAND.get(sample.mode, "")
        cycle = f"cycle {demand.cycle}, " if demand and demand.cycle else ""
        guard = (sample.mode, MODE_STYLE.get(sample.mode, ""))
        return Text.assemble((f"{cycle}{stage}", "bold"), "   guard: " if stage else "guard: ", guard)

    def _watch_lines(self, width: int) -> list[Text]:
        """Always the same number of lines, so that nothing below them jumps."""
        sample = self._sample
        watch = BEFORE_MOVEMENT[0]
        if sample is not None:
            good = sample.reading.pressure.good
            idle = watch_without_demand(sample.mode, sample.written, good) or watch
            watch = sample.demand.watch_for if sample.demand else idle
        lines = wrap(watch, width, max_lines=WATCH_LINES, placeholder=" …")
        return [Text(line, "italic") for line in lines + [""] * (WATCH_LINES - len(lines))]

    def _pressure_line(self) -> Text:
        sample, units = self._sample, self._units
        if sample is None:
            return Text("pressure")
        reading = sample.reading
        shown = (
            live_text(units, Dimension.PRESSURE, reading.pressure.value)
            if reading.pressure.good
            else reading.pressure.health.value
        )
        inferred = " (inferred)" if reading.pressure_is_inferred else ""
        demand = live_text(units, Dimension.PRESSURE, sample.command.output_pa)
        demand = demand if sample.written else "NOT WRITTEN"
        supply = (
            f"   supply {live_text(units, Dimension.PRESSURE, reading.supply.value)}"
            if reading.supply.good
            else ""
        )
        return Text.assemble(
            f"{'pressure':<{LABEL}}", (f"{shown:>12}", "bold"), f"{inferred}   output {demand}{supply}"
        )

    def _travel_line(self, width: int) -> Text:
        if self._travel_m is None or not isfinite(self._travel_m):
            return Text(f"{'travel':<{LABEL}}{'not known yet':>12}")
        share = self._travel_m / self._profile.rated_travel_m
        shown = live_text(self._units, Dimension.LENGTH, self._travel_m)
        rest, end = ends(self._profile.action)
        room = width - LABEL - 12 - 10 - len(rest) - len(end) - 4
        return Text.assemble(
            f"{'travel':<{LABEL}}",
            (f"{shown:>12}", "bold"),
            f" {share:6.1%}   {rest} ",
            bar(share, room),
            f" {end}",
        )

    def _progress_line(self, width: int) -> Text:
        demand = self._demand
        if demand is None:
            return Text("progress")
        left = f" {max(0.0, demand.progress):4.0%}, about {minutes(demand.remaining_s)} left"
        return Text.assemble(f"{'progress':<{LABEL}}", bar(demand.progress, width - LABEL - len(left)), left)

    def _told_lines(self, width: int) -> list[Text]:
        """Always the same number of lines. Once there is a trip its first cause stays."""
        trips = [text for kind, text in self._told if "trip" in kind]
        words = f"STOPPED, first cause: {trips[0]}" if trips else ""
        if not trips and self._told:
            words = f"{self._told[-1][0]}: {self._told[-1][1]}"
        lines = wrap(words, width, max_lines=TOLD_LINES, placeholder=" …")
        style = "bold red" if trips else ""
        return [Text(line, style) for line in lines + [""] * (TOLD_LINES - len(lines))]


def bar(share: float, width: int) -> str:
    """A bar of `width` characters, filled to `share` of it in half steps."""
    halves = round(min(1.0, max(0.0, share)) * width * 2)
    return ("█" * (halves // 2) + "▌" * (halves % 2)).ljust(max(0, width), "░")


def minutes(seconds: float) -> str:
    whole = max(0, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}"
