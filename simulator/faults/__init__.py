"""Faults as things with a name, a start and an end."""

from simulator.faults.fault import NEVER, NOW, Fault, Trigger
from simulator.faults.runner import Faults

__all__ = ["NEVER", "NOW", "Fault", "Faults", "Trigger"]
