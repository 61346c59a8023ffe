"""What a serial line needs: the time of a character and of a silence, the characters of an exchange.

MODBUS over Serial Line V1.02, 2.5.1 (11 bits a character) and 2.5.1.1 (silent intervals).
"""

from rig.stand.blocks import is_bits
from rig.stand.model import Table

BITS_PER_CHARACTER = 11  # start, 8 data, parity or second stop, stop
FIXED_ABOVE_BAUD = 19200  # above it the silent intervals are fixed times

READ_REQUEST = 8  # characters: unit, function, address, count, CRC
READ_ANSWER_FRAME = 5  # unit, function, byte count, CRC; the data come on top
WRITE_SINGLE = 8  # request and answer alike


def character_s(baud: int) -> float:
    return BITS_PER_CHARACTER / baud


def silence_s(baud: int) -> float:
    """Least silence between two frames [s]: 3.5 characters, 1.750 ms above 19200 Bd."""
    return 0.00175 if baud > FIXED_ABOVE_BAUD else 3.5 * character_s(baud)


def longest_pause_s(baud: int) -> float:
    """Longest silence within a frame [s]: 1.5 characters, 0.750 ms above 19200 Bd."""
    return 0.00075 if baud > FIXED_ABOVE_BAUD else 1.5 * character_s(baud)


def read_characters(table: Table, count: int) -> int:
    data = (count + 7) // 8 if is_bits(table) else 2 * count
    return READ_REQUEST + READ_ANSWER_FRAME + data


def write_characters(function: int, count: int) -> int:
    """Characters of writing `count` registers or coils by that function code, answers included."""
    if function in (5, 6):
        return 2 * WRITE_SINGLE * count
    data = (count + 7) // 8 if function == 15 else 2 * count
    return 9 + data + 8
