"""Faults of stem, spring, connector and seat."""

from typing import TYPE_CHECKING

from simulator.condition import Condition
from simulator.faults.kinds import kind

if TYPE_CHECKING:
    from simulator.faults.runner import Running
    from simulator.stand import SimulatedStand

JAMMED = 1000.0  # times the packing friction: no air of the stand moves it


@kind("stem jams", "mechanics", "-", "the stem does not move, whatever the air does")
def stem_jams(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.friction_factor = JAMMED


@kind("friction rises", "mechanics", "factor", "packing friction is so many times what it was")
def friction_rises(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.friction_factor *= one.fault.size


@kind("spring breaks", "mechanics", "share left (0.5)", "rate and preload drop")
def spring_breaks(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.spring_factor = one.fault.size


@kind("connector slips", "mechanics", "m", "the plug sits lower on the actuator stem by so much")
def connector_slips(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.slip_m = one.fault.size


@kind("something in the seat", "mechanics", "m", "the plug lands on something this thick")
def something_in_the_seat(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.debris_m = one.fault.size
