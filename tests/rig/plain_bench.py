"""A guided procedure on the simulated plant without bus and guard: quick, for campaigns of hundreds.

What the guard would do with a person's events is granted at once; `guided_bench` has the real one.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import Any

from rig.procedure.conductor import Conductor, Logged
from rig.procedure.guided import Code, Guided
from safety.signals import Demand, Health, Reading, Signal
from safety.state import Mode, PersonEvent
from simulator.actuator import Actuator
from simulator.coupling import coupled_at, height_m, uncoupled
from simulator.plant import Converter, Inputs, Plant

PSI, INCH = 6894.757293168361, 0.0254


@dataclass
class PlainStand:
    """Plant and transmitters: noise as standard deviation, quantised. Position is the stem's height in the
    yoke, so it does not know how stem and plug are coupled."""

    actuator: Actuator
    converter: Converter
    seed: int = 0
    scans_per_s: float = 50.0
    noise_pa: float = 0.06 * PSI
    noise_m: float = 0.002 * INCH
    count_pa: float = 60 * PSI / 4096
    count_m: float = 2 * INCH / 4096
    sense: int = 1
    zero_m: float = 0.0
    time_s: float = 0.0
    slip_m: float = 0.0

    def __post_init__(self) -> None:
        self.plant = Plant(self.actuator, self.converter)
        self.random = Random(f"stand {self.seed}")
        self.inputs = Inputs(supply_open=False, vent_open=True)
        self.output_pa, self.scan = 0.0, 0

    @property
    def stem_m(self) -> float:
        """The actuator stem above its own lower stop."""
        return height_m(self.actuator, self.plant.state.x_m)

    def turn_adjuster(self, turns: float) -> None:
        self._become(self.actuator.turned(turns))

    def uncouple(self) -> None:
        self._become(uncoupled(self.actuator))

    def couple(self, plug_off_seat_m: float = 0.0) -> None:
        before = self.actuator.slack_m
        self._become(coupled_at(self.actuator, self.stem_m, plug_off_seat_m))
        self.plant.shift(before - self.actuator.slack_m)

    def _become(self, actuator: Actuator) -> None:
        self.actuator = self.plant.actuator = actuator

    def answer(self, demand: Demand, frozen: bool = False) -> Reading:
        step = 1.0 / self.scans_per_s
        change = demand.rate_pa_per_s * step
        if demand.vent:
            self.output_pa = 0.0
        elif not frozen:
            self.output_pa += max(-change, min(change, demand.pressure_pa - self.output_pa))
        i = self.inputs
        i.demand_pa, i.vent_open, i.supply_open = self.output_pa, demand.vent, not demand.vent
        i.slip_m = self.slip_m
        self.scan += 1
        self.time_s = now = self.scan * step
        out = self.plant.update(now, i)
        gauss = self.random.gauss
        pressure = _counted(out.casing_pa + gauss(0.0, self.noise_pa), self.count_pa)
        height = height_m(self.actuator, out.stem_m)
        position = _counted(self.zero_m + self.sense * height + gauss(0.0, self.noise_m), self.count_m)
        return Reading(self.scan, now, Signal(pressure, Health.GOOD, now), Signal(position, Health.GOOD, now))


def _counted(value: float, count: float) -> float:
    return round(value / count) * count if count > 0.0 else value


@dataclass
class PlainRide:
    value: Any
    log: list[Logged]
    seconds: float
    readings: list[Reading] = field(default_factory=list)

    def texts(self) -> str:
        return "\n".join(f"{entry.time_s:8.2f} {entry.told.kind:7s} {entry.told.text}" for entry in self.log)


def ride_plain(
    stand: PlainStand,
    guided: Guided,
    code: Code[Any],
    script: Any,
    limit_s: float = 7200.0,
    each: Callable[[PlainStand], None] = lambda stand: None,
) -> PlainRide:
    """Until the procedure returns; STOP and alarms of the guard are left out."""
    log: list[Logged] = []
    script.machine = stand
    conductor: Conductor[Any] = Conductor(guided, code, script, log.append)
    steps = conductor.run()
    began_s, mode, demand = stand.time_s, Mode.RAMPING, next(steps)
    while stand.time_s - began_s < limit_s:
        reading = stand.answer(demand, frozen=mode is Mode.HANDS_IN)
        each(stand)
        try:
            demand = steps.send(reading)
        except StopIteration as stop:
            return PlainRide(stop.value, log, stand.time_s - began_s)
        event = conductor.take_event()
        if event is PersonEvent.HANDS_IN:
            mode = Mode.HANDS_IN
        elif event is PersonEvent.HANDS_OUT:
            mode = Mode.RAMPING
        elif event is PersonEvent.STOP:
            steps.close()
            return PlainRide(None, log, stand.time_s - began_s)
        conductor.saw(mode.value)
    raise AssertionError(
        f"the procedure did not end within {limit_s:.0f} s\n" + PlainRide(None, log, 0).texts()
    )
