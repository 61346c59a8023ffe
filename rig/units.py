"""Text to SI floats and back. All pressures are gauge; inch fractions are read and written.

The units that shops use have their factors here, so that a start needs no unit registry (0.3 s); any other
unit is asked of the one pint registry. `tests/rig/test_units.py` holds every factor against pint.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from math import floor, isfinite, log10
from typing import Any


class Dimension(StrEnum):
    """What kind of quantity a number is; the value is how people call it."""

    PRESSURE = "pressure"
    LENGTH = "length"
    AREA = "area"
    FORCE = "force"
    SPRING_RATE = "spring rate"
    LINE_LOAD = "load per length"
    PRESSURE_RATE = "pressure rate"
    TIME = "time"
    FREQUENCY = "rate of scans"
    MASS = "mass"
    VOLUME = "volume"
    CURRENT = "current"
    FRACTION = "fraction"


INCH_M = 0.0254  # exact (NIST SP 811, B.8)
POUND_KG = 0.45359237  # exact (NIST SP 811, B.8)
LBF_N = POUND_KG * 9.80665  # standard gravity, exact (NIST SP 811, B.8)
PSI_PA = LBF_N / INCH_M**2

# Symbol as written -> SI.
_PER_LENGTH = {
    "lbf/in": LBF_N / INCH_M,
    "N/mm": 1e3,
    "kN/m": 1e3,
    "N/m": 1.0,
    "lbf/ft": LBF_N / (12 * INCH_M),
    "kgf/mm": 9806.65,
}
FACTORS: Mapping[Dimension, Mapping[str, float]] = {
    Dimension.PRESSURE: {
        "psi": PSI_PA,
        "bar": 1e5,
        "kPa": 1e3,
        "mbar": 1e2,
        "MPa": 1e6,
        "hPa": 1e2,
        "Pa": 1.0,
        "kgf/cm²": 98066.5,
        "inH2O": 249.08891,  # conventional (NIST SP 811, B.8)
        "inHg": 3386.388640341,  # conventional, 13595.1 kg/m3 x 9.80665 m/s2 x 0.0254 m
        "mmHg": 133.322387415,
    },
    Dimension.LENGTH: {"in": INCH_M, "mm": 1e-3, "cm": 1e-2, "m": 1.0, "µm": 1e-6, "ft": 12 * INCH_M},
    Dimension.AREA: {"in²": INCH_M**2, "cm²": 1e-4, "m²": 1.0, "mm²": 1e-6, "ft²": (12 * INCH_M) ** 2},
    Dimension.FORCE: {"lbf": LBF_N, "N": 1.0, "kN": 1e3, "kgf": 9.80665, "kip": 1e3 * LBF_N},
    Dimension.SPRING_RATE: _PER_LENGTH,
    Dimension.LINE_LOAD: _PER_LENGTH,
    Dimension.PRESSURE_RATE: {
        "psi/s": PSI_PA,
        "bar/s": 1e5,
        "kPa/s": 1e3,
        "mbar/s": 1e2,
        "Pa/s": 1.0,
        "psi/min": PSI_PA / 60,
        "bar/min": 1e5 / 60,
        "kPa/min": 1e3 / 60,
    },
    Dimension.TIME: {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0},
    Dimension.FREQUENCY: {"/s": 1.0, "Hz": 1.0, "/min": 1 / 60},
    Dimension.MASS: {"kg": 1.0, "lb": POUND_KG, "g": 1e-3},
    Dimension.VOLUME: {"in³": INCH_M**3, "L": 1e-3, "cm³": 1e-6, "m³": 1.0, "ft³": (12 * INCH_M) ** 3},
    Dimension.CURRENT: {"mA": 1e-3, "A": 1.0, "µA": 1e-6},
    Dimension.FRACTION: {"%": 1e-2, "ppm": 1e-6},
}
PROPOSED: Mapping[Dimension, tuple[str, ...]] = {  # by errors
    Dimension.PRESSURE: ("psi", "bar", "kPa"),
    Dimension.LENGTH: ("in", "mm"),
    Dimension.AREA: ("in²", "cm²"),
    Dimension.FORCE: ("lbf", "N"),
    Dimension.SPRING_RATE: ("lbf/in", "N/mm"),
    Dimension.LINE_LOAD: ("lbf/in", "N/mm"),
    Dimension.PRESSURE_RATE: ("psi/s", "bar/s", "kPa/s"),
    Dimension.TIME: ("s", "ms"),
    Dimension.FREQUENCY: ("/s",),
    Dimension.MASS: ("lb", "kg"),
    Dimension.VOLUME: ("in³", "L"),
    Dimension.CURRENT: ("mA", "µA"),
    Dimension.FRACTION: ("%",),
}
SI = {
    Dimension.PRESSURE: "Pa",
    Dimension.LENGTH: "m",
    Dimension.AREA: "m²",
    Dimension.FORCE: "N",
    Dimension.SPRING_RATE: "N/m",
    Dimension.LINE_LOAD: "N/m",
    Dimension.PRESSURE_RATE: "Pa/s",
    Dimension.TIME: "s",
    Dimension.FREQUENCY: "Hz",
    Dimension.MASS: "kg",
    Dimension.VOLUME: "m³",
    Dimension.CURRENT: "A",
}
_SPELLINGS = {  # other ways of writing a unit, after `_tidy`
    '"': "in", "″": "in", "inch": "in", "inches": "in", "'": "ft", "foot": "ft", "feet": "ft", "um": "µm",
    "sq in": "in²", "square inch": "in²", "square inches": "in²", "sq cm": "cm²", "sq mm": "mm²",
    "sq m": "m²", "cu in": "in³", "l": "L", "ml": "cm³", "cc": "cm³", "psig": "psi", "barg": "bar",
    "psi gauge": "psi", "bar gauge": "bar", "kPa gauge": "kPa", "kPag": "kPa", "uA": "µA",
    "inwc": "inH2O", "lbs": "lb", "sec": "s", "second": "s", "seconds": "s", "minute": "min",
    "minutes": "min", "hour": "h", "hours": "h", "percent": "%", "per cent": "%", "scans/s": "/s",
    "1/s": "/s", "scan/s": "/s", "scans/second": "/s", "lbf/inch": "lbf/in", "psi/sec": "psi/s",
    "lbs/in": "lb/in",
}  # fmt: skip
_ABSOLUTE = re.compile(r"^(psi|bar|mbar|[kMh]?Pa)(a|\(a\)| ?abs\.?| absolute)$", re.IGNORECASE)
_NUMBER = re.compile(
    r"^(?P<sign>[-+−]?) *(?:(?:(?P<whole>\d+)(?: *- *| +))?(?P<over>\d+) */ *(?P<under>\d+)"
    r"|(?P<decimal>(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?))(?P<rest>(?![\d.,]).*)$",
    re.DOTALL,
)


class UnitError(ValueError):
    """What is wrong with the text of a quantity, and what would do instead."""

    def __init__(self, found: str, would_do: str) -> None:
        super().__init__(f"{found}; {would_do}")
        self.found = found
        self.would_do = would_do


def parse(text: str, dimension: Dimension) -> float:
    """The quantity in SI: '30 psi', '1-1/8 in', '0.1 %'. Raises UnitError."""
    number, unit = _split(text.strip(), dimension)
    if not unit:
        raise UnitError(
            f"'{text}' has no unit", f"write it with one, for example: {_like(number, dimension)}"
        )
    value = number * _factor(text, unit, dimension)
    if not isfinite(value):
        raise UnitError(f"'{text}' is too large for a number", f"for example: {examples(dimension)}")
    return value


def examples(dimension: Dimension) -> str:
    """Quantities of that dimension that `parse` takes, as a list in words."""
    usual = {
        Dimension.LENGTH: 1.125,
        Dimension.AREA: 105.0,
        Dimension.SPRING_RATE: 1200.0,
        Dimension.TIME: 0.5,
    }
    return _like(usual.get(dimension, 20.0), dimension)


def _split(text: str, dimension: Dimension) -> tuple[float, str]:
    """Number and unit. Raises UnitError."""
    match = _NUMBER.match(text)
    if match is None:
        if re.match(r"^[-+−]?\d+,\d", text):
            raise UnitError(
                f"'{text}' has a comma in its number", "write it with a decimal point and no commas"
            )
        raise UnitError(f"'{text}' is not a number with a unit", f"for example: {examples(dimension)}")
    sign = -1.0 if match["sign"] in ("-", "−") else 1.0
    if match["decimal"]:
        return sign * float(match["decimal"]), match["rest"].strip()
    if int(match["under"]) == 0:
        raise UnitError(f"'{text}' divides by zero", f"for example: {examples(dimension)}")
    return sign * (int(match["whole"] or 0) + int(match["over"]) / int(match["under"])), match["rest"].strip()


def _factor(text: str, unit: str, dimension: Dimension) -> float:
    """SI per unit. Raises UnitError for a unit that is none, or of another dimension."""
    if _ABSOLUTE.match(unit):
        raise UnitError(
            f"'{text}' is an absolute pressure",
            f"all pressures here are gauge, above the room's air: for example {examples(Dimension.PRESSURE)}",
        )
    name = _known_spelling(unit)
    factor = FACTORS[dimension].get(name)
    if factor is not None:
        return factor
    for other, symbols in FACTORS.items():
        if name in symbols:
            raise _wrong_dimension(text, other, dimension)
    if name == "lb/in":
        raise UnitError(f"'{text}': 'lb' is a mass", "a spring rate in pounds is written lbf/in")
    return _asked_of_pint(text, name, dimension)


def _wrong_dimension(text: str, found: str, wanted: Dimension) -> UnitError:
    if wanted is Dimension.FORCE and found == Dimension.MASS:
        return UnitError(f"'{text}' is a mass", "a force in pounds is written lbf, in kilograms kgf")
    return UnitError(f"'{text}' is {_a(found)}", f"{_a(wanted)} is wanted, for example: {examples(wanted)}")


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeio' else 'a'} {noun}"


def _known_spelling(unit: str) -> str:
    tidy = _tidy(unit)
    tidy = _SPELLINGS.get(tidy, tidy)
    return tidy if tidy in _symbols() else _folded().get(tidy.casefold(), tidy)


def _tidy(unit: str) -> str:
    """One way of writing squares, slashes and micro."""
    unit = unit.replace("μ", "µ").replace("·", "*")
    unit = re.sub(r"\s+per\s+|\s*/\s*", "/", unit)
    unit = re.sub(r"(?<=[a-zA-Z])\^?2(?![\dA-Za-z])", "²", unit)
    unit = re.sub(r"(?<=[a-zA-Z])\^?3(?![\dA-Za-z])", "³", unit)
    return re.sub(r"\bsq\.?\s+", "sq ", re.sub(r"\s+", " ", unit)).removesuffix(".")


@cache
def _symbols() -> frozenset[str]:
    return frozenset(symbol for symbols in FACTORS.values() for symbol in symbols)


@cache
def _folded() -> dict[str, str]:
    """Unambiguous symbols and spellings without regard to case: 'PSI', 'Bar', 'MM', but not 'mpa'."""
    folded: dict[str, set[str]] = {}
    for symbol in _symbols():
        folded.setdefault(symbol.casefold(), set()).add(symbol)
    for spelling, symbol in _SPELLINGS.items():
        folded.setdefault(spelling.casefold(), set()).add(symbol)
    prefixed = {"mpa", "m", "n"}  # milli and mega, metre and million, newton and nano: case matters
    return {key: min(names) for key, names in folded.items() if len(names) == 1 and key not in prefixed}


@cache
def registry() -> Any:
    """The one pint registry, made when a unit comes that is not in the table."""
    import pint

    return pint.UnitRegistry()


def _asked_of_pint(text: str, unit: str, dimension: Dimension) -> float:
    """SI per unit by pint. Raises UnitError."""
    unknown = UnitError(
        f"'{text}': '{unit}' is not a unit that is known here", f"for example: {examples(dimension)}"
    )
    si = SI.get(dimension)
    if si is None or not re.fullmatch(r"[A-Za-zµ°²³0-9*/^ ]+", unit):
        raise unknown
    try:
        quantity = registry().Quantity(1.0, unit.replace("²", "**2").replace("³", "**3"))
        to_si = {d: registry().Unit(s.replace("²", "**2").replace("³", "**3")) for d, s in SI.items()}
        if quantity.is_compatible_with(to_si[dimension]):
            return float(quantity.to(to_si[dimension]).magnitude)
    except Exception as error:
        raise unknown from error  # pint raises what its parser met: there is no common class
    other = next((d.value for d, u in to_si.items() if quantity.is_compatible_with(u)), "different quantity")
    raise _wrong_dimension(text, other, dimension)


def _like(number: float, dimension: Dimension) -> str:
    """`number`, taken in the first unit proposed, in each of them: '1-1/8 in, 1.125 in or 28.6 mm'."""
    factors, units = FACTORS[dimension], PROPOSED[dimension]
    first = factors[units[0]]
    numbers = [number, *(number * first / factors[unit] for unit in units[1:])]
    shown = [f"{_short(n, 6 if n is number else 3)} {unit}" for n, unit in zip(numbers, units, strict=True)]
    if dimension is Dimension.LENGTH and "/" in inches_text(number * INCH_M):
        shown.insert(0, inches_text(number * INCH_M))
    return (
        ", ".join(shown[:-1]) + f" or {shown[-1]}" if len(shown) > 1 else shown[0].replace(" /s", " scans/s")
    )


def _short(value: float, significant: int) -> str:
    """Up to so many significant digits, no exponent for everyday sizes, no idle zeros."""
    if value == 0.0 or not isfinite(value):
        return f"{value:g}"
    decimals = significant - 1 - floor(log10(abs(value)))
    if decimals > 12 or decimals < -12:
        return f"{value:.{significant}g}"
    return _no_idle_zeros(f"{round(value, decimals):.{max(0, decimals)}f}")


def _no_idle_zeros(text: str) -> str:
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def inches_text(metres: float) -> str:
    """'1-1/8 in': a fraction where the length is within 0.0005 in of a 1/64, else decimal."""
    inches = metres / INCH_M
    ticks = round(abs(inches) * 64) if isfinite(inches) else 0
    if ticks == 0 or abs(abs(inches) - ticks / 64) > 0.0005:
        return f"{_no_idle_zeros(f'{inches:.3f}')} in"
    whole, over, under = ticks // 64, ticks % 64, 64
    while over and over % 2 == 0:
        over, under = over // 2, under // 2
    fraction = f"{over}/{under}" if over else ""
    sign = "-" if inches < 0 else ""
    return f"{sign}{'-'.join(part for part in (str(whole) if whole else '', fraction) if part)} in"


@dataclass(frozen=True, slots=True)
class UnitSet:
    """The units that a person reads in."""

    name: str
    symbols: Mapping[Dimension, str]

    def symbol(self, dimension: Dimension) -> str:
        return self.symbols[dimension]

    def to(self, dimension: Dimension, si: float) -> float:
        """The number in this set's unit of an SI value."""
        return si / FACTORS[dimension][self.symbols[dimension]]

    def text(
        self, dimension: Dimension, si: float, digits: int | None = None, decimals: int | None = None
    ) -> str:
        """'30 psi'. `digits` significant digits without idle zeros, or so many `decimals` with them;
        with neither, the decimals that are usual for the unit, without idle zeros."""
        symbol, value = self.symbols[dimension], self.to(dimension, si)
        if decimals is not None:
            shown = f"{value:.{decimals}f}"
        elif digits is not None:
            shown = _short(value, digits)
        else:
            shown = _no_idle_zeros(f"{value:.{USUAL_DECIMALS.get(symbol, 2)}f}")
        return f"{shown}{symbol}" if symbol == "/s" else f"{shown} {symbol}"


USUAL_DECIMALS = {
    "psi": 2, "bar": 3, "kPa": 1, "in": 3, "mm": 1, "lbf": 0, "N": 0, "in²": 1, "cm²": 0, "lbf/in": 0,
    "N/mm": 1, "psi/s": 2, "bar/s": 3, "kPa/s": 1, "s": 1, "/s": 0, "lb": 1, "kg": 1, "in³": 1, "L": 2,
    "mA": 2, "%": 2,
}  # fmt: skip


def _unit_set(name: str, pressure: str, metric: bool) -> UnitSet:
    return UnitSet(
        name,
        {
            Dimension.PRESSURE: pressure,
            Dimension.PRESSURE_RATE: f"{pressure}/s",
            Dimension.LENGTH: "mm" if metric else "in",
            Dimension.AREA: "cm²" if metric else "in²",
            Dimension.FORCE: "N" if metric else "lbf",
            Dimension.SPRING_RATE: "N/mm" if metric else "lbf/in",
            Dimension.LINE_LOAD: "N/mm" if metric else "lbf/in",
            Dimension.MASS: "kg" if metric else "lb",
            Dimension.VOLUME: "L" if metric else "in³",
            Dimension.TIME: "s",
            Dimension.FREQUENCY: "/s",
            Dimension.CURRENT: "mA",
            Dimension.FRACTION: "%",
        },
    )


UNIT_SETS: Mapping[str, UnitSet] = {
    "psi": _unit_set("psi", "psi", metric=False),
    "bar": _unit_set("bar", "bar", metric=True),
    "kPa": _unit_set("kPa", "kPa", metric=True),
}

QUANTITY_DIMENSION: Mapping[str, Dimension] = {
    "lift_off": Dimension.PRESSURE,
    "sliding_intercept": Dimension.PRESSURE,
    "full_travel": Dimension.PRESSURE,
    "return_start": Dimension.PRESSURE,
    "reseat": Dimension.PRESSURE,
    "travel": Dimension.LENGTH,
    "friction": Dimension.FORCE,
    "spring_rate": Dimension.SPRING_RATE,
    "spring_only_lower": Dimension.PRESSURE,
    "spring_only_upper": Dimension.PRESSURE,
    "seat_load": Dimension.FORCE,
    "hysteresis": Dimension.PRESSURE,
    # Terms of a step-and-settle run: shares of rated travel, of dead band: of the input span.
    "inaccuracy_above": Dimension.FRACTION,
    "inaccuracy_below": Dimension.FRACTION,
    "travel_hysteresis": Dimension.FRACTION,
    "dead_band": Dimension.FRACTION,
    "non_repeatability": Dimension.FRACTION,
    "linearity_terminal": Dimension.FRACTION,
    "linearity_independent": Dimension.FRACTION,
    "linearity_zero_based": Dimension.FRACTION,
}
