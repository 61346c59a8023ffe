"""Registers to SI and back: number types, word order, live range, bits."""

import struct
from collections.abc import Callable, Sequence
from math import isfinite, nan

from rig.stand.model import AnalogChannel, BitChannel, LiveRange, Number, WordOrder
from safety.signals import Health, Signal

SPAN = {
    Number.INT16: (-(2**15), 2**15 - 1),
    Number.UINT16: (0, 2**16 - 1),
    Number.INT32: (-(2**31), 2**31 - 1),
    Number.UINT32: (0, 2**32 - 1),
}
LARGEST_FLOAT32 = 3.4028234663852886e38  # IEC 60559 binary32: (2 - 2**-23) * 2**127

Decoder = Callable[[Sequence[int], int, float], Signal]


def raw_value(channel: AnalogChannel, registers: Sequence[int]) -> float:
    """The number in the channel's registers, word order applied; nan for a float that is none."""
    if channel.number is Number.UINT16:
        return registers[0]
    if channel.number is Number.INT16:
        return registers[0] - 65536 if registers[0] > 32767 else registers[0]
    high, low = registers[0], registers[1]
    if channel.word_order is WordOrder.LOW_FIRST:
        high, low = low, high
    joined = high << 16 | low
    if channel.number is Number.UINT32:
        return joined
    if channel.number is Number.INT32:
        return joined - 2**32 if joined >= 2**31 else joined
    value: float = struct.unpack(">f", joined.to_bytes(4, "big"))[0]
    return value


def health_of(raw: float, live: LiveRange | None) -> Health:
    """Failed at or beyond `failed_*` and where the number is none; good within `low..high`."""
    if not isfinite(raw):
        return Health.FAILED
    if live is None or live.low <= raw <= live.high:
        return Health.GOOD
    if live.failed_low < raw < live.failed_high:
        return Health.OUT_OF_RANGE
    return Health.FAILED


def decode(channel: AnalogChannel, registers: Sequence[int], time_s: float) -> Signal:
    """The channel's signal in SI from its own registers."""
    raw = raw_value(channel, registers)
    health = health_of(raw, channel.live)
    value = nan if health is Health.FAILED else channel.scale.to_si(raw)
    if health is not Health.FAILED and not isfinite(value):
        return Signal(nan, Health.FAILED, time_s)
    return Signal(value, health, time_s)


def decode_bit(channel: BitChannel, word: int) -> bool:
    """True for the healthy or energised state: 1, or 0 where the channel is inverted."""
    bit = word if channel.bit is None else word >> channel.bit & 1
    return bool(bit) is not channel.inverted


def encode(channel: AnalogChannel, value: float) -> tuple[int, ...]:
    """Registers that bring out `value` [SI], rounded to the nearest count, clamped to what they hold.

    Raises ValueError when the value is not a finite number: nothing is written for it.
    """
    if not isfinite(value):
        raise ValueError(f"{channel.role}: {value} is not a number that can be put out")
    raw = channel.scale.to_raw(value)
    if channel.number is Number.FLOAT32:
        bounded = max(-LARGEST_FLOAT32, min(LARGEST_FLOAT32, raw))
        joined = int.from_bytes(struct.pack(">f", bounded), "big")
    else:
        lowest, highest = SPAN[channel.number]
        joined = round(max(lowest, min(highest, raw)))
    if channel.number in (Number.INT16, Number.UINT16):
        return (joined & 0xFFFF,)
    high, low = joined >> 16 & 0xFFFF, joined & 0xFFFF
    return (low, high) if channel.word_order is WordOrder.LOW_FIRST else (high, low)


def encode_bit(channel: BitChannel, on: bool) -> int:
    """The bit on the wire, 0 or 1, for the healthy or energised state `on`."""
    return int(on is not channel.inverted)
