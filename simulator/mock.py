"""Mocks: instant, scriptable, without physics; an answer can be held back.

`MockDevice` is registers without a stand file: whatever nobody set reads 0. `MockStand` has the registers,
read-back and watchdog of a stand file, and shows what it is told; the Modbus servers serve it as they serve
the simulated stand.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Event

from rig.stand.model import AnalogChannel, BitChannel, Stand, Table
from simulator.condition import Condition
from simulator.contacts import Installation, Switches
from simulator.outputs import Drive, write_bit
from simulator.registers import Code, NoAnswer, Refused, Unit, build_units, encode
from simulator.watchdog import DogState

Outcome = list[int] | Exception | None  # values to answer a read with, what to raise, or the usual answer


@dataclass
class MockDevice:
    """Holds registers and bits by unit, table and address; everything not set reads 0."""

    values: dict[tuple[int, Table, int], int] = field(default_factory=dict)
    silent: set[int] = field(default_factory=set)  # units
    refuses: dict[tuple[int, Table, int], int] = field(default_factory=dict)  # exception code by start
    asked: list[tuple[int, Table, int, int]] = field(default_factory=list)
    written: list[tuple[int, Table, int, tuple[int, ...]]] = field(default_factory=list)
    hold_limit_s: float = 30.0  # an answer held back longer than this is lost
    arrived: Event = field(default_factory=Event)  # a request waits while answers are held back
    _script: deque[Outcome] = field(default_factory=deque)
    _free: Event = field(default_factory=Event)

    def __post_init__(self) -> None:
        self._free.set()

    def put(self, unit: int, table: Table, address: int, *values: int) -> None:
        for at, value in enumerate(values, address):
            self._set(unit, table, at, value)

    def then(self, *outcomes: Outcome) -> None:
        """What comes of the next requests, one each; afterwards all is as usual."""
        self._script.extend(outcomes)

    @contextmanager
    def holding_back(self) -> Iterator[Event]:
        """Requests arrive (the event tells) and wait for their answer until the block ends.

        The block must not ask itself: another thread or process does, or a client that has sent its request.
        """
        self.arrived.clear()
        self._free.clear()
        try:
            yield self.arrived
        finally:
            self._free.set()

    def read(self, unit: int, table: Table, address: int, count: int, link: str | None = None) -> list[int]:
        self.asked.append((unit, table, address, count))
        scripted = self._arrive(unit, table, address)
        return self._get(unit, table, address, count) if scripted is None else scripted

    def write(
        self,
        unit: int,
        table: Table,
        address: int,
        values: Sequence[int],
        function: int | None = None,
        link: str | None = None,
    ) -> None:
        self._arrive(unit, table, address)
        self.written.append((unit, table, address, tuple(values)))
        self.put(unit, table, address, *values)

    def _arrive(self, unit: int, table: Table, address: int) -> list[int] | None:
        if not self._free.is_set():
            self.arrived.set()
            if not self._free.wait(self.hold_limit_s):
                raise NoAnswer("held back too long")
        if unit in self.silent:
            raise NoAnswer(f"unit {unit} is silent")
        if (unit, table, address) in self.refuses:
            raise Refused(self.refuses[unit, table, address])
        outcome = self._script.popleft() if self._script else None
        if isinstance(outcome, Exception):
            raise outcome
        return outcome

    def _get(self, unit: int, table: Table, address: int, count: int) -> list[int]:
        return [self.values.get((unit, table, address + i), 0) for i in range(count)]

    def _set(self, unit: int, table: Table, address: int, value: int) -> None:
        self.values[unit, table, address] = value


class MockStand(MockDevice):
    """The registers of a stand file. Outputs are read back at once; inputs show what `show` was told."""

    def __init__(self, stand: Stand) -> None:
        super().__init__()
        self.stand, self.condition, self.switches = stand, Condition(), Switches()
        self._time_s = 0.0
        self._units = build_units(stand)
        by_name = {unit.module.name: unit for unit in self._units.values()}
        self.dogs = {
            name: DogState(unit.module.watchdog)
            for name, unit in by_name.items()
            if unit.module.watchdog is not None
        }
        self.drive = Drive(stand, by_name, self.dogs, Installation(valve_delay_s=0.0))
        for role in ("casing_pressure", "stem_position", "supply_pressure", "demand_readback"):
            if getattr(stand, role) is not None and getattr(stand, role) != stand.demand_output:
                self.show(role, 0.0)
        self.read_back()

    # -- what the test says ------------------------------------------------------------------------

    def show(self, role: str, value: float) -> None:
        """Let an input show `value` [SI], for example `show("casing_pressure", 1e5)`."""
        channel: AnalogChannel = getattr(self.stand, role)
        held = self.drive.modules[channel.module].values[channel.table]
        for at, word in enumerate(encode(channel, channel.scale.to_raw(value)), channel.address):
            held[at] = word

    def advance(self, to_s: float) -> None:
        """Let time pass up to `to_s` [s]: watchdogs run out, nothing else changes."""
        self._time_s = max(self._time_s, to_s)
        for name, dog in self.dogs.items():
            due = dog.due_s()
            if due is not None and due <= self._time_s:
                dog.tripped = True
                self.drive.fail_safe(name)
        self.read_back()

    @property
    def time_s(self) -> float:
        return self._time_s

    def watchdog_tripped(self, module: str) -> bool:
        return self.dogs[module].tripped

    def read_back(self) -> None:
        """Bring contacts and read-backs up to date; only needed after a change of `switches`."""
        stand, drive = self.stand, self.drive
        drive.follow(self._time_s, self.condition, self.switches)
        drive.follow(self._time_s, self.condition, self.switches)  # a valve moves on the second look
        back, output = stand.demand_readback, stand.demand_output
        if back is not None and (back.module, back.table, back.address) != (
            output.module,
            output.table,
            output.address,
        ):
            self.show("demand_readback", drive.terminals.demand_pa)
        self._bit(stand.emergency_stop_healthy, self.switches.emergency_stop_healthy)
        self._bit(stand.guard_closed, self.switches.guard_closed)
        self._bit(stand.supply_valve_readback, drive.valves.supply_open)
        self._bit(stand.vent_valve_readback, drive.valves.vent_open)

    # -- the bus -----------------------------------------------------------------------------------

    def unit(self, unit: int, link: str | None = None) -> Unit:
        """The unit of that number; raises NoAnswer when it is silent, Refused(0x0B) when there is none."""
        if unit in self.silent:
            raise NoAnswer(f"unit {unit} is silent")
        for (on_link, number), held in self._units.items():
            if number == unit and link in (None, on_link):
                return held
        raise Refused(Code.GATEWAY_TARGET, f"no unit {unit}")

    def read(self, unit: int, table: Table, address: int, count: int, link: str | None = None) -> list[int]:
        held = self.unit(unit, link)
        held.check_read(table, address, count)
        self._fed(held, writes=False)
        return super().read(unit, table, address, count, link)

    def write(
        self,
        unit: int,
        table: Table,
        address: int,
        values: Sequence[int],
        function: int | None = None,
        link: str | None = None,
    ) -> None:
        held = self.unit(unit, link)
        held.check_write(table, address, [int(value) for value in values], function)
        self._fed(held, writes=True)
        name = held.module.name
        dog = self.dogs.get(name)
        if dog is not None and dog.tripped and self.drive.is_output(name, table, address, len(values)):
            raise Refused(Code.SERVER_FAILURE, "the watchdog has tripped")
        super().write(unit, table, address, values, function, link)
        for at, value in enumerate(values, address):
            if dog is not None and table is Table.HOLDING:
                dog.written(at, value, self._time_s)
        self.drive.changed = True
        self.read_back()

    module_read, module_write = read, write

    def _get(self, unit: int, table: Table, address: int, count: int) -> list[int]:
        held = self.unit(unit).values[table]
        return [held[at] for at in range(address, address + count)]

    def _set(self, unit: int, table: Table, address: int, value: int) -> None:
        self.unit(unit).values[table][address] = value

    def _bit(self, bit: BitChannel | None, on: bool) -> None:
        if bit is not None:
            write_bit(self.drive.modules[bit.module], bit, on != bit.inverted)

    def _fed(self, held: Unit, writes: bool) -> None:
        dog = self.dogs.get(held.module.name)
        if dog is not None:
            dog.request(self._time_s, writes)
