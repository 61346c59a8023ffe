"""From request to answer, as protocol data units: MODBUS Application Protocol Specification V1.1b3, 6 and 7.

Order of checks (state diagrams): function (exception 01), quantity, byte count and data value (03),
address (02), execution (04). A request too short or too long for its function is a wrong value (03).
"""

from struct import pack, unpack

from rig.stand.model import Table
from simulator.device import Device
from simulator.registers import Code, Refused

READS = {1: Table.COILS, 2: Table.DISCRETE, 3: Table.HOLDING, 4: Table.INPUT}
LONGEST_PDU = 253  # V1.1b3, 4.1
ON, OFF = 0xFF00, 0x0000  # V1.1b3, 6.5


def answer(stand: Device, link: str | None, unit: int, pdu: bytes) -> bytes:
    """The answer to one request. Raises NoAnswer when the module is silent."""
    function = pdu[0] if pdu else 0
    try:
        stand.unit(unit, link)  # a silent or absent module comes before anything in the request
        return bytes([function]) + _body(stand, link, unit, function, pdu[1:])
    except Refused as refused:
        return bytes([(function | 0x80) & 0xFF, refused.code])


def _body(stand: Device, link: str | None, unit: int, function: int, data: bytes) -> bytes:
    if function in READS:
        return _read(stand, link, unit, function, data)
    if function in (5, 6):
        return _write_single(stand, link, unit, function, data)
    if function in (15, 16):
        return _write_multiple(stand, link, unit, function, data)
    if function == 22:
        return _mask(stand, link, unit, data)
    if function == 23:
        return _read_write(stand, link, unit, data)
    raise Refused(Code.ILLEGAL_FUNCTION, f"function {function}")


def _read(stand: Device, link: str | None, unit: int, function: int, data: bytes) -> bytes:
    table = READS[function]
    stand.unit(unit, link).check_table(table)
    _length(data, 4)
    address, count = unpack(">HH", data)
    values = stand.module_read(unit, table, address, count, link)
    return pack_bits(values) if function in (1, 2) else pack_words(values)


def _write_single(stand: Device, link: str | None, unit: int, function: int, data: bytes) -> bytes:
    table = Table.COILS if function == 5 else Table.HOLDING
    stand.unit(unit, link).check_function(table, function)
    _length(data, 4)
    address, value = unpack(">HH", data)
    if function == 5 and value not in (ON, OFF):
        raise Refused(Code.ILLEGAL_VALUE, f"coil value {value:#06x}")
    stand.module_write(unit, table, address, [int(value == ON) if function == 5 else value], function, link)
    return data


def _write_multiple(stand: Device, link: str | None, unit: int, function: int, data: bytes) -> bytes:
    table = Table.COILS if function == 15 else Table.HOLDING
    stand.unit(unit, link).check_function(table, function)
    if len(data) < 6:
        raise Refused(Code.ILLEGAL_VALUE, "too short")
    address, count, size = unpack(">HHB", data[:5])
    needed = (count + 7) // 8 if function == 15 else 2 * count
    if size != needed or len(data) != 5 + size:
        raise Refused(Code.ILLEGAL_VALUE, "byte count")
    body = data[5:]
    values = unpack_bits(body, count) if function == 15 else unpack_words(body)
    stand.module_write(unit, table, address, values, function, link)
    return data[:4]


def _mask(stand: Device, link: str | None, unit: int, data: bytes) -> bytes:
    """6.16: result = (current AND and-mask) OR (or-mask AND NOT and-mask)."""
    stand.unit(unit, link).check_function(Table.HOLDING, 22)
    _length(data, 6)
    address, keep, put = unpack(">HHH", data)
    current = stand.module_read(unit, Table.HOLDING, address, 1, link)[0]
    value = (current & keep) | (put & ~keep & 0xFFFF)
    stand.module_write(unit, Table.HOLDING, address, [value], 22, link)
    return data


def _read_write(stand: Device, link: str | None, unit: int, data: bytes) -> bytes:
    """6.17: the write comes before the read; both are checked first."""
    held = stand.unit(unit, link)
    held.check_function(Table.HOLDING, 23)
    if len(data) < 11:
        raise Refused(Code.ILLEGAL_VALUE, "too short")
    from_address, from_count, to_address, to_count, size = unpack(">HHHHB", data[:9])
    if size != 2 * to_count or len(data) != 9 + size or not 1 <= to_count <= 121:
        raise Refused(Code.ILLEGAL_VALUE, "byte count")
    held.check_read(Table.HOLDING, from_address, from_count)
    stand.module_write(unit, Table.HOLDING, to_address, unpack_words(data[9:]), 23, link)
    return pack_words(stand.module_read(unit, Table.HOLDING, from_address, from_count, link))


def _length(data: bytes, wanted: int) -> None:
    if len(data) != wanted:
        raise Refused(Code.ILLEGAL_VALUE, f"{len(data)} bytes instead of {wanted}")


def pack_words(values: list[int]) -> bytes:
    """Byte count and registers, high byte first."""
    return pack(f">B{len(values)}H", 2 * len(values), *values)


def unpack_words(data: bytes) -> list[int]:
    """Registers, high byte first."""
    return list(unpack(f">{len(data) // 2}H", data))


def pack_bits(values: list[int]) -> bytes:
    """Byte count and bits, the first in the least significant place (6.1)."""
    size = (len(values) + 7) // 8
    packed = sum(bit << i for i, bit in enumerate(values))
    return bytes([size]) + packed.to_bytes(size, "little")


def unpack_bits(data: bytes, count: int) -> list[int]:
    """`count` bits, the first in the least significant place."""
    packed = int.from_bytes(data, "little")
    return [packed >> i & 1 for i in range(count)]


def covers(pdu: bytes, table: Table, address: int) -> bool:
    """Whether this request reads that register."""
    if len(pdu) < 5:
        return False
    function, start, count = unpack(">BHH", pdu[:5])
    if function == 23:
        return table is Table.HOLDING and start <= address < start + count
    return READS.get(function) is table and start <= address < start + count
