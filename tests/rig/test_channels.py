"""Registers to SI and back: every number type, both word orders, live range, bits, clamping."""

import struct
from dataclasses import replace
from math import inf, isnan, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.stand.channels import decode, decode_bit, encode, encode_bit, health_of, raw_value
from rig.stand.model import BitChannel, LiveRange, Number, Scale, Table, WordOrder
from safety.signals import Health

from .stands import MICROAMPERES, PSI, channel

HIGH, LOW = WordOrder.HIGH_FIRST, WordOrder.LOW_FIRST


def wired(number: Number, order: WordOrder = HIGH):  # type: ignore[no-untyped-def]
    plain = channel("demand output", "io", 0, 1.0, number=number, order=order, live=None)
    return replace(plain, scale=Scale(0.0, 0.0, 1.0, 1.0))


@pytest.mark.parametrize(
    ("number", "order", "registers", "raw"),
    [
        (Number.UINT16, HIGH, [0xFFFF], 65535),
        (Number.INT16, HIGH, [0x7FFF], 32767),
        (Number.INT16, HIGH, [0x8000], -32768),
        (Number.INT16, HIGH, [0xFFFF], -1),
        (Number.UINT32, HIGH, [0x1234, 0x5678], 0x12345678),
        (Number.UINT32, LOW, [0x5678, 0x1234], 0x12345678),
        (Number.INT32, HIGH, [0xFFFF, 0xFFFE], -2),
        (Number.INT32, LOW, [0xFFFE, 0xFFFF], -2),
        (Number.INT32, HIGH, [0x8000, 0x0000], -(2**31)),
        (Number.FLOAT32, HIGH, [0x42F6, 0xE979], 123.456001),  # IEC 60559 binary32 of 123.456
        (Number.FLOAT32, LOW, [0xE979, 0x42F6], 123.456001),
    ],
)
def test_a_number_is_read_in_its_type_and_word_order(
    number: Number, order: WordOrder, registers: list[int], raw: float
) -> None:
    assert raw_value(wired(number, order), registers) == pytest.approx(raw, rel=1e-8)


@pytest.mark.parametrize("order", [HIGH, LOW])
@pytest.mark.parametrize("number", list(Number))
@given(share=st.floats(0.0, 1.0))
def test_what_is_put_out_reads_back_within_half_a_count(
    number: Number, order: WordOrder, share: float
) -> None:
    low, high = {
        Number.INT16: (-(2**15), 2**15 - 1),
        Number.UINT16: (0, 2**16 - 1),
        Number.INT32: (-(2**31), 2**31 - 1),
        Number.UINT32: (0, 2**32 - 1),
        Number.FLOAT32: (-1e6, 1e6),
    }[number]
    value = low + share * (high - low)
    back = raw_value(wired(number, order), encode(wired(number, order), value))
    assert back == pytest.approx(value, abs=0.5, rel=1e-7)


@pytest.mark.parametrize(
    ("number", "value", "registers"),
    [
        (Number.UINT16, -5.0, (0,)),
        (Number.UINT16, 70000.0, (0xFFFF,)),
        (Number.INT16, -40000.0, (0x8000,)),
        (Number.INT16, 40000.0, (0x7FFF,)),
        (Number.INT32, 3e9, (0x7FFF, 0xFFFF)),
        (Number.UINT32, -1.0, (0, 0)),
        (Number.UINT16, 1e308, (0xFFFF,)),
    ],
)
def test_an_output_is_clamped_to_what_the_register_holds_and_never_wraps(
    number: Number, value: float, registers: tuple[int, ...]
) -> None:
    assert encode(wired(number), value) == registers


def test_a_float_too_big_for_its_registers_becomes_the_largest_one() -> None:
    high, low = encode(wired(Number.FLOAT32), 1e300)
    assert struct.unpack(">f", struct.pack(">HH", high, low))[0] == pytest.approx(3.4028235e38)


@pytest.mark.parametrize("value", [nan, inf, -inf])
def test_what_is_no_number_is_never_put_out(value: float) -> None:
    with pytest.raises(ValueError, match="demand output"):
        encode(wired(Number.UINT16), value)


@pytest.mark.parametrize(
    ("raw", "health"),
    [
        (3599, Health.FAILED),
        (3600, Health.FAILED),
        (3601, Health.OUT_OF_RANGE),
        (3799, Health.OUT_OF_RANGE),
        (3800, Health.GOOD),
        (20500, Health.GOOD),
        (20501, Health.OUT_OF_RANGE),
        (20999, Health.OUT_OF_RANGE),
        (21000, Health.FAILED),
        (nan, Health.FAILED),
    ],
)
def test_health_changes_exactly_at_the_edges_of_the_live_range(raw: float, health: Health) -> None:
    assert health_of(raw, MICROAMPERES) is health


def test_a_failed_signal_has_no_value_and_one_out_of_range_keeps_it() -> None:
    pressure = channel("casing pressure", "io", 0, 60 * PSI)
    failed, beyond = decode(pressure, [3500], 1.0), decode(pressure, [20800], 1.0)
    assert failed.health is Health.FAILED
    assert isnan(failed.value)
    assert beyond.health is Health.OUT_OF_RANGE
    assert beyond.value == pytest.approx(63 * PSI)
    assert beyond.time_s == 1.0


@pytest.mark.parametrize("registers", [[0x7FC0, 0], [0x7F80, 0], [0xFF80, 0]])  # NaN, +inf, -inf
def test_a_float_that_is_no_number_is_a_failed_signal(registers: list[int]) -> None:
    position = channel("stem position", "io", 0, 1.0, number=Number.FLOAT32)
    assert decode(position, registers, 0.0).health is Health.FAILED


def test_a_range_that_counts_downwards_is_read_right() -> None:
    falling = replace(wired(Number.UINT16), scale=Scale(20000, 0.0, 4000, 1.0), live=None)
    assert decode(falling, [12000], 0.0).value == pytest.approx(0.5)
    assert encode(falling, 1.0) == (4000,)


def test_live_range_counts_in_raw_values_of_signed_registers() -> None:
    signed = replace(wired(Number.INT16), live=LiveRange(-300, -100, 27648, 28000))
    assert decode(signed, [0x10000 - 100], 0.0).good
    assert decode(signed, [0x10000 - 300], 0.0).health is Health.FAILED


@pytest.mark.parametrize("inverted", [False, True])
@pytest.mark.parametrize("on", [False, True])
def test_a_bit_goes_out_and_comes_back_in_its_own_sense(on: bool, inverted: bool) -> None:
    coil = BitChannel("vent valve", "io", Table.COILS, 0, inverted=inverted)
    assert decode_bit(coil, encode_bit(coil, on)) is on
    assert encode_bit(coil, on) == int(on != inverted)


@pytest.mark.parametrize("bit", [0, 7, 15])
def test_a_bit_in_a_register_is_taken_from_its_own_place(bit: int) -> None:
    inside = BitChannel("guard", "io", Table.HOLDING, 0, bit=bit)
    assert decode_bit(inside, 1 << bit)
    assert not decode_bit(inside, 0xFFFF ^ 1 << bit)
