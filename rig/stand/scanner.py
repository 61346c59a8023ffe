"""One scan: ask the stand, convert, and say of every channel how far it can be believed."""

from collections.abc import Mapping
from math import inf, nan

from rig.stand.blocks import Block, Channel, extent, plan_reads
from rig.stand.channels import decode, decode_bit
from rig.stand.clock import Clock
from rig.stand.link import Bus, LinkFault
from rig.stand.model import AnalogChannel, Module, RtuLink, Stand, Table
from rig.stand.proofs import IDENTITY, WATCHDOG, proofs, together
from safety.signals import Contact, Health, Reading, Signal

# A unit on a shared serial line that stays silent twice in a row is left alone for this long: every try
# costs all the others its deadline and the quiet after it.
LEFT_ALONE_S = 1.0

# Field of Stand -> field of Reading.
READING_FIELD = {
    "casing_pressure": "pressure",
    "stem_position": "position",
    "supply_pressure": "supply",
    "demand_readback": "output",
    "emergency_stop_healthy": "emergency_stop_healthy",
    "guard_closed": "guard_closed",
    "supply_valve_readback": "supply_valve_open",
    "vent_valve_readback": "vent_valve_open",
}

Found = dict[str, Signal | Contact]  # by field of Reading


class Scanner:
    """Reads the stand. A channel that no valid answer came for is UNKNOWN, never its last value."""

    def __init__(self, stand: Stand, buses: Mapping[str, Bus], clock: Clock) -> None:
        self.problems: tuple[str, ...] = ()  # of the last scan, for a person
        self.returned: frozenset[str] = frozenset()  # modules that may have forgotten what they were told
        self.commanded_pa: float | None = None  # output the stand is known to hold; None: not known
        self._buses = buses
        self._clock = clock
        self._blocks = [(block, _places(block)) for block in plan_reads(stand)]
        self._proofs = list(proofs(stand))
        self._inferred = stand.casing_pressure is None
        self._scans = 0
        self.period_s = 1.0 / stand.scans_per_s
        self._skip: frozenset[str] = frozenset()  # in this scan
        self._said: list[str] = []  # in this scan
        self._failed: set[str] = set()  # modules that did not answer in this scan
        self._silent: dict[str, float] = {}  # modules that did not answer last: when to ask again
        per_link = [module.link for module in stand.modules.values()]
        self._shared = {
            name
            for name, module in stand.modules.items()
            if isinstance(stand.links[module.link], RtuLink) and per_link.count(module.link) > 1
        }

    def connect(self) -> None:
        """Connect every link; raises LinkFault for the first that does not come up."""
        for bus in self._buses.values():
            bus.connect()

    def close(self) -> None:
        for bus in self._buses.values():
            bus.close()

    def scan(self, number: int | None = None, skip: frozenset[str] = frozenset()) -> Reading:
        """Ask for everything once. Modules in `skip` are not asked: their watchdog is to expire."""
        self._scans += 1
        self._skip, self._said = skip, []
        self._failed.clear()
        before = set(self._silent)
        found: Found = {}
        for block, places in self._blocks:
            self._read_block(block, places, found)
        if self._proofs:
            self._read_proofs(found)
        self.problems = tuple(dict.fromkeys(self._said))
        self.returned = frozenset(before - self._silent.keys()) - skip
        self.returned |= {p.module.name for p in self._proofs if p.field == WATCHDOG and p.broken}
        now_s = self._clock.now()
        if self._inferred:
            found["pressure"] = self._from_the_output(found, now_s)
        return Reading(
            scan=self._scans if number is None else number,
            time_s=now_s,
            pressure_is_inferred=self._inferred,
            **found,  # type: ignore[arg-type]
        )

    @property
    def strangers(self) -> frozenset[str]:
        """Modules that answered last with another identity than the stand file's."""
        return frozenset(p.module.name for p in self._proofs if p.field == IDENTITY and p.broken)

    @property
    def unproven(self) -> frozenset[str]:
        """Modules that have an identity in the stand file and have not shown it yet."""
        return frozenset(p.module.name for p in self._proofs if p.field == IDENTITY and not p.held_once)

    def _read_block(self, block: Block, places: list[tuple[str, Channel, int, int]], found: Found) -> None:
        values, time_s = self._ask(block.module, block.table, block.address, block.count)
        for field, channel, begin, end in places:
            if isinstance(channel, AnalogChannel):
                if values is None:
                    found[field] = Signal(nan, Health.UNKNOWN, time_s)
                else:
                    found[field] = decode(channel, values[begin:end], time_s)
            elif values is None:
                found[field] = Contact(False, Health.UNKNOWN, time_s)
            else:
                found[field] = Contact(decode_bit(channel, values[begin]), Health.GOOD, time_s)

    def _read_proofs(self, found: Found) -> None:
        now_s = self._clock.now()
        kinds: dict[str, list[Contact]] = {}
        for proof in self._proofs:
            if now_s >= proof.due_s or proof.module.name in self._failed:
                values, time_s = self._ask(proof.module, proof.table, proof.address, 1)
                wrong = proof.see(None if values is None else values[0], time_s)
                if wrong is not None:
                    self._said.append(wrong)
            kinds.setdefault(proof.field, []).append(proof.contact)
        for field in (IDENTITY, WATCHDOG):
            if field in kinds:
                found[field] = together(kinds[field])

    def _ask(self, module: Module, table: Table, address: int, count: int) -> tuple[list[int] | None, float]:
        """The values, or None; and when they were so: the middle of the exchange.

        A module that failed once in a scan is not asked again in it: one deadline is lost, not several.
        """
        name, began_s = module.name, self._clock.now()
        if name in self._failed:
            return None, began_s
        if name in self._skip:
            self._said.append(f"module {name}: not asked, so that its watchdog takes the outputs down")
            return None, began_s
        if began_s < self._silent.get(name, -inf):
            self._said.append(f"module {name}: did not answer, is left alone for {LEFT_ALONE_S:g} s")
            return None, began_s
        try:
            values = self._buses[module.link].read(module.unit, table, address, count)
        except LinkFault as fault:
            self._said.append(f"module {name}: {fault.text}")
            if fault.asked and fault.kind in ("timeout", "connection"):
                again = name in self._silent and name in self._shared
                self._silent[name] = began_s + LEFT_ALONE_S if again else -inf
            if fault.kind in ("timeout", "connection"):
                self._failed.add(name)
            return None, self._clock.now()
        self._silent.pop(name, None)
        return values, 0.5 * (began_s + self._clock.now())

    def _from_the_output(self, found: Found, now_s: float) -> Signal:
        """No casing transmitter: the I/P's read-back, else the output last written, stands for it."""
        readback = found.get("output")
        if isinstance(readback, Signal):
            return readback
        if self.commanded_pa is None:
            return Signal(nan, Health.UNKNOWN, now_s)
        return Signal(self.commanded_pa, Health.GOOD, now_s)


def _places(block: Block) -> list[tuple[str, Channel, int, int]]:
    """Reading field, channel, and where its registers begin and end in the block."""
    return [
        (
            READING_FIELD[name],
            channel,
            channel.address - block.address,
            channel.address - block.address + extent(channel),
        )
        for name, channel in block.channels
    ]
