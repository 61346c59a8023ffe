"""Switches and hand valves of the stand, and its hard-wired stop circuit."""

from dataclasses import dataclass


@dataclass(slots=True)
class Switches:
    """True is the healthy sense: closed contact."""

    emergency_stop_healthy: bool = True
    guard_closed: bool = True
    isolating_valve_open: bool = True  # by hand, between hose and casing


@dataclass(frozen=True, slots=True)
class Installation:
    """How the simulated stand was put together."""

    position_reversed: bool = False  # the position transmitter counts down as the stem rises
    position_zero_m: float = 0.0  # what it reads at x = 0
    stop_cuts_valves: bool = True  # the emergency stop takes the power of both solenoid valves
    valve_delay_s: float = 0.02  # solenoid and main stage (assumption)
    watchdog_prearmed: bool = False  # a timeout register already holds its timeout at power-up
