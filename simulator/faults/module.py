"""Faults of the output module, and of the room's power."""

from typing import TYPE_CHECKING

from simulator.condition import Condition
from simulator.faults.kinds import kind

if TYPE_CHECKING:
    from simulator.faults.runner import Running
    from simulator.stand import SimulatedStand


@kind("module reboots", "module", "-", "silent; outputs fall to fail-safe, settings are lost")
def reboots(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    if one.memory is None:
        one.memory = time_s
        stand.forget(one.fault.where)
    c.rebooting.add(one.fault.where)


@kind("module silent", "module", "-", "it does not answer; its outputs stay as they are")
def silent(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.module_silent.add(one.fault.where)


@kind("outputs stuck", "module", "-", "registers change, the terminals do not")
def outputs_stuck(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.outputs_stuck.add(one.fault.where)


@kind("writes ignored", "module", "-", "writes are acknowledged and nothing happens")
def writes_ignored(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    c.writes_ignored.add(one.fault.where)


@kind("power cut", "room", "-", "the stand loses its electric power")
def power_cut(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
    if one.memory is None:
        one.memory = time_s
        stand.forget("")
    c.power_cut = True
