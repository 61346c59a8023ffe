"""Faults on the wire; `size` is the share of answers that suffer (1: all), for "late" the delay [s]."""

from typing import TYPE_CHECKING

from simulator.condition import Condition
from simulator.faults.kinds import kind

if TYPE_CHECKING:
    from simulator.faults.runner import Running
    from simulator.stand import SimulatedStand

WIRE = {
    "connection drops": ("share", "the connection is closed instead of answering"),
    "answers missing": ("share", "nothing comes back"),
    "answers late": ("s", "answers come so much later"),
    "answers garbled": ("share", "bytes of the answer are spoilt"),
    "answers short": ("share", "the answer holds fewer registers than asked"),
    "wrong unit answers": ("share", "the answer bears another unit's number"),
    "exception answers": ("exception code", "the module refuses everything"),
    "answers twice": ("share", "every answer is sent twice"),
}


def _register(name: str, size: str, what: str) -> None:
    @kind(name, "wire", size, what)
    def apply(c: Condition, one: "Running", stand: "SimulatedStand", time_s: float) -> None:
        c.wire[name] = one.fault.size


for _name, (_size, _what) in WIRE.items():
    _register(_name, _size, _what)
