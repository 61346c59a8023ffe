"""The output modules' terminals: from registers to the I/P's current and the solenoids, and fail-safe."""

from dataclasses import dataclass, field

from rig.stand.model import AnalogChannel, BitChannel, Stand, Table
from simulator.condition import Condition
from simulator.contacts import Installation, Switches
from simulator.registers import Unit, decode, width
from simulator.watchdog import DogState


@dataclass(slots=True)
class Terminals:
    """What the outputs really do at present."""

    demand_pa: float = 0.0
    supply_energised: bool = False  # coil state on the wire sense: True where the register bit is 1
    vent_energised: bool = False


@dataclass(slots=True)
class Valves:
    """Where the solenoid valves stand, a short delay after their coils."""

    supply_open: bool = False
    vent_open: bool = True
    supply_changes_s: float | None = None
    vent_changes_s: float | None = None


@dataclass
class Drive:
    """Follows the output registers; holds what a stuck module or a stuck valve holds."""

    stand: Stand
    modules: dict[str, Unit]  # by module name
    dogs: dict[str, DogState]
    installation: Installation
    terminals: Terminals = field(default_factory=Terminals)
    valves: Valves = field(default_factory=Valves)
    changed: bool = True  # an output register may have changed since the terminals were set

    def __post_init__(self) -> None:
        if self.stand.supply_valve is None:
            self.valves.supply_open = True
        if self.stand.vent_valve is None:
            self.valves.vent_open = False

    def follow(self, time_s: float, condition: Condition, switches: Switches) -> None:
        """Bring terminals and valves up to date."""
        if self.changed or condition.outputs_stuck or condition.power_cut:
            self._terminals(condition)
        powered = not condition.power_cut
        if self.installation.stop_cuts_valves and not switches.emergency_stop_healthy:
            powered = False
        stand, t, v = self.stand, self.terminals, self.valves
        delay = self.installation.valve_delay_s
        if stand.supply_valve is not None and not condition.supply_valve_stuck:
            wanted = (t.supply_energised and powered) != stand.supply_valve.inverted
            v.supply_open, v.supply_changes_s = _move(
                v.supply_open, wanted, v.supply_changes_s, time_s, delay
            )
        if stand.vent_valve is not None and not condition.vent_valve_stuck:
            wanted = (t.vent_energised and powered) != stand.vent_valve.inverted
            v.vent_open, v.vent_changes_s = _move(v.vent_open, wanted, v.vent_changes_s, time_s, delay)

    def fail_safe(self, module: str) -> None:
        """The module's outputs go to zero: no current, no coil energised."""
        self.changed = True
        unit = self.modules[module]
        output = self.stand.demand_output
        if output.module == module:
            for at in range(output.address, output.address + width(output)):
                unit.values[output.table][at] = 0
        for bit in (self.stand.supply_valve, self.stand.vent_valve):
            if bit is not None and bit.module == module:
                write_bit(unit, bit, False)

    def is_output(self, module: str, table: Table, address: int, count: int) -> bool:
        """Whether a write of that span touches an output."""
        touched = range(address, address + count)
        output = self.stand.demand_output
        if output.module == module and output.table is table:
            mine = range(output.address, output.address + width(output))
            if any(at in touched for at in mine):
                return True
        bits = (self.stand.supply_valve, self.stand.vent_valve)
        return any(
            b is not None and b.module == module and b.table is table and b.address in touched for b in bits
        )

    def demand_of(self, output: AnalogChannel) -> float:
        """The demand that the output register stands for [Pa gauge]."""
        unit = self.modules[output.module]
        words = [unit.values[output.table][output.address + i] for i in range(width(output))]
        return output.scale.to_si(decode(output, words))

    def _terminals(self, condition: Condition) -> None:
        stand, t = self.stand, self.terminals
        self.changed = condition.power_cut or bool(condition.outputs_stuck)
        if condition.power_cut:
            t.demand_pa, t.supply_energised, t.vent_energised = 0.0, False, False
            return
        if not _held(condition, stand.demand_output.module):
            t.demand_pa = max(0.0, self.demand_of(stand.demand_output))
        for bit, name in ((stand.supply_valve, "supply_energised"), (stand.vent_valve, "vent_energised")):
            if bit is not None and not _held(condition, bit.module):
                setattr(t, name, read_bit(self.modules[bit.module], bit))


def _held(condition: Condition, module: str) -> bool:
    return module in condition.outputs_stuck or "" in condition.outputs_stuck


def _move(
    now: bool, wanted: bool, changes_s: float | None, time_s: float, delay_s: float
) -> tuple[bool, float | None]:
    if wanted == now:
        return now, None
    if changes_s is None:
        changes_s = time_s + delay_s
    return (wanted, None) if time_s >= changes_s else (now, changes_s)


def read_bit(unit: Unit, bit: BitChannel) -> bool:
    """The bit as it stands on the wire."""
    word = unit.values[bit.table].get(bit.address, 0)
    return bool(word >> (bit.bit or 0) & 1)


def write_bit(unit: Unit, bit: BitChannel, on: bool) -> None:
    """Set or clear the bit, leaving its neighbours alone."""
    held = unit.values[bit.table]
    mask = 1 << (bit.bit or 0)
    held[bit.address] = held.get(bit.address, 0) | mask if on else held.get(bit.address, 0) & ~mask
