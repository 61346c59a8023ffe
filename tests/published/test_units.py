"""Our unit factors against NIST SP 811, against exact definitions, and against pint."""

import csv
from fractions import Fraction
from importlib.metadata import version
from pathlib import Path
from random import Random

import pint
import pytest

from rig.units import FACTORS, SI, UNIT_SETS, Dimension, UnitError, parse

PINT = pint.UnitRegistry()
WITH_PINT = f"pint {version('pint')}"

# NIST SP 811, Appendix B.8, rows as printed there; full values from the definitions (rational numbers).
TABLE = Path(__file__).parent / "data" / "nist_sp811_units.csv"
DIMENSIONS = {
    "in": Dimension.LENGTH,
    "ft": Dimension.LENGTH,
    "in2": Dimension.AREA,
    "in3": Dimension.VOLUME,
    "lb": Dimension.MASS,
    "lbf": Dimension.FORCE,
}
INCH, POUND, GRAVITY = Fraction("0.0254"), Fraction("0.45359237"), Fraction("9.80665")  # exact, SP 811 B.8


def rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def ours(row: dict[str, str]) -> float:
    """Our factor from the row's unit to its target."""
    unit = row["from"].removesuffix(" conventional")
    factor = parse(f"1 {unit}", DIMENSIONS.get(unit, Dimension.PRESSURE))
    return factor / 1000 if row["to"] == "kPa" else factor


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['from']}-{row['to']}")
def test_factor_is_that_of_the_definitions(row: dict[str, str]) -> None:
    assert ours(row) == pytest.approx(float(row["full_value_from_definitions"]), rel=1e-14)


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['from']}-{row['to']}")
def test_factor_rounds_to_the_printed_one(row: dict[str, str]) -> None:
    printed = row["printed_factor"]
    mantissa, exponent = printed.split("E")
    digits = len(mantissa.partition(".")[2])
    unit_of_last_digit = 10.0 ** (int(exponent) - digits)
    assert abs(ours(row) - float(printed)) <= 0.5 * unit_of_last_digit * (1 + 1e-9)
    if row["exact_in_table"] == "yes":
        assert ours(row) == pytest.approx(float(printed), rel=1e-15)


@pytest.mark.parametrize(
    ("text", "dimension", "exact"),
    [
        ("1 psi", Dimension.PRESSURE, POUND * GRAVITY / INCH**2),
        ("1 lbf", Dimension.FORCE, POUND * GRAVITY),
        ("1 lbf/in", Dimension.SPRING_RATE, POUND * GRAVITY / INCH),  # 0.17512683524647638 N/mm
        ("1 in²", Dimension.AREA, INCH**2),
        ("1 in³", Dimension.VOLUME, INCH**3),
        ("1 ft", Dimension.LENGTH, 12 * INCH),
        ("1 inHg", Dimension.PRESSURE, Fraction("13595.1") * GRAVITY * INCH),  # conventional mercury
        ("1 mmHg", Dimension.PRESSURE, Fraction("13.5951") * GRAVITY),
        ("1 inH2O", Dimension.PRESSURE, 1000 * GRAVITY * INCH),  # conventional water
        ("1 bar", Dimension.PRESSURE, Fraction(100_000)),
        ("1 atm", Dimension.PRESSURE, Fraction(101_325)),
    ],
)
def test_factor_equals_the_rational_number(text: str, dimension: Dimension, exact: Fraction) -> None:
    assert parse(text, dimension) == pytest.approx(float(exact), rel=1e-14)


def test_spring_rate_in_newtons_per_millimetre() -> None:
    # computed from the definitions: 0.17512683524647638 N/mm
    rate = parse("1 lbf/in", Dimension.SPRING_RATE)
    assert UNIT_SETS["bar"].to(Dimension.SPRING_RATE, rate) == pytest.approx(0.17512683524647638, rel=1e-14)


def pint_name(unit: str) -> str:
    other = {"/s": "1/s", "/min": "1/min", "%": "percent", "kgf/cm²": "kgf/cm**2"}
    return other.get(unit, unit.replace("²", "**2").replace("³", "**3").replace("µ", "u"))


@pytest.mark.parametrize(
    ("dimension", "unit"), [(dimension, unit) for dimension, units in FACTORS.items() for unit in units]
)
def test_every_factor_is_that_of_pint(dimension: Dimension, unit: str) -> None:
    si = SI.get(dimension, "")
    expected = PINT.Quantity(1.0, pint_name(unit)).to(pint_name(si)).magnitude
    assert FACTORS[dimension][unit] == pytest.approx(expected, rel=1e-14), WITH_PINT


def test_round_trips_agree_with_pint() -> None:
    random = Random(811)
    for _ in range(200):
        dimension = random.choice([d for d in FACTORS if d in SI])
        unit = random.choice(list(FACTORS[dimension]))
        number = random.uniform(-1.0, 1.0) * 10.0 ** random.uniform(-3.0, 6.0)
        si = parse(f"{number!r} {unit}" if "e" not in repr(number) else f"{number:.12f} {unit}", dimension)
        expected = PINT.Quantity(number, pint_name(unit)).to(pint_name(SI[dimension])).magnitude
        assert si == pytest.approx(expected, rel=1e-12, abs=1e-12), f"{number} {unit}, {WITH_PINT}"
        units = UNIT_SETS[random.choice(list(UNIT_SETS))]
        assert units.to(dimension, si) * FACTORS[dimension][units.symbol(dimension)] == pytest.approx(
            si, rel=1e-12
        )


@pytest.mark.parametrize("unit", ["psia", "bara", "bar abs", "kPa absolute", "psi(a)", "kPaa", "PSIA"])
def test_an_absolute_pressure_is_never_taken_for_a_gauge_pressure(unit: str) -> None:
    with pytest.raises(UnitError, match="is an absolute pressure"):
        parse(f"101.325 {unit}", Dimension.PRESSURE)
