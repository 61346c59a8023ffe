"""The only place that writes to the stand: the guard's permitted command, and the watchdog's arming.

Nothing is written but registers and coils that the stand file declares as outputs.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import inf

from rig.stand.blocks import extent, is_bits
from rig.stand.channels import encode, encode_bit
from rig.stand.clock import Clock
from rig.stand.link import Bus, LinkFault
from rig.stand.model import BitChannel, Module, Stand, Table, Watchdog
from safety.signals import Command

Key = tuple[str, Table, int]  # module, table, address
Item = tuple[Key, tuple[int, ...]]  # where, and what to hold there

# A module with a watchdog is written at least four times within its timeout: three may get lost.
FEEDS_PER_TIMEOUT = 4
# A module whose watchdog is to expire is left alone for this many timeouts: not written, and where any
# request feeds it not asked either. Then it has expired or never will: reading goes on, so that people can
# see whether the pressure goes, and the safe values are said in every scan: nobody else has the last word.
UNFED_TIMEOUTS = 2.0
STRANGER = "it does not show the identity of the stand file, so nothing is written to it"


class NotAnOutput(Exception):  # noqa: N818 - says what is wrong
    """A write to what the stand file does not declare as an output: refused, nothing was sent."""


@dataclass(slots=True)
class _Held:
    """What a module is known to hold."""

    values: dict[Key, tuple[int, ...]]
    session: int  # of its bus
    armed: bool = False
    trip_reset: bool = False  # a latched watchdog has been told to let go
    written_s: float = -inf  # last write that was acknowledged


class Outputs:
    """Brings commands to the stand, and remembers what it holds."""

    def __init__(self, stand: Stand, buses: Mapping[str, Bus], clock: Clock) -> None:
        self._stand = stand
        self._buses = buses
        self._clock = clock
        self._declared = declared_outputs(stand)
        self._held = {name: _Held({}, 0) for name in sorted({key[0] for key in self._declared})}
        self._unfed_until_s: dict[str, float] = {}

    def say_again(self) -> None:
        """Nothing is taken to be held any more: `apply` writes every output anew."""
        for held in self._held.values():
            held.values.clear()

    @property
    def starved(self) -> frozenset[str]:
        """Modules that are left unasked now, so that their watchdog expires."""
        return frozenset(name for name in self._unfed if self._fed_by_reading(name))

    @property
    def _unfed(self) -> list[str]:
        """Modules that are not written now, so that their watchdog expires."""
        if not self._unfed_until_s:
            return []
        now_s = self._clock.now()
        return [name for name, until_s in self._unfed_until_s.items() if now_s < until_s]

    def _fed_by_reading(self, name: str) -> bool:
        watchdog = self._stand.modules[name].watchdog
        return watchdog is not None and watchdog.fed_by == "any request"

    def renew(self, modules: Collection[str]) -> None:
        """These modules may have forgotten what they were told: `apply` arms and writes them anew."""
        for name in modules:
            if name in self._held:
                self._held[name] = _Held({}, self._held[name].session)

    def apply(self, command: Command, strangers: Collection[str] = ()) -> None:
        """Write what differs from what the stand holds, and what the watchdogs need.

        Nothing is written to `strangers`: modules that are not, or not known to be, the stand file's.
        Everything is tried even where something fails; then raises LinkFault that tells all of it.
        """
        self._starve(command)
        items = [item for item in self._items(command) if item[0][0] not in strangers]
        faults = [LinkFault("answer", f"module {name}: {STRANGER}", asked=False) for name in strangers]
        for name, held in self._held.items():
            if name in strangers:
                self._held[name] = _Held({}, held.session)
                continue
            sessions = self._buses[self._stand.modules[name].link].sessions
            if held.session != sessions:
                held = self._held[name] = _Held({}, sessions)
            if command.feed_watchdog and not (held.armed and held.trip_reset):
                self._arm(self._stand.modules[name], held, command, items, faults)
        for key, values in items:
            if self._needed(key, values, command):
                self._try(key, values, faults)
        if faults:
            text = "\n".join(dict.fromkeys(fault.text for fault in faults))
            raise LinkFault(faults[0].kind, text, faults[0].code) from faults[0]

    # -- what is to be written ------------------------------------------------------------------------

    def _items(self, command: Command) -> list[Item]:
        """Every output with its value, in the order that never lets air in before it should."""
        stand, demand = self._stand, self._stand.demand_output
        level = (demand.module, demand.table, demand.address), encode(demand, command.output_pa)
        valves = _valves((stand.vent_valve, command.vent_open), (stand.supply_valve, command.supply_open))
        return [*valves, level] if command.vent_open else [level, *valves]

    def _needed(self, key: Key, values: tuple[int, ...], command: Command) -> bool:
        held, watchdog = self._held[key[0]], self._stand.modules[key[0]].watchdog
        if not command.feed_watchdog:
            # With no watchdog to rely on any more, the safe values are said again in every scan.
            return key[0] not in self._unfed
        if held.values.get(key) != values:
            return True
        if watchdog is None:
            return False
        # A clock that was set back must not starve it.
        return not 0.0 <= self._clock.now() - held.written_s < watchdog.timeout_s / FEEDS_PER_TIMEOUT

    # -- the watchdog ---------------------------------------------------------------------------------

    def _arm(
        self, module: Module, held: _Held, command: Command, items: list[Item], faults: list[LinkFault]
    ) -> None:
        """Arm the module's watchdog; take back a latched trip, but only into a safe command.

        The outputs are written before the trip is taken back, and once more afterwards by `apply`:
        the module may bring out what it held when it tripped, or refuse to listen until then.
        """
        watchdog = module.watchdog
        if watchdog is None or not watchdog.latched or watchdog.reset_register is None:
            held.trip_reset = True
        elif not held.trip_reset and command.vent_open and command.output_pa <= 0.0:
            for key, values in items:
                if key[0] == module.name:
                    self._try(key, values, [])
            key = module.name, Table.HOLDING, watchdog.reset_register
            held.trip_reset = self._try(key, (watchdog.reset_value,), faults)
            held.values.clear()
        if watchdog is None or watchdog.timeout_register is None:
            held.armed = True
        elif not held.armed:
            key = module.name, Table.HOLDING, watchdog.timeout_register
            held.armed = self._try(key, (timeout_counts(watchdog),), faults)

    def _starve(self, command: Command) -> None:
        """Stop feeding where the command says so; what the module holds is unknown from then on."""
        if command.feed_watchdog:
            self._unfed_until_s.clear()
            return
        for name, held in self._held.items():
            watchdog = self._stand.modules[name].watchdog
            if watchdog is not None and name not in self._unfed_until_s:
                self._held[name] = _Held({}, held.session)
                self._unfed_until_s[name] = self._clock.now() + UNFED_TIMEOUTS * watchdog.timeout_s

    # -- writing --------------------------------------------------------------------------------------

    def _try(self, key: Key, values: tuple[int, ...], faults: list[LinkFault]) -> bool:
        held = self._held[key[0]]
        try:
            self._send(key, values)
        except LinkFault as fault:
            held.values.pop(key, None)
            faults.append(fault)
            return False
        held.values[key] = values
        held.written_s = self._clock.now()
        return True

    def _send(self, key: Key, values: tuple[int, ...]) -> None:
        """Raises NotAnOutput, LinkFault."""
        name, table, address = key
        for offset in range(len(values)):
            if (name, table, address + offset) not in self._declared:
                raise NotAnOutput(
                    f"module {name}, {table.value}, address {address + offset}: "
                    "not declared as an output in the stand file, so it is never written"
                )
        module = self._stand.modules[name]
        bus, function = self._buses[module.link], write_function(module, table, len(values))
        if function in (15, 16):
            bus.write(module.unit, table, address, values, function)
            return
        for offset, value in enumerate(values):
            bus.write(module.unit, table, address + offset, (value,), function)


def declared_outputs(stand: Stand) -> frozenset[Key]:
    """Every register and coil that may ever be written."""
    declared: set[Key] = set()
    for channel in (stand.demand_output, stand.supply_valve, stand.vent_valve):
        if channel is not None:
            addresses = range(channel.address, channel.address + extent(channel))
            declared |= {(channel.module, channel.table, address) for address in addresses}
    for module in stand.modules.values():
        if module.watchdog is not None:
            registers = module.watchdog.timeout_register, module.watchdog.reset_register
            declared |= {
                (module.name, Table.HOLDING, address) for address in registers if address is not None
            }
    return frozenset(declared)


def write_function(module: Module, table: Table, count: int) -> int:
    """The function code that the module takes for `count` values."""
    if is_bits(table):
        return module.coil_write_function or (5 if count == 1 else 15)
    return module.write_function or (6 if count == 1 else 16)


def timeout_counts(watchdog: Watchdog) -> int:
    """What arms the watchdog: its timeout in the register's own unit, at least one count."""
    return max(1, min(0xFFFF, round(watchdog.timeout_s / watchdog.timeout_unit_s)))


def _valves(*wanted: tuple[BitChannel | None, bool]) -> Sequence[Item]:
    """Coils one by one; bits that share a register as one value for the whole register."""
    values: dict[Key, int] = {}
    for channel, on in wanted:
        if channel is not None:
            key = channel.module, channel.table, channel.address
            values[key] = values.get(key, 0) | encode_bit(channel, on) << (channel.bit or 0)
    return [(key, (value,)) for key, value in values.items()]
