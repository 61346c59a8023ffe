"""Faults as things with a name, a start and an end."""

from simulator.faults.fault import Fault, Trigger
from simulator.faults.runner import Faults

__all__ = ["Fault", "Faults", "Trigger"]
