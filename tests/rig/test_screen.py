"""What the person sees while a check runs, on a terminal and elsewhere."""

from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from rig.analysis.samples import RISE
from rig.profile.model import Action
from rig.report.braille import BLANK, BrailleGrid
from rig.report.curves import travel_of
from rig.report.dashboard import Dashboard, bar, minutes, watch_without_demand
from rig.report.screen import DRAWS_PER_S, STOP_HINT, LiveScreen, PlainScreen, choose_screen
from rig.report.words import live_text
from rig.units import UNIT_SETS, Dimension
from safety.signals import Health, Signal

from .made_up import DOSING, PROFILE, columns, run_of

PSI_SET = UNIT_SETS["psi"]
LIMITS = ("cap 45 psi (profile)", "rate 4 psi/s (built-in)")
SAMPLES = run_of(Action.AIR_TO_OPEN, 1)
TRAVELS = [float(travel) for travel in travel_of(columns(SAMPLES))]


def terminal(width: int = 80, height: int = 24) -> Console:
    return Console(
        file=StringIO(),
        force_terminal=True,
        width=width,
        height=height,
        color_system=None,
        legacy_windows=False,
    )


def printed(console: Console) -> str:
    assert isinstance(console.file, StringIO)
    return console.file.getvalue()


def middle_of(stage: str) -> int:
    at = [i for i, sample in enumerate(SAMPLES) if sample.demand is not None and sample.demand.stage == stage]
    return at[len(at) * 2 // 3]


def shown(upto: int, width: int = 80, height: int = 24, told: tuple[tuple[str, str], ...] = ()) -> list[str]:
    dashboard = Dashboard(PROFILE, PSI_SET, LIMITS, STOP_HINT)
    for sample, travel_m in zip(SAMPLES[:upto], TRAVELS, strict=False):
        dashboard.see(sample, travel_m)
    for kind, text in told:
        dashboard.tell(kind, text)
    return dashboard.drawn(width, height).plain.split("\n")


def test_stage_pressure_travel_progress_and_what_to_watch_for_are_on_the_screen() -> None:
    sample = SAMPLES[middle_of(RISE) - 1]
    screen = "\n".join(shown(middle_of(RISE)))
    assert sample.demand is not None
    for part in (
        PROFILE.title,
        "8 to 30 psi · 1-1/8 in",
        "cycle 1, rise",
        "guard: ramping",
        "it should lift smoothly",
        f"{PSI_SET.to(Dimension.PRESSURE, sample.reading.pressure.value):.2f} psi",
        f"{sample.demand.progress:.0%}, about {minutes(sample.demand.remaining_s)} left",
        " · ".join(LIMITS),
        STOP_HINT,
    ):
        assert part in screen


def dots(screen: str) -> int:
    """Characters of the plot that show something."""
    return sum(BLANK < mark <= "\u28ff" for mark in screen)


@pytest.mark.parametrize("size", [(80, 24), (60, 20), (120, 50), (200, 30)])
@pytest.mark.parametrize("upto", [0, 1, 400, len(SAMPLES)])
def test_the_screen_fits_the_terminal(size: tuple[int, int], upto: int) -> None:
    width, height = size
    lines = shown(upto, width, height)
    assert len(lines) <= height - 1
    assert max(len(line) for line in lines) < width
    assert any(STOP_HINT in line for line in lines)


@pytest.mark.parametrize(
    ("mode", "stage", "watch"),
    [
        ("venting", "stopping: venting in order", "Stay clear until the pressure is gone"),
        ("tripped", "stopped", "Outputs are safe"),
        ("escalated", "stopped", "vent by hand"),
        ("resting", "guard: resting", "Eye protection on"),
    ],
)
def test_when_nothing_is_asked_the_screen_says_why_and_keeps_its_plot(
    mode: str, stage: str, watch: str
) -> None:
    dashboard = Dashboard(PROFILE, PSI_SET, (), STOP_HINT)
    upto = middle_of(RISE)
    for sample, travel_m in zip(SAMPLES[:upto], TRAVELS, strict=False):
        dashboard.see(sample, travel_m)
    dashboard.see(replace(SAMPLES[upto], demand=None, mode=mode), TRAVELS[upto])
    screen = dashboard.drawn(80, 24).plain
    assert stage in screen.split("\n")[1]
    assert watch in screen
    assert "left" in screen
    assert dots(screen) > dots("\n".join(shown(10))) + 20


def test_a_long_title_gives_way_to_what_the_valve_is_rated_for() -> None:
    long = replace(PROFILE, title="Second-stage " * 9)
    first = Dashboard(long, PSI_SET, (), STOP_HINT).drawn(80, 24).plain.split("\n")[0]
    assert first.endswith("…  air-to-open · 8 to 30 psi · 1-1/8 in")


def test_the_stroke_of_the_present_cycle_is_drawn() -> None:
    assert dots("\n".join(shown(middle_of(RISE)))) > dots("\n".join(shown(10))) + 20


def test_the_first_trip_stays_on_the_screen() -> None:
    told = (("remark", "late scan"), ("trip", "Emergency stop"), ("trip", "Pressure still there"))
    screen = "\n".join(shown(100, told=told))
    assert "STOPPED, first cause: Emergency stop" in screen
    assert "Pressure still there" not in screen


def test_a_pressure_that_is_not_good_is_said_instead_of_shown() -> None:
    sample = SAMPLES[100]
    bad = replace(sample, reading=replace(sample.reading, pressure=Signal(float("nan"), Health.FAILED, 2.0)))
    dashboard = Dashboard(PROFILE, PSI_SET, (), STOP_HINT)
    dashboard.see(bad, None)
    screen = dashboard.drawn(80, 24).plain
    assert "failed" in screen
    assert "not known yet" in screen
    assert "nan" not in screen


def test_an_air_to_close_valve_rests_on_its_open_stop() -> None:
    lines = Dashboard(DOSING, PSI_SET, (), STOP_HINT).drawn(80, 24).plain.split("\n")
    ends = [line[:10].strip() for line in lines if line[:10].strip() in ("seat", "open stop")]
    assert ends == ["seat", "open stop"]


def test_drawing_follows_the_wall_clock_not_the_samples() -> None:
    console = terminal()
    now = [0.0]
    screen = LiveScreen(console, PROFILE, PSI_SET, LIMITS, clock=lambda: now[0])
    draws = 0
    drawn = screen._draw

    def counting() -> None:
        nonlocal draws
        draws += 1
        drawn()

    screen._draw = counting  # type: ignore[method-assign]
    with screen:
        for sample, travel_m in zip(SAMPLES[:500], TRAVELS, strict=False):
            now[0] += 0.02  # ten seconds in all
            screen.update(sample, travel_m)
    assert 0.8 * 10 * DRAWS_PER_S <= draws <= 10 * DRAWS_PER_S + 1


def test_cautions_stand_before_the_first_movement_on_both_screens() -> None:
    for console in (terminal(), Console(file=StringIO(), width=200)):
        with choose_screen(console, PROFILE, PSI_SET, LIMITS) as screen:
            words = printed(console)
            assert "Hands out of the yoke" in words
            assert "not a certified safety function" in words
            screen.update(SAMPLES[0], None)


def test_the_plain_screen_says_one_line_a_stage_and_one_an_event() -> None:
    console = Console(file=StringIO(), width=200)
    screen = PlainScreen(console, PROFILE, PSI_SET, LIMITS)
    with screen:
        before = len(printed(console).splitlines())
        for sample in SAMPLES:
            screen.update(sample, 0.0)
        screen.event(9.0, "trip", "Emergency stop")
    lines = printed(console).splitlines()[before:]
    assert len(lines) == 1 + 5 + 1  # the guard's mode, the stages, the event
    assert [line.split("  ")[-1].split(" (")[0] for line in lines[1:3]] == ["zero", "cycle 1, rise"]
    assert lines[-1] == "    9.0 s  trip: Emergency stop"


def test_a_stage_without_a_demand_is_no_line() -> None:
    console = Console(file=StringIO(), width=200)
    with PlainScreen(console, PROFILE, PSI_SET) as screen:
        screen.update(replace(SAMPLES[0], demand=None), None)
    assert printed(console).splitlines()[-1].endswith("guard: ramping")


@pytest.mark.parametrize(
    ("console", "kind"),
    [
        (terminal(), LiveScreen),
        (terminal(50, 24), PlainScreen),
        (terminal(80, 12), PlainScreen),
        (Console(file=StringIO()), PlainScreen),
    ],
)
def test_the_live_screen_is_for_terminals_that_can_show_it(console: Console, kind: type) -> None:
    assert isinstance(choose_screen(console, PROFILE, PSI_SET), kind)


def test_an_event_is_drawn_at_once_and_kept() -> None:
    console = terminal()
    with LiveScreen(console, PROFILE, PSI_SET, clock=lambda: 0.0) as screen:
        screen.update(SAMPLES[0], 0.0)
        screen.event(3.2, "trip", "Emergency stop")
        words = printed(console)
    assert "3.2 s  trip: Emergency stop" in words
    assert "STOPPED, first cause: Emergency stop" in words


def test_a_failure_in_the_run_leaves_the_terminal_as_it_was() -> None:
    console = terminal()

    def failing() -> None:
        with LiveScreen(console, PROFILE, PSI_SET) as screen:
            screen.update(SAMPLES[0], 0.0)
            raise RuntimeError("stand lost")

    with pytest.raises(RuntimeError, match="stand lost"):
        failing()
    assert (
        printed(console).rfind("\x1b[?25h") > printed(console).rfind("\x1b[?25l") >= 0
    )  # cursor shown again


@pytest.mark.parametrize(("share", "filled"), [(-1.0, 0), (0.0, 0), (0.5, 5), (1.0, 10), (7.0, 10)])
def test_a_bar_is_never_longer_than_its_room(share: float, filled: int) -> None:
    assert bar(share, 10) == "█" * filled + "░" * (10 - filled)


def test_braille_dots_go_where_they_belong() -> None:
    grid = BrailleGrid(2, 1)
    grid.set(0.0, 1.0)  # top left
    grid.set(1.0, 0.0)  # bottom right
    grid.set(1.1, 0.5)  # outside
    assert grid.lines() == ["⠁⢀"]


def test_times_left_are_minutes_and_seconds() -> None:
    assert [minutes(s) for s in (-1.0, 9.4, 59.6, 125.0)] == ["0:00", "0:09", "1:00", "2:05"]


def test_while_the_clock_stands_still_nothing_is_drawn_again() -> None:
    console = terminal()
    with LiveScreen(console, PROFILE, PSI_SET, clock=lambda: 0.0) as screen:
        screen.update(SAMPLES[0], 0.0)
        before = len(printed(console))
        for sample in SAMPLES[:1000]:
            screen.update(sample, 0.0)
        assert len(printed(console)) == before


@pytest.mark.parametrize(
    ("units", "pressure", "travel"),
    [("psi", "29.01 psi", "1.126 in"), ("bar", "2.000 bar", "28.60 mm"), ("kPa", "200.0 kPa", "28.60 mm")],
)
def test_a_changing_value_keeps_its_decimals(units: str, pressure: str, travel: str) -> None:
    assert live_text(UNIT_SETS[units], Dimension.PRESSURE, 200_000.0) == pressure
    assert live_text(UNIT_SETS[units], Dimension.LENGTH, 0.0286) == travel


@pytest.mark.parametrize("make", [LiveScreen, PlainScreen])
@pytest.mark.parametrize(("kind", "rings"), [("trip", 1), ("remark", 0)])
def test_a_trip_rings(make: type[LiveScreen] | type[PlainScreen], kind: str, rings: int) -> None:
    console = terminal()
    with make(console, PROFILE, PSI_SET) as screen:
        screen.event(3.0, kind, "The guard is open.")
    assert printed(console).count("\a") == rings


def test_a_file_gets_no_bell() -> None:
    console = Console(file=StringIO())
    with PlainScreen(console, PROFILE, PSI_SET) as screen:
        screen.event(3.0, "trip", "The guard is open.")
    assert "\a" not in printed(console)


@pytest.mark.parametrize(
    ("mode", "written", "good", "told"),
    [
        ("tripped", True, True, "Outputs are safe"),
        ("tripped", True, False, "The pressure is not known"),
        ("tripped", False, True, "NOTHING REACHES THE OUTPUTS"),
        ("tripped", False, False, "NOTHING REACHES THE OUTPUTS"),
        ("venting", False, True, "NOTHING REACHES THE OUTPUTS"),
        ("venting", True, True, "The casing is venting"),
        ("escalated", False, False, "Shut off the air"),
    ],
)
def test_safe_outputs_are_told_only_where_they_were_acknowledged(
    mode: str, written: bool, good: bool, told: str
) -> None:
    last = SAMPLES[-1]
    pressure = replace(last.reading.pressure, health=Health.GOOD if good else Health.FAILED)
    reading = replace(last.reading, pressure=pressure)
    dashboard = Dashboard(PROFILE, PSI_SET, LIMITS, STOP_HINT)
    dashboard.see(replace(last, demand=None, mode=mode, written=written, reading=reading), None)
    text = dashboard.drawn(80, 24).plain
    assert told in text
    assert ("NOT WRITTEN" in text) is not written
    assert watch_without_demand("ramping", written, good) is None


def test_a_long_first_cause_is_told_on_two_lines_with_what_to_do() -> None:
    cause = "The pressure signal jumped further than air can flow: wiring or transmitter. Look at a gauge."
    assert "Look at a gauge." in "\n".join(shown(300, told=(("trip", cause),)))
    assert len(shown(300, 60, 20, told=(("trip", cause),))) <= 19
    assert STOP_HINT in shown(300, 60, 20)[-1]


def test_zero_has_no_minus() -> None:
    assert live_text(PSI_SET, Dimension.PRESSURE, -1.0) == "0.00 psi"
