"""Faults of a transmitter or its wiring; `where` names it, `size` is in its unit (Pa or m)."""

from typing import TYPE_CHECKING

from simulator.condition import Condition
from simulator.faults.kinds import kind

if TYPE_CHECKING:
    from simulator.faults.runner import Running
    from simulator.stand import SimulatedStand


@kind("transmitter fails low", "transmitter", "-", "its current falls below 3.6 mA (NAMUR NE 43)")
def fails_low(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).failed_low = True


@kind("transmitter fails high", "transmitter", "-", "its current rises above 21 mA (NAMUR NE 43)")
def fails_high(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).failed_high = True


@kind("transmitter stuck", "transmitter", "-", "it repeats its last value")
def stuck(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).stuck = True


@kind("transmitter jumps", "transmitter", "Pa or m", "its zero jumps")
def jumps(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).offset += one.fault.size


@kind("transmitter drifts", "transmitter", "Pa/s or m/s", "its zero drifts slowly")
def drifts(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).offset += one.fault.size * (time_s - (one.began_s or 0.0))


@kind("transmitter spikes", "transmitter", "Pa or m", "one sample in twenty is off by so much")
def spikes(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    spoiled = c.of(one.fault.where)
    spoiled.spike_chance, spoiled.spike = 0.05, one.fault.size


@kind("transmitter intermittent", "transmitter", "share of samples", "a loose terminal breaks its loop")
def intermittent(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).dropout_chance = one.fault.size


@kind("wrong range", "transmitter", "factor", "a range jumper is wrong: it shows so many times the value")
def wrong_range(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).factor = one.fault.size


@kind("sensor upside down", "transmitter", "-", "it counts the other way round")
def upside_down(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.of(one.fault.where).upside_down = True


@kind(
    "wires swapped", "transmitter", "-", "two channels exchange their pairs: casing and stem, or two others"
)
def swapped(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    """`where` may name two other roles, "supply_pressure, stem_position"."""
    first, _, second = one.fault.where.partition(",")
    c.swapped = (first.strip(), second.strip()) if second else ("casing_pressure", "stem_position")
