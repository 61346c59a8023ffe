"""A stand that isn't there: physics, transmitters, faults and Modbus servers."""

from simulator.actuator import Actuator, Friction, actuator_for
from simulator.faults import Fault, Trigger
from simulator.mock import MockStand
from simulator.stand import Installation, NoAnswer, Refused, SimulatedStand
from simulator.truth import Truth, truth

__all__ = [
    "Actuator",
    "Fault",
    "Friction",
    "Installation",
    "MockStand",
    "NoAnswer",
    "Refused",
    "SimulatedStand",
    "Trigger",
    "Truth",
    "actuator_for",
    "truth",
]
