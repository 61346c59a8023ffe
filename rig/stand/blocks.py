"""The plan of reads: what lies together in a unit is fetched together, once per scan."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rig.stand.model import AnalogChannel, BitChannel, Module, Number, Stand, Table

Channel = AnalogChannel | BitChannel

# Two reads that lie this far apart are cheaper as one: on a serial line a transaction of its own costs
# about 20 characters (request, frame of the answer, silences), and 10 registers are 20 characters.
GAP_REGISTERS = 10
BITS_PER_REGISTER = 16
MOST_BITS = 2000  # MODBUS Application Protocol V1.1b3, 6.1 and 6.2

# Fields of Stand that every scan reads, in the order of their urgency.
SCANNED = (
    "casing_pressure",
    "stem_position",
    "supply_pressure",
    "demand_readback",
    "emergency_stop_healthy",
    "guard_closed",
    "supply_valve_readback",
    "vent_valve_readback",
)


@dataclass(frozen=True, slots=True)
class Block:
    """One read: `count` registers or bits from `address`, and the channels in it by their Stand field."""

    module: Module
    table: Table
    address: int
    count: int
    channels: tuple[tuple[str, Channel], ...]


def words(number: Number) -> int:
    """Registers that a number takes."""
    return 1 if number in (Number.INT16, Number.UINT16) else 2


def extent(channel: Channel) -> int:
    """Registers or bits that a channel takes from its address on."""
    return words(channel.number) if isinstance(channel, AnalogChannel) else 1


def is_bits(table: Table) -> bool:
    return table in (Table.COILS, Table.DISCRETE)


def scanned_channels(stand: Stand) -> list[tuple[str, Channel]]:
    found = ((name, getattr(stand, name)) for name in SCANNED)
    return [(name, channel) for name, channel in found if channel is not None]


def plan_reads(stand: Stand) -> tuple[Block, ...]:
    """The blocks of one scan, the one with the most urgent channel first."""
    channels = scanned_channels(stand)
    urgency = {name: rank for rank, (name, _) in enumerate(channels)}
    blocks = [
        block
        for module in stand.modules.values()
        for table in Table
        for block in _blocks(
            module, table, [c for c in channels if c[1].module == module.name and c[1].table is table]
        )
    ]
    return tuple(sorted(blocks, key=lambda block: min(urgency[name] for name, _ in block.channels)))


def _blocks(module: Module, table: Table, channels: Iterable[tuple[str, Channel]]) -> Iterator[Block]:
    """A channel is never split between two reads: its halves would be of different moments."""
    bits = is_bits(table)
    longest = min(MOST_BITS, module.max_read * BITS_PER_REGISTER) if bits else module.max_read
    widest_gap = (GAP_REGISTERS * BITS_PER_REGISTER if bits else GAP_REGISTERS) if module.read_gaps else 0
    group: list[tuple[str, Channel]] = []
    begin = end = 0
    for name, channel in sorted(channels, key=lambda item: item[1].address):
        after = channel.address + extent(channel)
        apart = channel.address - end > widest_gap or max(end, after) - begin > longest
        if group and apart:
            yield Block(module, table, begin, end - begin, tuple(group))
            group = []
        if not group:
            begin = end = channel.address
        group.append((name, channel))
        end = max(end, after)
    if group:
        yield Block(module, table, begin, end - begin, tuple(group))
