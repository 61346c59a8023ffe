"""Faults of supply, I/P converter, valves and hoses."""

from typing import TYPE_CHECKING

from simulator.air import conductance_si
from simulator.condition import Condition
from simulator.faults.kinds import kind

if TYPE_CHECKING:
    from simulator.faults.runner import Running
    from simulator.stand import SimulatedStand

FULL_ON_PA = 1e9  # more than any supply: the supply limits it


@kind("supply lost", "air", "-", "the supply pressure falls to nothing")
def supply_lost(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.supply_factor = 0.0


@kind("supply low", "air", "share left (0.6)", "the supply pressure is too low")
def supply_low(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.supply_factor = one.fault.size


@kind("supply doubled", "air", "-", "the supply regulator fails open: twice the pressure")
def supply_doubled(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.supply_factor = 2.0


@kind("hose off", "air", "-", "the hose to the casing comes off: casing and I/P blow to the room")
def hose_off(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.hose_off = True


@kind("converter full on", "air", "-", "the I/P gives all the supply, whatever is asked")
def converter_full_on(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.pilot_override_pa = FULL_ON_PA


@kind("converter full off", "air", "-", "the I/P gives nothing")
def converter_full_off(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.pilot_override_pa = 0.0


@kind("converter frozen", "air", "-", "the I/P stays at the pressure it had")
def converter_frozen(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    if one.memory is None:
        one.memory = stand.outputs.pilot_pa
    c.pilot_override_pa = one.memory


@kind("supply valve stuck", "air", "-", "the supply solenoid stays where it is")
def supply_valve_stuck(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.supply_valve_stuck = True


@kind("vent valve stuck", "air", "-", "the vent solenoid stays where it is")
def vent_valve_stuck(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.vent_valve_stuck = True


@kind("exhaust blocked", "air", "share left (0)", "the I/P's exhaust is blocked")
def exhaust_blocked(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.exhaust_factor = one.fault.size if one.fault.size < 1.0 else 0.0


@kind("diaphragm tears", "air", "hole, C in dm3/(s bar)", "the casing loses air through the diaphragm")
def diaphragm_tears(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.leak_extra += conductance_si(one.fault.size)
