"""Stands for the simulator's own tests: those that it offers to others."""

from simulator.bay import INCH, LIVE, PSI, bare_stand, channel
from simulator.bay import full_stand as stand

__all__ = ["INCH", "LIVE", "PSI", "bare_stand", "channel", "stand"]
