"""Channels of a stand file: where each signal is, and what its raw number means."""

from collections.abc import Mapping
from math import isfinite

from rig.files import Section
from rig.stand.blocks import is_bits, words
from rig.stand.file_live import read_live
from rig.stand.file_parts import LAST_ADDRESS, address, known_word
from rig.stand.model import AnalogChannel, BitChannel, Calibration, Number, Scale, Table, WordOrder
from rig.units import Dimension

ANALOG_ROLES = {  # role: whether a stand must have it
    "demand_output": True,
    "stem_position": True,
    "casing_pressure": False,
    "supply_pressure": False,
    "demand_readback": False,
}
BIT_ROLES = (
    "emergency_stop_healthy",
    "guard_closed",
    "supply_valve",
    "vent_valve",
    "supply_valve_readback",
    "vent_valve_readback",
)
OUTPUTS = ("demand_output", "supply_valve", "vent_valve")
FLOAT32 = (-3.4028235e38, 3.4028235e38)
RANGES: Mapping[Number | None, tuple[float, float]] = {
    Number.INT16: (-32768.0, 32767.0),
    Number.UINT16: (0.0, 65535.0),
    Number.INT32: (-(2.0**31), 2.0**31 - 1),
    Number.UINT32: (0.0, 2.0**32 - 1),
    Number.FLOAT32: FLOAT32,
}
LONGEST_LAG_S = 5.0
LARGEST_ERROR = 0.2  # of span; beyond that the unit or the sign is wrong (assumption)


def dimension_of(role: str) -> Dimension:
    return Dimension.LENGTH if role == "stem_position" else Dimension.PRESSURE


def read_analog(section: Section, role: str) -> AnalogChannel | None:
    """None where anything is wrong with it."""
    before = len(section.document.problems)
    dimension = dimension_of(role)
    module, where = section.text("module", "inputs"), known_word(section, "table", Table)
    at = address(section, "address", where)
    number = known_word(section, "number", Number)
    order = section.choice("word_order", WordOrder, WordOrder.HIGH_FIRST)
    _check_words(section, where, number, at)
    scale = _scale(section, dimension, number)
    live = None if role in OUTPUTS else read_live(section, scale, RANGES.get(number, FLOAT32))
    calibration = _calibration(section, dimension, scale)
    lag_s = section.quantity_or_none("lag", Dimension.TIME) if role not in OUTPUTS else None
    if lag_s is not None and (lag_s < 0.0 or lag_s > LONGEST_LAG_S):
        section.problem("lag", f"{lag_s:g} s is out of range", f"from 0 s to {LONGEST_LAG_S:g} s")
    if role in OUTPUTS:
        _check_writable(section, where)
    section.finish()
    if where is None or number is None or scale is None or len(section.document.problems) != before:
        return None
    return AnalogChannel(
        role=role,
        module=module,
        table=where,
        address=at,
        number=number,
        word_order=order,
        scale=scale,
        live=live,
        calibration=calibration,
        lag_s=lag_s or 0.0,
    )


def _check_words(section: Section, where: Table | None, number: Number | None, at: int) -> None:
    if where is not None and is_bits(where):
        instead = "a number lies in holding registers or input registers"
        section.problem("table", f"{where.value} hold single bits", instead)
    if number is None or words(number) == 1:
        return
    if not section.has("word_order"):
        section.missing("word_order", "a number of two registers needs it: high word first or low word first")
    if at == LAST_ADDRESS:
        found = f"{at} is the last one, and {number.value} takes two registers"
        section.problem("address", found, f"at most {at - 1}")


def _check_writable(section: Section, where: Table | None) -> None:
    if where in (Table.INPUT, Table.DISCRETE):
        section.problem(
            "table", f"{where.value} can only be read", "an output is in holding registers or coils"
        )


def _scale(section: Section, dimension: Dimension, number: Number | None) -> Scale | None:
    """Two points raw -> quantity, the lower raw number first."""
    example = "{4000: 0 in, 20000: 2 in}" if dimension is Dimension.LENGTH else "{0: 0 psi, 27648: 100 psi}"
    points = section.section("scale", example)
    if points is None:
        return None
    before = len(section.document.problems)
    found: list[tuple[float, float]] = []
    for key in points.names:
        try:
            raw = float(int(key, 0)) if key.lower().startswith("0x") else float(key)
        except ValueError:
            points.problem(key, "is not a raw number", f"write raw: quantity, for example {example}")
            continue
        lowest, highest = RANGES.get(number, FLOAT32)
        if not isfinite(raw) or not lowest <= raw <= highest:
            what = "the register" if number is None else number.value
            points.problem(key, f"does not fit into {what}", f"it holds {lowest:.10g} to {highest:.10g}")
        found.append((raw, points.quantity(key, dimension)))
    found.sort()
    if len(points.names) != 2:
        section.problem("scale", f"has {len(points.names)} points", f"write two: {example}")
    elif len(found) == 2 and (found[0][0] == found[1][0] or found[0][1] == found[1][1]):
        section.problem("scale", "has two points that are alike", f"write two that differ: {example}")
    if len(section.document.problems) != before:
        return None
    return Scale(found[0][0], found[0][1], found[1][0], found[1][1])


def _calibration(section: Section, dimension: Dimension, scale: Scale | None) -> Calibration:
    calibrated, due = section.day_or_none("calibrated"), section.day_or_none("due")
    if calibrated is not None and due is not None and due <= calibrated:
        section.problem(
            "due", f"{due} is not after the calibration, {calibrated}", "which of the two is wrong?"
        )
    return Calibration(
        accuracy=_accuracy(section, dimension, scale),
        calibrated=calibrated,
        due=due,
        certificate=section.text_or_none("certificate") or "",
    )


def _accuracy(section: Section, dimension: Dimension, scale: Scale | None) -> float:
    """'0.1 % of span' or a quantity, half width [SI]."""
    text = section.text("accuracy", "0.1 % of span").lstrip("±").strip()
    if not text:
        return 0.0
    share = text.removesuffix("of span").strip() if text.endswith("of span") else ""
    if share:
        part = section.parsed("accuracy", share, Dimension.FRACTION)
        accuracy = part * (scale.span if scale else 1.0)
    elif "%" in text:
        section.problem("accuracy", f"'{text}' does not say per cent of what", "write 0.1 % of span")
        return 0.0
    else:
        accuracy = section.parsed("accuracy", text, dimension)
        part = accuracy / scale.span if scale else 0.01
    if part <= 0.0 or part > LARGEST_ERROR:
        section.problem(
            "accuracy", f"'{text}' is not believable", "a half width above zero, up to 20 % of span"
        )
    return accuracy


def read_bit(section: Section, role: str) -> BitChannel | None:
    """None where anything is wrong with it."""
    before = len(section.document.problems)
    module, where = section.text("module", "inputs"), known_word(section, "table", Table)
    at, bit = address(section, "address", where), section.whole_or_none("bit", 0, 15)
    if where is not None:
        _check_bit(section, where)
    if role in OUTPUTS:
        _check_writable(section, where)
    inverted = section.yes("inverted")
    section.finish()
    if where is None or len(section.document.problems) != before:
        return None
    return BitChannel(role=role, module=module, table=where, address=at, bit=bit, inverted=inverted)


def _check_bit(section: Section, where: Table) -> None:
    if is_bits(where) and section.has("bit"):
        section.problem("bit", f"{where.value} hold one bit each", "leave it out: the address names the bit")
    if not is_bits(where) and not section.has("bit"):
        section.missing(
            "bit", "a register holds sixteen: add it, for example: bit: 0 (the least significant)"
        )
