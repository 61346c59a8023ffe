"""The force balance as people read it: text, diagram, and the sheet's second page."""

import re
from dataclasses import replace

import pytest

from rig.analysis.result import Outcome
from rig.forces.balance import balance_of
from rig.forces.knowns import Found, Measured
from rig.profile.model import Action, Basis, Flow, Profile, Trim
from rig.report.forces import balance_lines
from rig.report.forces_block import forces_block, forces_page
from rig.report.forces_diagram import svg_diagram, text_diagram
from rig.report.forces_words import signed, why_not
from rig.report.sheet import sheet_html
from rig.units import UNIT_SETS
from tests.rig.force_valves import CLOSER, LBF, OPENER, PEOPLE, PSI, with_trim
from tests.rig.made_up import PROFILE, made_up_record, made_up_result

BARE = replace(OPENER, trim=Trim())


def text_of(profile: Profile) -> str:
    return "\n".join(balance_lines(balance_of(profile), PEOPLE))


def row_of(text: str, name: str) -> str:
    """The row of a line with what stands beside it, in one line."""
    found = re.search(rf"^  {name}\b.*(?:\n {{6,}}.*)*", text, re.MULTILINE)
    assert found is not None, f"{name} is not in\n{text}"
    return " ".join(found.group().split())


# -- text ------------------------------------------------------------------------------------------------


def test_every_line_tells_its_formula_in_words_and_in_numbers() -> None:
    text = text_of(OPENER)
    seat = row_of(text, "Seat load, no air")
    assert "621 lbf = effective area × reseat = 69 in² × 9 psi" in seat
    assert "377 lbf = seat line load × π × seat bore = 60 lbf/in × π × 2 in" in row_of(
        text, "Seat load required"
    )
    assert "the works' trim sheet" in row_of(text, "Seat load required")
    assert "10.16 psi" in row_of(text, "Lower end needed in service")


def test_the_units_are_the_persons() -> None:
    bar = "\n".join(balance_lines(balance_of(OPENER), UNIT_SETS["bar"]))
    assert "2762 N = effective area × reseat = 445.2 cm² × 0.6205 bar" in row_of(bar, "Seat load, no air")
    assert "psi" not in bar
    assert "lbf" not in bar


def test_short_margins_come_first_in_words_worst_first() -> None:
    # air-to-close, 10 to 30 psi: at supply 69 × (35 − 31) = 276 lbf, in service 276 − 255.254 = 20.75 lbf
    # of the 376.99 lbf required; lowest supply 31 + 5.4636 = 36.46, in service 36.46 + 3.70 = 40.16 psi
    text = text_of(replace(CLOSER, bench_lower_pa=10 * PSI, bench_upper_pa=30 * PSI))
    assert text.splitlines()[2:7] == [
        "  • Seat load in service is short by 356.2 lbf: 20.75 lbf there, 377 lbf needed.",
        "  • Seat load is short by 101 lbf: 276 lbf there, 377 lbf needed.",
        "  • Supply in service is short by 5.163 psi: 35 psi there, 40.16 psi needed.",
        "  • Supply is short by 1.464 psi: 35 psi there, 36.46 psi needed.",
        "  • Runs out first: seat load in service, factor 0.06 (20.75 lbf there, 377 lbf needed).",
    ]


def test_a_negative_seat_load_says_that_nothing_holds_the_plug() -> None:
    # 3.14159 × 195 + 0.19635 × 20 = 616.54 lbf off the seat leave 4.46 of 621; at 250 psi it is 726.5
    still = text_of(with_trim(OPENER, upstream_pa=215 * PSI))
    assert "Seat load in service is short by 372.5 lbf: 4.462 lbf there" in still
    text = " ".join(text_of(with_trim(OPENER, upstream_pa=250 * PSI)).split())
    assert "Seat load in service: nothing holds the plug on its seat (−105.5 lbf; 377 lbf needed)" in text


def test_a_spring_that_friction_holds_is_told_in_words() -> None:
    text = text_of(with_trim(OPENER, packing_friction_n=700 * LBF))
    assert "Spring return: the spring does not overcome friction: 690 lbf there, 700 lbf needed." in text


def test_what_is_missing_is_told_in_its_place_and_no_zero_stands_there() -> None:
    text = text_of(with_trim(OPENER, seat_bore_m=None))
    assert row_of(text, "Seat load required") == "Seat load required: not computed: needs seat bore"
    assert re.search(r"Margin of seat load, .*?: not computed: needs seat bore\.", " ".join(text.split()))
    bare = text_of(BARE)
    assert row_of(bare, "Seat load, no air") == "Seat load, no air: not computed: needs packing friction"
    assert not re.search(r"(?<![\d.,−-])0 (lbf|psi)", bare)
    assert "In service: not computed: needs process pressures" in bare
    assert "--record" in bare


def test_both_meanings_stand_side_by_side_with_the_choice_marked_and_its_price() -> None:
    text = text_of(replace(OPENER, basis=Basis.FRICTION_INCLUDED))
    block = text[text.index("Both meanings") :]
    assert re.search(r"friction included ◄\s+spring only$", block, re.MULTILINE)
    assert re.search(r"^  lift-off\s+10 psi\s+11 psi$", block, re.MULTILINE)
    assert re.search(r"^  full travel\s+30 psi\s+31 psi$", block, re.MULTILINE)
    assert re.search(r"^  seat load, no air\s+552 lbf\s+621 lbf$", block, re.MULTILINE)
    assert "The price of friction included: 69 lbf less seat load; it saves 1 psi of supply." in " ".join(
        block.split()
    )
    alone = " ".join(text_of(OPENER).split())
    assert "The price of spring only: 1 psi more supply; it keeps 69 lbf more seat load." in alone


def test_a_measured_stroke_stands_beside_both_meanings_as_found() -> None:
    measured = Measured(Found(69 * LBF, 4 * LBF), None, Found(9.5 * PSI, 0.1 * PSI))
    text = "\n".join(balance_lines(balance_of(OPENER, measured), PEOPLE))
    assert "as measured" in text.splitlines()[0]
    assert re.search(r"as found\s+friction included\s+spring only ◄", text)
    assert re.search(r"^  lift-off\s+10.5 psi\s+10 psi\s+11 psi$", text, re.MULTILINE)
    assert "69.0 ± 4.0 lbf measured" in row_of(text, "Friction")


def test_obtainable_ranges_are_told_with_what_they_lack() -> None:
    ranges = ((6 * PSI, 30 * PSI), (12 * PSI, 30 * PSI))
    text = " ".join(text_of(replace(OPENER, obtainable_ranges_pa=ranges)).split())
    assert "12 to 30 psi would serve best" in text
    assert "6 to 30 psi: does not serve. Seat load is short by" in text
    none = " ".join(text_of(replace(OPENER, obtainable_ranges_pa=ranges[:1])).split())
    assert "None of the obtainable ranges serves." in none
    blind = with_trim(replace(OPENER, obtainable_ranges_pa=ranges), packing_friction_n=None)
    assert "12 to 30 psi: not computed: needs packing friction" in " ".join(text_of(blind).split())


@pytest.mark.parametrize("width", [80, 100])
@pytest.mark.parametrize("profile", [OPENER, CLOSER, BARE])
def test_no_row_is_wider_than_asked_but_the_heading(profile: Profile, width: int) -> None:
    for measured in (None, Measured(Found(69 * LBF, 4 * LBF))):
        lines = balance_lines(balance_of(profile, measured), PEOPLE, (), width)
        assert [line for line in lines[1:-1] if len(line) > width and " ÷ " not in line] == []


def test_contradictions_lead() -> None:
    lines = balance_lines(balance_of(OPENER), PEOPLE, ["The record is of another model."])
    assert lines[2] == "  • The record is of another model."


def test_numbers_have_a_true_minus_and_no_minus_zero() -> None:
    assert signed(-3.14159) == "−3.142"
    assert signed(-0.0) == "0"
    assert why_not(("a", "b", "c")) == "not computed: needs a, b and c"


# -- diagram -----------------------------------------------------------------------------------------------


def test_the_text_diagram_names_its_lines_and_ends() -> None:
    diagram = balance_of(OPENER).diagram
    assert diagram is not None
    text = "\n".join(text_diagram(diagram, PEOPLE, 100))
    for name in ("supply 35 psi", "upper 30 psi", "lower 10 psi", "spring", "spring and process"):
        assert name in text
    assert re.search(r"^ +seat +1-1/8 in, open stop$", text, re.MULTILINE)
    closing = balance_of(CLOSER).diagram
    assert closing is not None
    assert re.search(
        r"^ +open stop +1-1/8 in, seat$", "\n".join(text_diagram(closing, PEOPLE, 100)), re.MULTILINE
    )


def test_the_diagram_has_the_forces_of_the_balance() -> None:
    diagram = balance_of(OPENER).diagram
    assert diagram is not None
    assert [force / LBF for force in diagram.spring_n] == pytest.approx([690.0, 2070.0])
    assert [level.force_n / LBF for level in diagram.air] == pytest.approx([690.0, 2070.0, 2415.0])
    assert diagram.seat_n is not None
    assert diagram.seat_n[1] / LBF == pytest.approx(621.0)
    closing = balance_of(CLOSER).diagram
    assert closing is not None
    assert closing.seat_n is not None
    assert [force / LBF for force in closing.seat_n] == pytest.approx([2415.0 - 966.0, 2415.0])


def test_the_svg_draws_spring_friction_air_process_and_seat() -> None:
    diagram = balance_of(OPENER).diagram
    assert diagram is not None
    svg = svg_diagram(diagram, PEOPLE)
    for kind, times in (("f-spring", 1), ("f-process", 1), ("f-friction", 1), ("f-seat", 1), ("f-air", 3)):
        assert svg.count(f'class="{kind}"') == times
    assert "nan" not in svg


def test_without_friction_there_is_no_spring_line_to_draw_when_friction_is_included() -> None:
    assert balance_of(replace(BARE, basis=Basis.FRICTION_INCLUDED)).diagram is None
    assert "Force along the travel" not in text_of(replace(BARE, basis=Basis.FRICTION_INCLUDED))


# -- sheet -------------------------------------------------------------------------------------------------


def test_the_sheet_has_a_page_of_forces_where_the_profile_speaks_of_trim() -> None:
    record, result = made_up_record(), made_up_result()
    assert "Forces ·" not in sheet_html(record, result, PEOPLE)
    spoken = replace(record, profile=replace(PROFILE, trim=OPENER.trim))
    html = sheet_html(spoken, result, PEOPLE)
    assert html.count('class="page') == 2
    assert "Forces · as measured" in html
    assert "230 ± 9" not in html  # people's units: 51.7 ± 2.0 lbf
    assert "51.7 ± 2.0 lbf" in html


def test_the_block_marks_short_margins_and_tells_what_is_missing() -> None:
    html = forces_block(balance_of(with_trim(OPENER, seat_bore_m=None)), PEOPLE)
    assert "not computed: needs seat bore" in html
    short = forces_block(balance_of(with_trim(OPENER, flow=Flow.FLOW_TO_OPEN)), PEOPLE)
    assert "<tr class=short>" in short
    assert short.index("Seat load in service is short by") < short.index("Runs out first")


def test_a_stopped_run_still_has_its_page_from_the_profile() -> None:
    result = replace(made_up_result(), outcome=Outcome.STOPPED, quantities={})
    html = forces_page(replace(PROFILE, trim=OPENER.trim, action=Action.AIR_TO_OPEN), result, PEOPLE, "r")
    assert "allowed for in the profile" in html
