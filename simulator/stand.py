"""The simulated stand: registers on one side, an actuator under air on the other. In-process, own time."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from random import Random

from rig.stand.model import BitChannel, Stand, Table
from simulator.actuator import Actuator
from simulator.air import REFERENCE_K
from simulator.condition import Condition
from simulator.contacts import Installation, Switches
from simulator.coupling import coupled_at, height_m, uncoupled
from simulator.faults import Fault, Faults
from simulator.outputs import Drive, write_bit
from simulator.plant import RENEW_S, Converter, Inputs, Outputs, Plant
from simulator.registers import Code, NoAnswer, Refused, Unit, build_units, encode
from simulator.spoiling import happens
from simulator.transmitters import Errors, Transmitter
from simulator.truth import Truth, truth
from simulator.watchdog import DogState

__all__ = ["Installation", "NoAnswer", "Refused", "SimulatedStand"]

MEASURED = ("casing_pressure", "stem_position", "supply_pressure", "demand_readback")


class SimulatedStand:
    """A stand that isn't there. Time passes only in `advance`; every random number comes from `seed`."""

    def __init__(
        self,
        stand: Stand,
        actuator: Actuator,
        *,
        faults: Sequence[Fault] = (),
        seed: int = 0,
        installation: Installation | None = None,
        converter: Converter | None = None,
        errors: Mapping[str, Errors] | None = None,
        plant: Plant | None = None,
    ) -> None:
        self.stand, self.actuator = stand, actuator
        self.installation = installation or Installation()
        self.switches = Switches()
        self.condition = Condition()
        self.converter = converter or Converter(
            supply_pa=stand.supply_pressure_pa, full_scale_pa=stand.demand_output.scale.span
        )
        self.plant = plant or Plant(actuator, self.converter)
        self.faults = Faults(faults, Random(f"faults {seed}"))
        self._random = Random(f"line {seed}")
        self._units = build_units(stand)
        by_name = {unit.module.name: unit for unit in self._units.values()}
        self._dogs = {
            name: DogState(unit.module.watchdog)
            for name, unit in by_name.items()
            if unit.module.watchdog is not None
        }
        self.drive = Drive(stand, by_name, self._dogs, self.installation)
        self._transmitters = self._fit_transmitters(errors or {}, seed)
        self._inputs = Inputs()
        self._time_s = 0.0
        self.outputs: Outputs = self.plant.outputs(self._inputs)
        self._fresh = False
        if self.installation.watchdog_prearmed:
            self._prearm()
        if self.faults.any:  # what is wrong from the start is wrong in the first reading, too
            self.condition = self.faults.look(self, 0.0)
        self._see()

    # -- time --------------------------------------------------------------------------------------

    @property
    def time_s(self) -> float:
        return self._time_s

    def advance(self, to_s: float) -> None:
        """Let time pass up to `to_s`; an earlier time does nothing."""
        while self._time_s < to_s:
            stop = min(to_s, self._time_s + RENEW_S)
            for dog in self._dogs.values():
                due = dog.due_s()
                if due is not None and due < stop:
                    stop = max(due, self._time_s)
            self._pass(stop)

    # -- the bus -----------------------------------------------------------------------------------

    def read(self, unit: int, table: Table, address: int, count: int, link: str | None = None) -> list[int]:
        """Words or bits of one read request, faults of the wire included.

        Raises Refused, or NoAnswer where nothing believable would come back before the link's deadline.
        """
        values = self.module_read(unit, table, address, count, link)
        short = self._line(unit, link)
        return values[:-1] if short and len(values) > 1 else values

    def write(
        self,
        unit: int,
        table: Table,
        address: int,
        values: Sequence[int],
        function: int | None = None,
        link: str | None = None,
    ) -> None:
        """One write request, faults of the wire included: it is obeyed even where its answer is lost.

        `function` is the Modbus function code, None for whichever the module takes. Raises as `read` does.
        """
        self.module_write(unit, table, address, values, function, link)
        self._line(unit, link)

    def module_read(
        self, unit: int, table: Table, address: int, count: int, link: str | None = None
    ) -> list[int]:
        """As `read`, at the module's own terminals."""
        held = self.unit(unit, link)
        held.check_read(table, address, count)
        self._fed(held, writes=False)
        self._refresh()
        values = held.values[table]
        return [values[at] for at in range(address, address + count)]

    def module_write(
        self,
        unit: int,
        table: Table,
        address: int,
        values: Sequence[int],
        function: int | None = None,
        link: str | None = None,
    ) -> None:
        """As `write`, at the module's own terminals."""
        held = self.unit(unit, link)
        wanted = [int(value) for value in values]
        held.check_write(table, address, wanted, function)
        self._fed(held, writes=True)
        name = held.module.name
        dog = self._dogs.get(name)
        if dog is not None and dog.tripped and self.drive.is_output(name, table, address, len(wanted)):
            raise Refused(Code.SERVER_FAILURE, "the watchdog has tripped")
        if name in self.condition.writes_ignored or "" in self.condition.writes_ignored:
            return
        for at, value in enumerate(wanted, address):
            held.values[table][at] = value
            if dog is not None and table is Table.HOLDING:
                dog.written(at, value, self._time_s)
        self.drive.changed = True
        self.drive.follow(self._time_s, self.condition, self.switches)

    def unit(self, unit: int, link: str | None = None) -> Unit:
        """The unit of that number; raises NoAnswer when it is silent, Refused(0x0B) when there is none."""
        for (on_link, number), held in self._units.items():
            if number == unit and link in (None, on_link):
                c = self.condition
                silent = c.module_silent | c.rebooting
                if c.power_cut or held.module.name in silent or "" in silent:
                    raise NoAnswer(f"{held.module.name} is silent")
                if "exception answers" in c.wire:
                    raise Refused(int(c.wire["exception answers"]), "as the fault says")
                return held
        raise Refused(Code.GATEWAY_TARGET, f"no unit {unit}")

    def watchdog_tripped(self, module: str) -> bool:
        return self._dogs[module].tripped

    @property
    def room_k(self) -> float:
        """Temperature of the room [K]: the transmitters drift with it, the air takes it on."""
        return self.plant.room_k

    @room_k.setter
    def room_k(self, kelvin: float) -> None:
        self.plant.room_k = kelvin
        for transmitter in self._transmitters.values():
            transmitter.room_offset_k = kelvin - REFERENCE_K

    # -- people and truth --------------------------------------------------------------------------

    def press_emergency_stop(self) -> None:
        self.switches.emergency_stop_healthy = False
        self._see()

    def release_emergency_stop(self) -> None:
        self.switches.emergency_stop_healthy = True
        self._see()

    def open_guard(self) -> None:
        self.switches.guard_closed = False
        self._see()

    def close_guard(self) -> None:
        self.switches.guard_closed = True
        self._see()

    def shut_isolating_valve(self) -> None:
        """By hand: what is in the casing stays there, whatever I/P and hose do."""
        self.switches.isolating_valve_open = False

    def open_isolating_valve(self) -> None:
        self.switches.isolating_valve_open = True

    def turn_adjuster(self, turns: float) -> None:
        """Turn the adjuster in (out: negative), as a person would; the truth follows."""
        self.change_actuator(self.actuator.turned(turns))

    def uncouple(self) -> None:
        """Undo the stem connector, whatever is stored in it."""
        self.change_actuator(uncoupled(self.actuator))

    def couple(self, plug_off_seat_m: float = 0.0) -> None:
        """Make the connector where the stem stands now, with the plug that far off its seat [m]."""
        height = height_m(self.actuator, self.outputs.stem_m)
        before = self.actuator.slack_m
        self.change_actuator(coupled_at(self.actuator, height, plug_off_seat_m))
        self.plant.shift(before - self.actuator.slack_m)
        self.installation = replace(
            self.installation,
            position_zero_m=self.installation.position_zero_m
            + (-1.0 if self.installation.position_reversed else 1.0) * (self.actuator.slack_m - before),
        )

    def change_actuator(self, actuator: Actuator) -> None:
        """Work on the valve: the stem stays where it is, everything else is as in `actuator` from now on."""
        self.actuator = self.plant.actuator = actuator

    def forget(self, module: str) -> None:
        """Power-up of a module ("" for all): outputs at fail-safe, watchdog as delivered."""
        for name, unit in self.drive.modules.items():
            if module not in ("", name):
                continue
            self.drive.fail_safe(name)
            dog = self._dogs.get(name)
            if dog is None:
                continue
            self._dogs[name] = self.drive.dogs[name] = DogState(dog.setting)
            for register in (dog.setting.timeout_register, dog.setting.reset_register):
                if register is not None:
                    unit.values[Table.HOLDING][register] = 0

    @property
    def truth(self) -> Truth:
        return truth(self.actuator, self.converter.supply_pa)

    def _line(self, unit: int, link: str | None) -> bool:
        """What the wire does to an answer, as a client sees it; True when the answer is short."""
        wire = self.condition.wire
        if not wire:
            return False
        deadline = self.stand.links[self.unit(unit, link).module.link].deadline_s
        if wire.get("answers late", 0.0) > deadline:
            raise NoAnswer("too late")
        for name in ("connection drops", "answers missing", "answers garbled", "wrong unit answers"):
            if happens(wire, name, self._random):
                raise NoAnswer(name)
        return happens(wire, "answers short", self._random)

    # -- inside ------------------------------------------------------------------------------------

    def _pass(self, stop_s: float) -> None:
        if self.faults.any:
            self.condition = self.faults.look(self, self._time_s)
        self.drive.follow(self._time_s, self.condition, self.switches)
        self._set_inputs()
        self.outputs = self.plant.update(stop_s, self._inputs)
        self._time_s = stop_s
        self._see()
        for name, dog in self._dogs.items():
            due = dog.due_s()
            if due is not None and due <= self._time_s:
                dog.tripped = True
                self.drive.fail_safe(name)

    def _set_inputs(self) -> None:
        i, c, drive = self._inputs, self.condition, self.drive
        i.demand_pa = drive.terminals.demand_pa
        i.supply_open, i.vent_open = drive.valves.supply_open, drive.valves.vent_open
        i.supply_factor, i.pilot_override_pa = c.supply_factor, c.pilot_override_pa
        i.isolated = not self.switches.isolating_valve_open
        i.hose_off, i.exhaust_factor, i.leak_extra = c.hose_off, c.exhaust_factor, c.leak_extra
        i.friction_factor, i.spring_factor = c.friction_factor, c.spring_factor
        i.debris_m, i.slip_m = c.debris_m, c.slip_m

    def _see(self) -> None:
        """Transmitters take in what is true now."""
        self._fresh = False
        o, inst = self.outputs, self.installation
        sense = -1.0 if inst.position_reversed else 1.0
        true = {
            "casing_pressure": o.casing_pa,
            "stem_position": inst.position_zero_m + sense * o.stem_m,
            "supply_pressure": o.supply_pa,
            "demand_readback": self.drive.terminals.demand_pa,
        }
        for role, transmitter in self._transmitters.items():
            transmitter.spoiled = self.condition.of(role)
            transmitter.follow(self._time_s, true[role])

    def _refresh(self) -> None:
        """Put what the inputs show into the registers."""
        if self._fresh:
            return
        self._fresh = True
        stand, drive = self.stand, self.drive
        for role, transmitter in self._transmitters.items():
            channel = transmitter.channel
            held = drive.modules[channel.module].values[channel.table]
            for at, word in enumerate(encode(channel, self._shown(role, transmitter)), channel.address):
                held[at] = word
        powered = not self.condition.power_cut
        self._show(stand.emergency_stop_healthy, self.switches.emergency_stop_healthy and powered)
        self._show(stand.guard_closed, self.switches.guard_closed and powered)
        self._show(stand.supply_valve_readback, drive.valves.supply_open)
        self._show(stand.vent_valve_readback, drive.valves.vent_open)

    def _shown(self, role: str, transmitter: Transmitter) -> float:
        """The count, taken from the other channel where two pairs of wires are exchanged."""
        swapped = self.condition.swapped
        if swapped is None or role not in swapped:
            return transmitter.raw
        other = self._transmitters[swapped[1] if role == swapped[0] else swapped[0]].raw
        return other if transmitter.channel.number.value == "float32" else float(round(other))

    def _show(self, bit: BitChannel | None, healthy: bool) -> None:
        if bit is not None:
            write_bit(self.drive.modules[bit.module], bit, healthy != bit.inverted)

    def _fed(self, held: Unit, writes: bool) -> None:
        dog = self._dogs.get(held.module.name)
        if dog is not None:
            dog.request(self._time_s, writes)

    def _prearm(self) -> None:
        for name, dog in self._dogs.items():
            register = dog.setting.timeout_register
            if register is not None:
                counts = round(dog.setting.timeout_s / dog.setting.timeout_unit_s)
                self.drive.modules[name].values[Table.HOLDING][register] = counts
                dog.timeout_s = dog.setting.timeout_s

    def _fit_transmitters(self, errors: Mapping[str, Errors], seed: int) -> dict[str, Transmitter]:
        fitted = {}
        for role in MEASURED:
            channel = getattr(self.stand, role)
            if channel is None or (role == "demand_readback" and self._is_the_output(role)):
                continue
            own = errors.get(role, errors.get("", Errors()))
            if role == "demand_readback":
                own = replace(own, noise_share=0.0)  # the module reads its own output back as a number
            fitted[role] = Transmitter(channel, own, Random(f"{role} {seed}"))
        return fitted

    def _is_the_output(self, role: str) -> bool:
        """Read-back by reading the output register itself needs no transmitter."""
        back, out = getattr(self.stand, role), self.stand.demand_output
        return (back.module, back.table, back.address) == (out.module, out.table, out.address)
