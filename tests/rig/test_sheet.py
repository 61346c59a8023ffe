"""The sheet: one self-contained page that says what was measured."""

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from rig.analysis.result import CheckResult, Outcome
from rig.profile.model import Action
from rig.record.reader import Event, Record
from rig.report.sheet import sheet_html, write_sheet
from rig.units import UNIT_SETS

from .made_up import DOSING, PSI, STAND, made_up_record, made_up_result, stopped_result

PSI_SET, BAR_SET = UNIT_SETS["psi"], UNIT_SETS["bar"]


def words_of(html: str) -> str:
    """What a person reads: no style, no tags, entities resolved."""
    body = re.sub(r"<style>.*?</style>", " ", html, flags=re.S)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)))


def sheet_words(record: Record, result: CheckResult) -> str:
    return words_of(sheet_html(record, result, PSI_SET))


@pytest.mark.parametrize(
    ("outcome", "word"),
    [(Outcome.PASS, "PASS"), (Outcome.FAIL, "FAIL"), (Outcome.UNDECIDED, "UNDECIDED")],
)
def test_the_outcome_stands_in_words_never_in_colour_alone(outcome: Outcome, word: str) -> None:
    assert f" {word} judged friction included" in sheet_words(
        made_up_record(), made_up_result(outcome=outcome)
    )


def test_every_measured_value_comes_with_its_uncertainty_unit_and_limits() -> None:
    words = sheet_words(made_up_record(), made_up_result())
    assert "Lift-off first movement, friction included 8.050 ± 0.070 psi 7.5 to 8.5 pass" in words
    assert "Reseat back at rest 6.560 ± 0.070 psi not judged" in words
    assert "at least 427.1" in words


def test_the_sheet_speaks_the_units_asked_for() -> None:
    words = words_of(sheet_html(made_up_record(), made_up_result(), BAR_SET))
    assert "0.5550 ± 0.0048 bar" in words
    assert "28.58 mm" in words
    assert "psi 8" not in words


def test_rated_travel_is_printed_as_a_fraction_in_inch_sets() -> None:
    assert "rated 1-1/8 in" in sheet_words(made_up_record(), made_up_result())


def test_an_air_to_close_valve_is_told_in_its_own_terms() -> None:
    words = sheet_words(made_up_record(Action.AIR_TO_CLOSE), made_up_result(DOSING))
    assert "Plug meets seat" in words
    assert "Leaves open stop" in words
    assert "Lift-off" not in words


def test_a_stopped_run_shows_its_first_cause_before_anything_measured() -> None:
    trips = ("Emergency stop: contact opened", "Pressure still there")
    words = sheet_words(made_up_record(keep=0.4), stopped_result(trips))
    assert "first cause Emergency stop: contact opened then: Pressure still there" in words
    assert words.index("first cause") < words.index("Quantity")
    assert "not measured" in words
    assert "±" not in words[words.index("Quantity") : words.index("Advice")].replace("± (95 %)", "")


def test_a_judged_quantity_says_what_its_outcome_risks() -> None:
    result = made_up_result()
    risky = replace(result.quantities["travel"], risk="a pass would be wrong less than 1 time in 40")
    result = replace(result, quantities=result.quantities | {"travel": risky})
    assert "Travel a pass would be wrong less than 1 time in 40 1.1290" in sheet_words(
        made_up_record(), result
    )


def test_a_run_that_a_person_stopped_says_so() -> None:
    stop = Event(31.0, "stop", "Ctrl-C: vented in order")
    record = replace(made_up_record(keep=0.3), events=(stop,))
    assert "first cause Ctrl-C: vented in order" in sheet_words(record, stopped_result(()))


def test_a_casing_that_may_still_hold_pressure_is_told_first() -> None:
    warning = Event(31.0, "warning", "The casing is not known to be without pressure.")
    words = sheet_words(replace(made_up_record(), events=(warning,)), made_up_result())
    assert "Advice and remarks The casing is not known to be without pressure." in words


def test_an_overdue_calibration_that_somebody_accepted_is_told() -> None:
    record = made_up_record()
    run = record.run | {"options": {"calibration overdue accepted by": "shift B"}}
    assert "accepted by shift B" in sheet_words(replace(record, run=run), made_up_result())


def test_the_cap_and_its_source_are_on_the_sheet() -> None:
    assert "45 psi (profile)" in sheet_words(made_up_record(), made_up_result())


def test_inferred_pressure_is_said() -> None:
    words = sheet_words(made_up_record(stand=replace(STAND, casing_pressure=None)), made_up_result())
    assert "no casing-pressure transmitter" in words
    assert "inferred from the I/P" in words


def test_a_calibration_that_ran_out_before_the_run_is_told() -> None:
    position = STAND.stem_position
    late = replace(position.calibration, due=position.calibration.due.replace(year=2026))  # type: ignore[union-attr]
    stand = replace(STAND, stem_position=replace(position, calibration=late))
    assert "OVERDUE since 2026-03-02" in sheet_words(made_up_record(stand=stand), made_up_result())
    assert "OVERDUE" not in sheet_words(made_up_record(), made_up_result())


def test_a_record_that_ends_early_and_a_simulated_stand_are_said() -> None:
    assert "ends before the run was ended" in sheet_words(made_up_record(keep=0.5), made_up_result())
    simulated = made_up_record(stand=replace(STAND, built_in=True))
    assert "from the simulated stand" in sheet_words(simulated, made_up_result())


def test_cautions_signatures_record_and_version_are_on_it() -> None:
    words = sheet_words(made_up_record(), made_up_result())
    for part in (
        "not a certified safety function",
        "lockout/tagout",
        "Tested by",
        "Reviewed by",
        "Date",
        "2026-11-25_141503_brine-letdown · 0123456789ab",
        "stemrig 0.",
        "BL-0417",
    ):
        assert part in words


def test_text_from_files_and_people_cannot_become_markup() -> None:
    evil = "<script>alert('x')</script> & \"quoted\" $person"
    record = made_up_record()
    record = replace(
        record,
        profile=replace(record.profile, title=evil, model=evil),
        stand=replace(record.stand, name=evil),
        run={"person": evil, "serial_number": evil, "limits": "not a list", "started": evil},
    )
    result = replace(made_up_result(), advice=(evil,), trips=(evil,), notes=(evil,), basis=evil)
    html = sheet_html(record, result, PSI_SET)
    assert "<script" not in html
    assert words_of(html).count("<script>alert('x')</script> & \"quoted\" $person") >= 8


def test_the_file_asks_nothing_of_the_network_and_is_small(tmp_path: Path) -> None:
    path = tmp_path / "sheet.html"
    write_sheet(made_up_record(), made_up_result(), path, PSI_SET)
    html = path.read_text(encoding="utf-8").replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?:|//[a-z]|url\(|@import|<link|<script|<img", html)
    assert path.stat().st_size < 300_000


def test_a_record_without_any_sample_still_makes_a_sheet() -> None:
    record = made_up_record()
    nothing = replace(
        record.samples,
        **{
            name: getattr(record.samples, name)[:0]
            for name in ("time_s", "pressure_pa", "position_m", "output_pa", "supply_pa", "cycle", "stage")
        },
    )
    words = sheet_words(replace(record, samples=nothing), stopped_result(("Link lost",)))
    assert "Link lost" in words


def test_more_remarks_than_fit_are_counted_and_told_where_they_are() -> None:
    result = replace(made_up_result(), advice=tuple(f"remark {n}: " + "word " * 30 for n in range(20)))
    words = sheet_words(made_up_record(), result)
    assert "remark 0" in words
    assert re.search(r"\d+ more: stemrig redo prints all of them", words)


def test_a_value_far_outside_its_limits_points_out_of_the_ruler() -> None:
    html = sheet_html(made_up_record(), made_up_result(outcome=Outcome.FAIL, lift_off_pa=3 * PSI), PSI_SET)
    assert html.count('<polygon points="0.5') == 1
