"""What is on the live screen: built from samples, drawn for any size from 60 x 20 up."""

from collections import deque
from math import isfinite

from rich.text import Text

from rig.profile.model import Profile
from rig.report.braille import BrailleGrid
from rig.report.words import BEFORE_MOVEMENT, ends, pressure_range_text, travel_text
from rig.stand.sample import Sample
from rig.units import Dimension, UnitSet

LABEL = 10  # columns of the names on the left
OTHER_LINES = 14  # lines of a drawing that are not the plot
KEPT_POINTS = 4000


class Dashboard:
    def __init__(self, profile: Profile, units: UnitSet, limits: tuple[str, ...], stop_hint: str) -> None:
        self._profile, self._units, self._limits, self._stop_hint = profile, units, limits, stop_hint
        self._sample: Sample | None = None
        self._travel_m: float | None = None
        self._points: deque[tuple[float, float]] = deque(maxlen=KEPT_POINTS)
        self._cycle = 0
        self._told: list[tuple[str, str]] = []

    def see(self, sample: Sample, travel_m: float | None) -> None:
        self._sample, self._travel_m = sample, travel_m
        cycle = sample.demand.cycle if sample.demand else 0
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
        lines = [self._title(), self._stage_line(), self._watch_line(), Text("")]
        lines += [self._pressure_line(inner), self._travel_line(inner), self._progress_line(inner), Text("")]
        rows = max(3, min(14, height - 1 - OTHER_LINES - len(self._limits)))
        lines += self._plot(inner, rows)
        lines += [Text(f"{'limits':<{LABEL}}{limit}", "dim") for limit in self._limits]
        lines += [self._told_line(), Text(self._stop_hint, "bold")]
        for line in lines:
            line.truncate(inner, overflow="ellipsis")
        return Text("\n").join(lines[: height - 1])

    # -- lines -----------------------------------------------------------------------------------

    def _title(self) -> Text:
        profile, units = self._profile, self._units
        bench = pressure_range_text(units, profile.bench_lower_pa, profile.bench_upper_pa)
        travel = travel_text(units, profile.rated_travel_m)
        return Text.assemble(
            (profile.title, "bold"), f"  {profile.action.value} · {bench} · {travel}", overflow="ellipsis"
        )

    def _stage_line(self) -> Text:
        sample = self._sample
        if sample is None:
            return Text("waiting for the first reading")
        demand = sample.demand
        stage = demand.stage if demand else "no demand"
        cycle = f"cycle {demand.cycle}, " if demand and demand.cycle else ""
        return Text.assemble((f"{cycle}{stage}", "bold"), f"   guard: {sample.mode}")

    def _watch_line(self) -> Text:
        sample = self._sample
        watch = sample.demand.watch_for if sample and sample.demand else ""
        return Text(watch or BEFORE_MOVEMENT[0], "italic")

    def _pressure_line(self, width: int) -> Text:
        sample, units = self._sample, self._units
        if sample is None:
            return Text("pressure")
        reading = sample.reading
        shown = (
            units.text(Dimension.PRESSURE, reading.pressure.value, 2)
            if reading.pressure.good
            else reading.pressure.health.value
        )
        inferred = " (inferred)" if reading.pressure_is_inferred else ""
        demand = units.text(Dimension.PRESSURE, sample.command.output_pa, 2)
        supply = (
            f"   supply {units.text(Dimension.PRESSURE, reading.supply.value, 1)}"
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
        shown = self._units.text(Dimension.LENGTH, self._travel_m, 3)
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
        demand = self._sample.demand if self._sample else None
        if demand is None:
            return Text("progress")
        left = f" {demand.progress:4.0%}, about {minutes(demand.remaining_s)} left"
        return Text.assemble(f"{'progress':<{LABEL}}", bar(demand.progress, width - LABEL - len(left)), left)

    def _told_line(self) -> Text:
        trips = [text for kind, text in self._told if "trip" in kind]
        if trips:
            return Text.assemble(("STOPPED, first cause: ", "bold red"), trips[0])
        return Text(f"{self._told[-1][0]}: {self._told[-1][1]}" if self._told else "")

    def _plot(self, width: int, rows: int) -> list[Text]:
        """Travel against pressure of the present cycle; dotted verticals are the rated range."""
        profile, units = self._profile, self._units
        columns = max(10, min(width - LABEL - 2, 64))
        highest_pa = profile.bench_upper_pa * 1.2
        grid = BrailleGrid(columns, rows)
        rated = BrailleGrid(columns, rows)
        for level_pa in (profile.bench_lower_pa, profile.bench_upper_pa):
            for step in range(rows * 2):
                rated.set(level_pa / highest_pa, step / (rows * 2))
        for pressure_pa, travel_m in self._points:
            grid.set(pressure_pa / highest_pa, (travel_m / profile.rated_travel_m + 0.05) / 1.15)
        rest, end = ends(profile.action)
        lines = []
        for row, (curve, lines_of_range) in enumerate(zip(grid.lines(), rated.lines(), strict=True)):
            name = end if row == 0 else rest if row == rows - 1 else ""
            text = Text(f"{name:<{LABEL}}")
            for mark, back in zip(curve, lines_of_range, strict=True):
                text.append(*((mark, "bold cyan") if mark != "⠀" else (back, "dim")))
            lines.append(text)
        lower, upper = (
            units.to(Dimension.PRESSURE, p) for p in (profile.bench_lower_pa, profile.bench_upper_pa)
        )
        scale = [" "] * columns
        for level, share in ((lower, profile.bench_lower_pa / highest_pa), (upper, 1.0 / 1.2)):
            label = f"{level:g}" if level == round(level) else f"{level:.3g}"
            start = min(columns - len(label), max(0, int(share * columns) - len(label) // 2))
            scale[start : start + len(label)] = label
        lines.append(Text(f"{units.symbol(Dimension.PRESSURE):<{LABEL}}{''.join(scale)}", "dim"))
        return lines


def bar(share: float, width: int) -> str:
    """A bar of `width` characters, filled to `share` of it in half steps."""
    halves = round(min(1.0, max(0.0, share)) * width * 2)
    return ("█" * (halves // 2) + "▌" * (halves % 2)).ljust(max(0, width), "░")


def minutes(seconds: float) -> str:
    whole = max(0, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}"
