"""The screen of guided procedures: everything a person needs, on any terminal, hands-in shouted."""

from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from rig.procedure.conductor import Logged, Showing
from rig.procedure.guided import PROMPT, Large, Told
from rig.procedure.watch import Stroke
from rig.report.dashboard import NO_DEMAND_WATCH
from rig.report.guided_board import GuidedBoard
from rig.report.guided_screen import LiveGuided, PlainGuided, choose_guided_screen
from rig.report.large import ROWS, large
from rig.units import UNIT_SETS, Dimension
from safety.signals import Demand
from safety.state import Mode
from tests.rig.test_conductor import HOLD, prompt, reading

PSI = 6894.757293168361
PSI_UNITS = UNIT_SETS["psi"]


def showing(**changes: object) -> Showing:
    asked = prompt(
        caution="The spring is loaded.",
        watch="Count the turns.",
        meanwhile="The vent stays open.",
        large=Large("casing pressure", Dimension.PRESSURE, 0.04 * PSI, 0.0, 0.25 * PSI),
        back_is_safe=True,
    )
    return replace(Showing(reading(12.0), HOLD, asked, Mode.RAMPING.value), **changes)  # type: ignore[arg-type]


def drawn(given: Showing, width: int = 80, height: int = 24, units: str = "psi") -> str:
    return GuidedBoard("Setting the spring", UNIT_SETS[units]).drawn(given, 0.0, width, height).plain


@pytest.mark.parametrize(("width", "height"), [(60, 20), (80, 24), (120, 40)])
def test_it_fits_any_terminal(width: int, height: int) -> None:
    lines = drawn(showing(), width, height).splitlines()
    assert len(lines) <= height - 1
    assert max(len(line) for line in lines) <= width - 1


def test_text_reading_caution_and_every_key_are_on_it() -> None:
    text = drawn(showing())
    for part in (
        "Do it, please.",
        "casing pressure, wanted 0.00 psi ± 0.25 psi: as wanted",
        "caution    The spring is loaded.",
        "watch      Count the turns.",
        "meanwhile  The vent stays open.",
        "[d] Done.",
        "[n] Not done.",
        "[b] a step back   [p] pause   [q] end it: vent in order",
    ):
        assert part in text


@pytest.mark.parametrize(("width", "height"), [(60, 20), (80, 24)])
def test_a_long_caution_is_never_cut_away(width: int, height: int) -> None:
    caution = "The spring closes when the air is lost. " * 6 + "Set a block."
    asked = replace(showing().prompt, text="Make the connector. " * 5, caution=caution, watch="Look. " * 30)  # type: ignore[type-var]
    text = drawn(showing(prompt=asked, refusals=("the stem still moves",)), width, height)
    for part in ("Set a block.", "the stem still moves", "casing pressure", "[d] Done."):
        assert part in text
    assert len(text.splitlines()) <= height - 1


def test_figures_stay_large_before_the_lines_that_look_back() -> None:
    asked = replace(showing().prompt, caution="Fingers out of the gap. " * 15, watch="Look. " * 30)  # type: ignore[type-var]
    assert "██" in drawn(showing(prompt=asked))


def test_a_reading_that_is_not_known_is_no_number() -> None:
    asked = prompt(large=Large("travel", Dimension.LENGTH, None))
    assert "travel: not known" in drawn(showing(prompt=asked))


def test_hands_in_is_shouted_and_offers_neither_pause_nor_stop() -> None:
    text = drawn(showing(mode=Mode.HANDS_IN.value))
    assert "HANDS IN THE MECHANISM: outputs frozen, nothing may move" in text
    assert "pause" not in text
    assert "end it" not in text


def test_an_alarm_is_above_everything() -> None:
    assert (
        "ALARM: HANDS OUT" in drawn(showing(mode=Mode.HANDS_IN.value, alarm=("stem moved",))).splitlines()[1]
    )


def test_refusals_and_a_long_wait_are_said() -> None:
    text = drawn(showing(refusals=("the stem still moves",), overdue=True))
    assert "not yet    the stem still moves" in text
    assert "Is somebody there?" in text


def test_without_a_prompt_the_stage_and_the_pressure_are_shown() -> None:
    demand = Demand(1e5, 1e3, "rise", watch_for="Watch the stem.", progress=0.5, remaining_s=75.0)
    text = drawn(showing(prompt=None, demand=demand))
    assert "The stand is at work: rise." in text
    assert "about 1:15 left" in text


@pytest.mark.parametrize("mode", [Mode.VENTING, Mode.TRIPPED, Mode.ESCALATED, Mode.RESTING])
def test_when_the_procedure_is_not_in_charge_the_pressure_goes_on_and_no_key_is_offered(mode: Mode) -> None:
    idle = showing(prompt=None, mode=mode.value, in_charge=False, demand=Demand(0.0, 0.0, "", vent=True))
    text = drawn(idle)
    assert "██" in text
    assert "pressure 14.50 psi" in text
    assert f"guard: {mode.value}" in text
    assert "[" not in text
    assert "at work" not in text
    assert NO_DEMAND_WATCH.get(mode.value, "being made ready")[:25] in text


def test_large_figures_are_five_lines_and_stay_in_place_when_the_sign_changes() -> None:
    plus, minus = large("12.3 psi"), large("-12.3 psi")
    assert len(plus) == len(minus) == ROWS
    assert plus[-1].endswith("psi")
    assert [line[6:] for line in plus[:-1]] == [line[6:] for line in minus[:-1]]


def test_the_plain_form_says_cautions_and_keys_when_a_prompt_opens_and_once() -> None:
    out = StringIO()
    with PlainGuided(Console(file=out, width=200), "Setting the spring") as screen:
        screen.log(Logged(1.0, Told(PROMPT, "Do it, please.", "Do it")))
        for _ in range(3):
            screen.show(showing())
    text = out.getvalue()
    assert text.count("caution: The spring is loaded.") == 1
    assert text.count("[d] Done.") == 1
    assert "Hands out of the yoke" in text


def test_the_live_form_draws_a_new_prompt_at_once_and_else_not_more_often_than_it_may() -> None:
    now, out = [0.0], StringIO()
    console = Console(file=out, width=80, height=24, force_terminal=True)
    with LiveGuided(console, "Setting", PSI_UNITS, Stroke(0.03), lambda: now[0]) as screen:
        screen.show(showing())
        first = len(out.getvalue())
        screen.show(showing())
        assert len(out.getvalue()) == first
        screen.show(showing(prompt=prompt("Another")))
        second = len(out.getvalue())
        assert second > first
        now[0] = 1.0
        screen.show(showing(prompt=prompt("Another")))
        assert len(out.getvalue()) > second


def test_a_pipe_gets_the_plain_form() -> None:
    assert isinstance(
        choose_guided_screen(Console(file=StringIO()), "x", PSI_UNITS, Stroke(0.03)), PlainGuided
    )


def test_the_alarm_with_hands_in_rings_every_second_until_it_is_answered() -> None:
    now, out = [0.0], StringIO()
    console = Console(file=out, width=80, height=24, force_terminal=True)
    alarm = showing(mode=Mode.HANDS_IN.value, alarm=("stem moved",))
    with LiveGuided(console, "Coupling", PSI_UNITS, Stroke(0.03), lambda: now[0]) as screen:
        for _ in range(101):  # two seconds
            screen.show(alarm)
            now[0] += 0.02
        assert out.getvalue().count("\a") == 3
        now[0] += 5.0
        screen.show(showing())
    assert out.getvalue().count("\a") == 3
