"""Registers and bits of one module: which addresses exist, and in which order requests are checked.

MODBUS Application Protocol Specification V1.1b3, 6.x and the state diagrams: function (exception 01), then
quantity (03), then address range (02), then execution (04).
"""

import struct
from dataclasses import dataclass, field
from enum import IntEnum

from rig.stand.model import AnalogChannel, BitChannel, Module, Number, Stand, Table, WordOrder

MOST_READ = {Table.HOLDING: 125, Table.INPUT: 125, Table.COILS: 2000, Table.DISCRETE: 2000}  # V1.1b3, 6.1-6.4
MOST_WRITTEN = {Table.HOLDING: 123, Table.COILS: 1968}  # V1.1b3, 6.11-6.12


class Code(IntEnum):
    """Exception codes, V1.1b3, 7."""

    ILLEGAL_FUNCTION = 1
    ILLEGAL_ADDRESS = 2
    ILLEGAL_VALUE = 3
    SERVER_FAILURE = 4
    ACKNOWLEDGE = 5
    SERVER_BUSY = 6
    MEMORY_PARITY = 8
    GATEWAY_PATH = 10
    GATEWAY_TARGET = 11


class Refused(Exception):  # noqa: N818  (it is an answer, not an error of ours)
    """The module answers with a Modbus exception."""

    def __init__(self, code: int, why: str = "") -> None:
        super().__init__(f"exception {int(code)}" + (f": {why}" if why else ""))
        self.code = int(code)


class NoAnswer(TimeoutError):  # noqa: N818  (as above)
    """Nothing comes back: the request or its answer is lost."""


def width(channel: AnalogChannel) -> int:
    """Registers that a channel takes."""
    return 1 if channel.number in (Number.INT16, Number.UINT16) else 2


_FORMAT = {Number.INT16: "h", Number.UINT16: "H", Number.INT32: "i", Number.UINT32: "I", Number.FLOAT32: "f"}


def encode(channel: AnalogChannel, raw: float) -> list[int]:
    """Register words of a raw number, in the channel's type and word order."""
    if channel.number is Number.UINT16:
        return [int(raw)]
    value: float | int = raw if channel.number is Number.FLOAT32 else int(raw)
    data = struct.pack(">" + _FORMAT[channel.number], value)
    words = [int.from_bytes(data[i : i + 2], "big") for i in range(0, len(data), 2)]
    return words if channel.word_order is WordOrder.HIGH_FIRST else words[::-1]


def decode(channel: AnalogChannel, words: list[int]) -> float:
    """The raw number that register words stand for."""
    ordered = words if channel.word_order is WordOrder.HIGH_FIRST else words[::-1]
    data = b"".join(word.to_bytes(2, "big") for word in ordered)
    return float(struct.unpack(">" + _FORMAT[channel.number], data)[0])


@dataclass(slots=True)
class Unit:
    """What one module holds. Addresses between the declared ones read 0 where the module has no gaps."""

    module: Module
    values: dict[Table, dict[int, int]] = field(default_factory=lambda: {table: {} for table in Table})
    writable: dict[Table, set[int]] = field(
        default_factory=lambda: {Table.HOLDING: set(), Table.COILS: set()}
    )

    def declare(
        self, table: Table, address: int, count: int = 1, writable: bool = False, value: int = 0
    ) -> None:
        for at in range(address, address + count):
            self.values[table].setdefault(at, value)
            if writable:
                self.writable[table].add(at)

    def close_gaps(self) -> None:
        """Without gaps every address from 0 to the last declared one exists."""
        if self.module.read_gaps:
            for held in self.values.values():
                for at in range(max(held, default=-1) + 1):
                    held.setdefault(at, 0)

    def check_table(self, table: Table) -> None:
        if not self.values[table]:
            raise Refused(Code.ILLEGAL_FUNCTION, f"no {table}")

    def check_function(self, table: Table, function: int) -> None:
        """Whether the module takes this function to write with."""
        if not self.writable.get(table):
            raise Refused(Code.ILLEGAL_FUNCTION, f"{table} cannot be written")
        allowed = self.module.coil_write_function if table is Table.COILS else self.module.write_function
        if allowed is not None and function != allowed:
            raise Refused(Code.ILLEGAL_FUNCTION, f"function {function}, the module takes {allowed}")

    def usual_function(self, table: Table, count: int) -> int:
        """The function code that a client would write with."""
        if table is Table.COILS:
            return self.module.coil_write_function or (5 if count == 1 else 15)
        return self.module.write_function or (6 if count == 1 else 16)

    def check_read(self, table: Table, address: int, count: int) -> None:
        self.check_table(table)
        held = self.values[table]
        most = MOST_READ[table]
        if table in (Table.HOLDING, Table.INPUT):
            most = min(most, self.module.max_read)
        if not 1 <= count <= most:
            raise Refused(Code.ILLEGAL_VALUE, f"{count} asked, 1 to {most} allowed")
        if not self._all_there(held, address, count):
            raise Refused(Code.ILLEGAL_ADDRESS, f"{table} {address}..{address + count - 1}")

    def _all_there(self, held: dict[int, int], address: int, count: int) -> bool:
        if self.module.read_gaps:  # then there is everything from 0 on
            return address >= 0 and address + count - 1 in held
        return all(at in held for at in range(address, address + count))

    def check_write(self, table: Table, address: int, values: list[int], function: int | None) -> None:
        used = function if function is not None else self.usual_function(table, len(values))
        self.check_function(table, used)
        if not 1 <= len(values) <= MOST_WRITTEN[table]:
            raise Refused(Code.ILLEGAL_VALUE, f"{len(values)} values")
        top = 1 if table is Table.COILS else 0xFFFF
        if any(not 0 <= value <= top for value in values):
            raise Refused(Code.ILLEGAL_VALUE, "value does not fit")
        if not self._all_there(self.values[table], address, len(values)):
            raise Refused(Code.ILLEGAL_ADDRESS, f"{table} {address}..{address + len(values) - 1}")
        if any(at not in self.writable[table] for at in range(address, address + len(values))):
            raise Refused(Code.ILLEGAL_ADDRESS, "read only")


def analog_channels(stand: Stand) -> list[AnalogChannel]:
    found = (
        stand.demand_output,
        stand.stem_position,
        stand.casing_pressure,
        stand.supply_pressure,
        stand.demand_readback,
    )
    return [channel for channel in found if channel is not None]


def bit_channels(stand: Stand) -> list[BitChannel]:
    found = (
        stand.emergency_stop_healthy,
        stand.guard_closed,
        stand.supply_valve,
        stand.vent_valve,
        stand.supply_valve_readback,
        stand.vent_valve_readback,
    )
    return [channel for channel in found if channel is not None]


def build_units(stand: Stand) -> dict[tuple[str, int], Unit]:
    """All modules by (link, unit), with every address that the stand file declares."""
    units = {name: Unit(module) for name, module in stand.modules.items()}
    for channel in analog_channels(stand):
        output = channel is stand.demand_output
        units[channel.module].declare(channel.table, channel.address, width(channel), writable=output)
    for bit in bit_channels(stand):
        output = bit is stand.supply_valve or bit is stand.vent_valve
        units[bit.module].declare(bit.table, bit.address, writable=output)
    for unit in units.values():
        _declare_service(unit)
        unit.close_gaps()
    return {(unit.module.link, unit.module.unit): unit for unit in units.values()}


def _declare_service(unit: Unit) -> None:
    """Watchdog registers and the identity."""
    dog, identity = unit.module.watchdog, unit.module.identity
    if dog is not None:
        for register in (dog.timeout_register, dog.reset_register):
            if register is not None:
                unit.declare(Table.HOLDING, register, writable=True)
    if identity is not None:
        unit.declare(identity.table, identity.address)
        unit.values[identity.table][identity.address] = identity.value
