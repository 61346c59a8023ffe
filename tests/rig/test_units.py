"""What people write is read, what cannot be meant is refused in their words, and both come back as text."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.analysis.result import QUANTITIES
from rig.analysis.terms import TERMS
from rig.units import (
    FACTORS,
    PSI_PA,
    QUANTITY_DIMENSION,
    UNIT_SETS,
    Dimension,
    UnitError,
    examples,
    inches_text,
    parse,
)

INCH = 0.0254


@pytest.mark.parametrize(
    "text",
    [
        "1-1/8 in", "1 1/8 in", "1 - 1/8 in", '1-1/8"', "1-1/8″", "9/8 in", "1.125 in", "1.125in", "1.125 IN",
        "1.125 inch", "+1.125 in", "28.575 mm", "2.8575 cm", "0.028575 m", "28575 µm", "28575 um",
        "1.125e0 in", "  1-1/8   in ",
    ],
)  # fmt: skip
def test_one_and_an_eighth_inches(text: str) -> None:
    assert parse(text, Dimension.LENGTH) == pytest.approx(1.125 * INCH, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("30 psi", Dimension.PRESSURE, 30 * PSI_PA),
        ("30 psig", Dimension.PRESSURE, 30 * PSI_PA),
        ("30 PSI", Dimension.PRESSURE, 30 * PSI_PA),
        ("2 barg", Dimension.PRESSURE, 2e5),
        ("-5 kPa", Dimension.PRESSURE, -5e3),
        ("−5 kPa", Dimension.PRESSURE, -5e3),
        (".5 bar", Dimension.PRESSURE, 5e4),
        ("3 MPa", Dimension.PRESSURE, 3e6),
        ("105 in²", Dimension.AREA, 105 * INCH**2),
        ("105 in2", Dimension.AREA, 105 * INCH**2),
        ("105 in^2", Dimension.AREA, 105 * INCH**2),
        ("105 sq in", Dimension.AREA, 105 * INCH**2),
        ("105 sq. in.", Dimension.AREA, 105 * INCH**2),
        ("5 N per mm", Dimension.SPRING_RATE, 5e3),
        ("5 N / mm", Dimension.SPRING_RATE, 5e3),
        ("2 psi per second", Dimension.PRESSURE_RATE, 2 * PSI_PA),
        ("0.1 %", Dimension.FRACTION, 1e-3),
        ("0.1%", Dimension.FRACTION, 1e-3),
        ("5 percent", Dimension.FRACTION, 0.05),
        ("50 scans/s", Dimension.FREQUENCY, 50.0),
        ("50 Hz", Dimension.FREQUENCY, 50.0),
        ("50 1/s", Dimension.FREQUENCY, 50.0),
        ("500 ms", Dimension.TIME, 0.5),
        ("20 mA", Dimension.CURRENT, 0.02),
        ("2 furlong", Dimension.LENGTH, 402.336),  # by pint: not in our table
    ],
)
def test_quantities_as_people_write_them(text: str, dimension: Dimension, si: float) -> None:
    assert parse(text, dimension) == pytest.approx(si, rel=1e-4 if "furlong" in text else 1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        (
            "1.125",
            Dimension.LENGTH,
            "'1.125' has no unit; write it with one, for example: 1-1/8 in, 1.125 in or 28.6 mm",
        ),
        (
            "30",
            Dimension.PRESSURE,
            "'30' has no unit; write it with one, for example: 30 psi, 2.07 bar or 207 kPa",
        ),
        (
            "4 N",
            Dimension.LENGTH,
            "'4 N' is a force; a length is wanted, for example: 1-1/8 in, 1.125 in or 28.6 mm",
        ),
        (
            "30 mm",
            Dimension.AREA,
            "'30 mm' is a length; an area is wanted, for example: 105 in² or 677 cm²",
        ),
        (
            "3 bar abs",
            Dimension.PRESSURE,
            "'3 bar abs' is an absolute pressure; all pressures here are gauge, above the room's air: "
            "for example 20 psi, 1.38 bar or 138 kPa",
        ),
        (
            "1,5 in",
            Dimension.LENGTH,
            "'1,5 in' has a comma in its number; write it with a decimal point and no commas",
        ),
        (
            "690 lb",
            Dimension.FORCE,
            "'690 lb' is a mass; a force in pounds is written lbf, in kilograms kgf",
        ),
        (
            "1867 lb/in",
            Dimension.SPRING_RATE,
            "'1867 lb/in': 'lb' is a mass; a spring rate in pounds is written lbf/in",
        ),
        (
            "30 mpa",
            Dimension.PRESSURE,
            "'30 mpa': 'mpa' is not a unit that is known here; for example: 20 psi, 1.38 bar or 138 kPa",
        ),
        (
            "20 degC",
            Dimension.PRESSURE,
            "'20 degC' is a different quantity; a pressure is wanted, for example: "
            "20 psi, 1.38 bar or 138 kPa",
        ),
        (
            "about 30 psi",
            Dimension.PRESSURE,
            "'about 30 psi' is not a number with a unit; for example: 20 psi, 1.38 bar or 138 kPa",
        ),
        ("1/0 in", Dimension.LENGTH, "'1/0 in' divides by zero; for example: 1-1/8 in, 1.125 in or 28.6 mm"),
        (
            "1e999 in",
            Dimension.LENGTH,
            "'1e999 in' is too large for a number; for example: 1-1/8 in, 1.125 in or 28.6 mm",
        ),
        ("0.1", Dimension.FRACTION, "'0.1' has no unit; write it with one, for example: 0.1 %"),
        ("50", Dimension.FREQUENCY, "'50' has no unit; write it with one, for example: 50 scans/s"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(text: str, dimension: Dimension, says: str) -> None:
    with pytest.raises(UnitError) as error:
        parse(text, dimension)
    assert str(error.value) == says
    assert f"{error.value.found}; {error.value.would_do}" == says


@pytest.mark.parametrize(
    "text", ["", "in", "1.2.3 in", "1-1/8/2 in", "--3 in", "nan in", "inf psi", "1_0 in"]
)
def test_no_number_is_made_of_what_is_none(text: str) -> None:
    with pytest.raises(UnitError):
        parse(text, Dimension.LENGTH)


@pytest.mark.parametrize("dimension", list(Dimension))
def test_the_examples_that_errors_propose_can_be_read(dimension: Dimension) -> None:
    proposed = examples(dimension).replace(" or ", ", ").split(", ")
    values = [parse(text, dimension) for text in proposed]
    assert values == pytest.approx([values[0]] * len(values), rel=5e-3)


@given(st.text(max_size=20), st.sampled_from([d for d in Dimension if d is not Dimension.CURRENT]))
def test_any_text_is_read_or_refused_never_more(text: str, dimension: Dimension) -> None:
    try:
        assert isinstance(parse(text, dimension), float)
    except UnitError as error:
        assert error.found  # noqa: PT017 - either outcome is right
        assert error.would_do  # noqa: PT017


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (1.125, "1-1/8 in"),
        (0.75, "3/4 in"),
        (4.0, "4 in"),
        (1 / 64, "1/64 in"),
        (1.1254, "1-1/8 in"),  # within 0.0005 in
        (1.1256, "1.126 in"),  # not within it
        (1.13, "1.13 in"),
        (0.0, "0 in"),
        (0.0004, "0 in"),
        (-1.5, "-1-1/2 in"),
        (float("nan"), "nan in"),
    ],
)
def test_inches_as_people_say_them(inches: float, text: str) -> None:
    assert inches_text(inches * INCH) == text


@given(st.integers(1, 64 * 20))
def test_every_sixty_fourth_comes_back(ticks: int) -> None:
    assert parse(inches_text(ticks / 64 * INCH), Dimension.LENGTH) == pytest.approx(
        ticks / 64 * INCH, rel=1e-12
    )


PSI_SET, BAR_SET, KPA_SET = UNIT_SETS["psi"], UNIT_SETS["bar"], UNIT_SETS["kPa"]


def test_usual_decimals_without_idle_zeros() -> None:
    assert PSI_SET.text(Dimension.PRESSURE, 30 * PSI_PA) == "30 psi"
    assert PSI_SET.text(Dimension.PRESSURE, 10.256 * PSI_PA) == "10.26 psi"
    assert BAR_SET.text(Dimension.PRESSURE, 30 * PSI_PA) == "2.068 bar"
    assert KPA_SET.text(Dimension.PRESSURE, 30 * PSI_PA) == "206.8 kPa"
    assert BAR_SET.text(Dimension.LENGTH, 1.125 * INCH) == "28.6 mm"
    assert PSI_SET.text(Dimension.FORCE, 3558.6) == "800 lbf"
    assert PSI_SET.text(Dimension.FREQUENCY, 50.0) == "50/s"


def test_significant_digits_or_decimals_on_request() -> None:
    assert PSI_SET.text(Dimension.AREA, 105 * INCH**2, 3) == "105 in²"
    assert PSI_SET.text(Dimension.LENGTH, 0.0021 * INCH, 2) == "0.0021 in"
    assert PSI_SET.text(Dimension.PRESSURE, 12.3 * PSI_PA, decimals=2) == "12.30 psi"
    assert PSI_SET.text(Dimension.FORCE, 123456.0, 2) == "28000 lbf"
    assert PSI_SET.text(Dimension.PRESSURE, -1e-9, decimals=None) == "0 psi"


@pytest.mark.parametrize("units", UNIT_SETS.values(), ids=lambda units: units.name)
def test_every_set_speaks_of_every_dimension(units) -> None:  # type: ignore[no-untyped-def]
    for dimension in Dimension:
        assert units.symbol(dimension) in FACTORS[dimension]


def test_every_quantity_of_a_result_has_a_dimension() -> None:
    assert set(QUANTITY_DIMENSION) == {*QUANTITIES, *TERMS}


def test_everyday_units_need_no_unit_registry() -> None:
    """A start must be quick: pint alone takes a third of a second."""
    code = (
        "import sys; from rig.profile.load import load_profile; from rig.stand.file import load_stand;"
        "load_profile('brine-letdown'); load_stand('simulated'); sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
