"""What a scan takes of each serial line, and the arithmetic of it in words.

sum(characters) * bits / baud + 2 * transactions * t3.5 (MODBUS over Serial Line V1.02, 2.5.1 and 2.5.1.1).
"""

from dataclasses import dataclass

from rig.stand.blocks import extent, plan_reads
from rig.stand.line_time import BITS_PER_CHARACTER, read_characters, silence_s, write_characters
from rig.stand.model import RtuLink, Stand
from rig.stand.outputs import write_function


@dataclass(frozen=True, slots=True)
class WireUse:
    """Of one serial line in one scan: all reads, and the demand written."""

    baud: int
    transactions: int
    characters: int

    @property
    def seconds(self) -> float:
        silences = 2 * self.transactions * silence_s(self.baud)
        return self.characters * BITS_PER_CHARACTER / self.baud + silences

    @property
    def arithmetic(self) -> str:
        silence_ms = 1000 * silence_s(self.baud)
        return (
            f"{self.characters} characters x {BITS_PER_CHARACTER} bits / {self.baud} baud + "
            f"{2 * self.transactions} silences x {silence_ms:.3g} ms = {1000 * self.seconds:.3g} ms"
        )


def wire_uses(stand: Stand) -> dict[str, WireUse]:
    """Of every serial line that the scan uses; the modules' own time to answer is not in it."""
    exchanges: dict[str, list[int]] = {
        name: [] for name, link in stand.links.items() if isinstance(link, RtuLink)
    }
    for block in plan_reads(stand):
        exchanges.get(block.module.link, []).append(read_characters(block.table, block.count))
    demand = stand.demand_output
    module = stand.modules[demand.module]
    function = write_function(module, demand.table, extent(demand))
    exchanges.get(module.link, []).append(write_characters(function, extent(demand)))
    uses = {}
    for name, link in stand.links.items():
        if isinstance(link, RtuLink):
            uses[name] = WireUse(link.baud, len(exchanges[name]), sum(exchanges[name]))
    return uses


def too_fast(stand: Stand) -> dict[str, str]:
    """By serial line that cannot carry the scan rate: the arithmetic, and what would do."""
    found = {}
    for name, use in wire_uses(stand).items():
        if use.seconds * stand.scans_per_s > 1.0:
            found[name] = (
                f"{use.arithmetic} a scan: at most {1.0 / use.seconds:.1f} scans/s, less the modules' own "
                "time; raise the baud rate or lower the scan rate"
            )
    return found
