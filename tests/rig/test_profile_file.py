"""A bad profile is told of whole: file, line, field, what was found and what would do, all at once."""

from pathlib import Path

import pytest

from rig.files import FileProblems
from rig.profile.load import load_profile, load_profile_text

FILE = """\
model: brine-letdown
title: Brine let-down valve
action: air-to-open
effective_area: 105 in2
rated_travel: 1-1/8 in
travel_surplus: 1/32 in
actuator_stroke: 1-3/8 in
bench_range:
  lower: 10 psi
  upper: 30 psi
  basis: friction included
  lower_tolerance: 0.5 psi
  upper_tolerance: {minus: 1.5 psi, plus: 1.5 psi}
casing_maximum: 50 psi
supply: 40 psi
area_uncertainty: 3 %
spring_rate: 1867 lbf/in
adjuster_thread: 3/4-16 UNF
required_seat_load: 800 lbf
"""


def told(*changes: tuple[str, str]) -> str:
    """All that is told of the file with those changes."""
    text = FILE
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    with pytest.raises(FileProblems) as caught:
        load_profile_text(text, "valve.yaml")
    return str(caught.value)


def test_the_file_that_the_mistakes_are_put_into_is_right() -> None:
    assert load_profile_text(FILE, "valve.yaml").model == "brine-letdown"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "effective_area:",
            "effective_aera:",
            "valve.yaml:1: effective_area: is missing\n"
            "    add it, for example: effective_area: 105 in² or 677 cm²\n"
            "valve.yaml:4: effective_aera: is not a key of a valve profile\n"
            "    did you mean effective_area?",
        ),
        (
            "  basis:",
            "  base:",
            "valve.yaml:8: bench_range.basis: is missing\n"
            "    add it: basis: friction included or spring only\n"
            "valve.yaml:11: bench_range.base: is not a key of bench_range\n"
            "    did you mean basis?",
        ),
        (
            "{minus:",
            "{minsu:",
            "valve.yaml:13: bench_range.upper_tolerance.minus: is missing\n"
            "    add it, for example: minus: 0.5 psi\n"
            "valve.yaml:13: bench_range.upper_tolerance.minsu: is not a key of bench_range.upper_tolerance\n"
            "    did you mean minus?",
        ),
        (
            "supply: 40 psi",
            "supply: 40 psi\nsupply: 50 psi",
            "valve.yaml:16: supply: stands here a second time (first in line 15)\n    keep one of them",
        ),
    ],
)
def test_a_key_that_is_not_known_or_stands_twice(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


def test_what_is_known_is_listed_where_nothing_is_alike() -> None:
    text = told(("effective_area: 105 in2", "colour: green\neffective_area: 105 in2"))
    assert text.startswith("valve.yaml:4: colour: is not a key of a valve profile\n    known here: ")
    for key in FILE.splitlines():
        if not key.startswith(" "):
            assert key.partition(":")[0] in text


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "105 in2",
            "105",
            "valve.yaml:4: effective_area: '105' has no unit\n"
            "    write it with one, for example: 105 in² or 677 cm²",
        ),
        (
            "1-1/8 in",
            "1.125",
            "valve.yaml:5: rated_travel: '1.125' has no unit\n"
            "    write it with one, for example: 1-1/8 in, 1.125 in or 28.6 mm",
        ),
        (
            "0.5 psi",
            "0.5",
            "valve.yaml:12: bench_range.lower_tolerance: '0.5' has no unit\n"
            "    write it with one, for example: 0.5 psi, 0.0345 bar or 3.45 kPa",
        ),
        (
            "50 psi",
            "50",
            "valve.yaml:14: casing_maximum: '50' has no unit\n"
            "    write it with one, for example: 50 psi, 3.45 bar or 345 kPa",
        ),
        (
            "3 %",
            "3",
            "valve.yaml:16: area_uncertainty: '3' has no unit\n    write it with one, for example: 3 %",
        ),
    ],
)
def test_a_quantity_without_its_unit(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "105 in2",
            "105 psi",
            "valve.yaml:4: effective_area: '105 psi' is a pressure\n"
            "    an area is wanted, for example: 105 in² or 677 cm²",
        ),
        (
            "lower: 10 psi",
            "lower: 10 in",
            "valve.yaml:9: bench_range.lower: '10 in' is a length\n"
            "    a pressure is wanted, for example: 20 psi, 1.38 bar or 138 kPa",
        ),
        (
            "1867 lbf/in",
            "1867 lb/in",
            "valve.yaml:17: spring_rate: '1867 lb/in': 'lb' is a mass\n"
            "    a spring rate in pounds is written lbf/in",
        ),
        (
            "800 lbf",
            "800 lb",
            "valve.yaml:19: required_seat_load: '800 lb' is a mass\n"
            "    a force in pounds is written lbf, in kilograms kgf",
        ),
        (
            "supply: 40 psi",
            "supply: 40 psia",
            "valve.yaml:15: supply: '40 psia' is an absolute pressure\n"
            "    all pressures here are gauge, above the room's air: for example 20 psi, 1.38 bar or 138 kPa",
        ),
    ],
)
def test_a_unit_of_another_dimension(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "1-1/8 in",
            "1,125 in",
            "valve.yaml:5: rated_travel: '1,125 in' has a comma in its number\n"
            "    write it with a decimal point and no commas",
        ),
        (
            "1-1/8 in",
            "1-1/0 in",
            "valve.yaml:5: rated_travel: '1-1/0 in' divides by zero\n"
            "    for example: 1-1/8 in, 1.125 in or 28.6 mm",
        ),
        (
            "supply: 40 psi",
            "supply: lots",
            "valve.yaml:15: supply: 'lots' is not a number with a unit\n"
            "    for example: 20 psi, 1.38 bar or 138 kPa",
        ),
        (
            "supply: 40 psi",
            "supply: {a: 1 psi}",
            "valve.yaml:15: supply: holds a group of keys\n    one value is wanted here",
        ),
        (
            "air-to-open",
            "air to open",
            "valve.yaml:3: action: 'air to open' is not known here\n    write air-to-open or air-to-close",
        ),
        (
            "air-to-open",
            "",
            "valve.yaml:3: action: has no value\n    add it: action: air-to-open or air-to-close",
        ),
        (
            "friction included",
            "dry",
            "valve.yaml:11: bench_range.basis: 'dry' is not known here\n"
            "    write friction included or spring only",
        ),
        (
            "3/4-16 UNF",
            "fine",
            "valve.yaml:18: adjuster_thread: 'fine' is neither a thread nor a pitch\n"
            "    write it like 1/2-20 UNF, M12 x 1.75, or the pitch alone: 1.27 mm",
        ),
        (
            "model: brine-letdown",
            "model: brine/letdown",
            "valve.yaml:1: model: 'brine/letdown' cannot name a folder\n"
            "    use letters, digits, dots and hyphens only",
        ),
    ],
)
def test_text_that_is_not_what_is_wanted(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "casing_maximum: 50 psi",
            "casing_maximum: 251 psi",  # one count beyond what is believable
            "valve.yaml:14: casing_maximum: 251 psi cannot be right\n"
            "    from 1 psi to 250 psi is believable; look at the unit",
        ),
        (
            "3 %",
            "21 %",
            "valve.yaml:16: area_uncertainty: 21 % is not a believable half width\n"
            "    from 0 % to 20 %; 3 % is common practice",
        ),
        (
            "upper: 30 psi",
            "upper: 10 psi",
            "valve.yaml:10: bench_range.upper: 10 psi is not above the lower end, 10 psi\n"
            "    the lower end of the range comes first: lower: 10 psi, upper: 30 psi",
        ),
        (
            "supply: 40 psi",
            "supply: 60 psi",
            "valve.yaml:15: supply: 60 psi is above the casing maximum, 50 psi\n"
            "    an instrument in bypass passes the full supply to the casing: which of the two is wrong?",
        ),
        (
            "supply: 40 psi",
            "supply: 29 psi",
            "valve.yaml:10: bench_range.upper: 30 psi is above the supply, 29 psi\n"
            "    such a valve never reaches full travel: which of the two is wrong?",
        ),
        (
            "1/32 in",
            "-1/32 in",
            "valve.yaml:6: travel_surplus: is negative\n    travel is never short: zero or a little more",
        ),
        (
            "1/32 in",
            "5/8 in",  # half of 1-1/8 in is 9/16 in
            "valve.yaml:6: travel_surplus: 5/8 in is more than half of the rated travel\n"
            "    give what is accepted above rated travel, for example 1/32 in",
        ),
        (
            "1-3/8 in",
            "1 in",
            "valve.yaml:7: actuator_stroke: 1 in is shorter than the rated travel, 1-1/8 in\n"
            "    such an actuator cannot give the travel: which of the two is wrong?",
        ),
        (
            "0.5 psi",
            "-0.5 psi",
            "valve.yaml:12: bench_range.lower_tolerance: is negative\n"
            "    give minus and plus as sizes, both zero or more",
        ),
        (
            "0.5 psi",
            "0 psi",
            "valve.yaml:12: bench_range.lower_tolerance: leaves no room\n"
            "    every measurement has an uncertainty: allow some",
        ),
        (
            "0.5 psi",
            "18.5 psi",  # with 1.5 psi from above, all of the 20 psi
            "valve.yaml:13: bench_range.upper_tolerance: reaches down to where the lower end's reaches up\n"
            "    together they must be smaller than the span of the range",
        ),
        (
            "1867 lbf/in",
            "1500 lbf/in",  # 105 in² x 20 psi / 1.125 in = 1867 lbf/in
            "valve.yaml:17: spring_rate: 1500 lbf/in contradicts the range: 105 in² x 20 psi / 1-1/8 in is "
            "1867 lbf/in\n"
            "    they agree within 15 %, or one of rate, area, travel and range is wrong",
        ),
        (
            "800 lbf",
            "1100 lbf",  # 105 in² x 10 psi = 1050 lbf
            "valve.yaml:19: required_seat_load: 1100 lbf is more than the range can give: 1050 lbf with no "
            "air, even without friction\n"
            "    it needs a higher lower end of the range or a larger area",
        ),
        (
            "3/4-16 UNF",
            "30 mm",
            "valve.yaml:18: adjuster_thread: '30 mm' is no pitch of a thread\n"
            "    write it like 1/2-20 UNF, M12 x 1.75, or the pitch alone: 1.27 mm",
        ),
    ],
)
def test_a_value_that_cannot_be(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("casing_maximum: 50 psi", "casing_maximum: 250 psi"),
        ("3 %", "20 %"),
        ("supply: 40 psi", "supply: 50 psi"),
        ("supply: 40 psi", "supply: 30 psi"),
        ("1-3/8 in", "1-1/8 in"),
        ("1/32 in", "0 in"),
        ("0.5 psi", "18 psi"),
        ("800 lbf", "1050 lbf"),
    ],
)
def test_at_the_edge_it_is_still_believed(old: str, new: str) -> None:
    assert FILE.count(old) == 1
    assert load_profile_text(FILE.replace(old, new), "valve.yaml").model == "brine-letdown"


def test_all_is_told_at_once_in_the_order_of_the_lines() -> None:
    text = told(
        ("supply: 40 psi", "suply: 40 psi"),
        ("105 in2", "105"),
        ("1-3/8 in", "1 in"),
        ("0.5 psi", "0.5 in"),
        ("3/4-16 UNF", "fine"),
    )
    first_lines = [line for line in text.splitlines() if not line.startswith("    ")]
    assert first_lines == [
        "valve.yaml:1: supply: is missing",
        "valve.yaml:4: effective_area: '105' has no unit",
        "valve.yaml:7: actuator_stroke: 1 in is shorter than the rated travel, 1-1/8 in",
        "valve.yaml:12: bench_range.lower_tolerance: '0.5 in' is a length",
        "valve.yaml:15: suply: is not a key of a valve profile",
        "valve.yaml:18: adjuster_thread: 'fine' is neither a thread nor a pitch",
    ]


def test_a_value_that_could_not_be_read_draws_no_second_complaint() -> None:
    """The range, the rate and the seat load are all judged by the area."""
    assert told(("105 in2", "105")).count("valve.yaml:") == 1
    assert told(("upper: 30 psi", "upper: 30")).count("valve.yaml:") == 1


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "valve.yaml:1: is empty\n    a valve profile is lines of the form key: value"),
        (
            "just words\n",
            "valve.yaml:1: holds 'just words'\n    a valve profile is lines of the form key: value",
        ),
    ],
)
def test_a_file_that_is_no_profile_at_all(text: str, expected: str) -> None:
    with pytest.raises(FileProblems) as caught:
        load_profile_text(text, "valve.yaml")
    assert str(caught.value) == expected


def test_what_is_no_yaml_is_told_with_the_line_where_reading_stopped() -> None:
    text = told(("  upper: 30 psi", "\tupper: 30 psi"))
    assert text.startswith("valve.yaml:10: is not YAML here: ")
    assert text.endswith("\n    often a tab, a missing space after a colon, a wrong indent or an open quote")


def test_a_file_that_is_not_there_and_one_that_is_no_text(tmp_path: Path) -> None:
    with pytest.raises(FileProblems, match=r"there is no such file\n    did you mean brine-letdown\?"):
        load_profile("brine-letdwn")
    (tmp_path / "valve.yaml").write_bytes(FILE.encode("utf-16"))
    with pytest.raises(FileProblems, match="is not text in UTF-8\n    save it as UTF-8 text"):
        load_profile(tmp_path / "valve.yaml")
    with pytest.raises(FileProblems, match="is a folder"):
        load_profile(tmp_path)
