"""Runs the faults: which are active now, and what they do to the stand's condition."""

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING

from simulator.condition import Condition
from simulator.faults import air, mechanics, module, transmitter, wire  # noqa: F401  (they register their kinds)
from simulator.faults.fault import Fault, Trigger
from simulator.faults.kinds import KINDS

if TYPE_CHECKING:
    from simulator.stand import SimulatedStand


@dataclass(slots=True)
class Running:
    """A fault and how far it has come."""

    fault: Fault
    began_s: float | None = None
    ended: bool = False
    memory: float | None = None  # what a kind wants to remember from its start

    @property
    def active(self) -> bool:
        return self.began_s is not None and not self.ended


class Faults:
    """All faults of a stand."""

    def __init__(self, faults: Sequence[Fault], random: Random) -> None:
        unknown = [fault.kind for fault in faults if fault.kind not in KINDS]
        if unknown:
            raise ValueError(f"no such fault: {', '.join(unknown)}; there are {', '.join(sorted(KINDS))}")
        self.running = [Running(fault) for fault in faults]
        self.random = random
        self._seen_s = 0.0
        self._strokes = 0
        self._up = False

    @property
    def any(self) -> bool:
        return bool(self.running)

    def add(self, fault: Fault) -> None:
        """Put in one more fault while the stand runs."""
        self.running.append(Running(fault))

    def clear(self) -> None:
        """End all faults."""
        for one in self.running:
            one.ended = True

    def look(self, stand: "SimulatedStand", time_s: float) -> Condition:
        """Start and end what is due, and say what is wrong now."""
        condition = Condition()
        step = time_s - self._seen_s
        self._seen_s = time_s
        self._count_strokes(stand)
        for one in self.running:
            if one.began_s is None and self._reached(one.fault.start, stand, time_s, step, None):
                one.began_s = time_s
            elif one.active and self._reached(one.fault.end, stand, time_s, step, one.began_s):
                one.ended = True
            if one.active:
                KINDS[one.fault.kind].apply(condition, one, stand, time_s)
        return condition

    def _count_strokes(self, stand: "SimulatedStand") -> None:
        share = stand.outputs.stem_m / stand.actuator.travel_m
        if not self._up and share > 0.9:
            self._up, self._strokes = True, self._strokes + 1
        elif self._up and share < 0.1:
            self._up = False

    def _reached(
        self, t: Trigger, stand: "SimulatedStand", time_s: float, step_s: float, began_s: float | None
    ) -> bool:
        o = stand.outputs
        sign = 1.0 if t.rising else -1.0
        tests = (
            None if t.time_s is None else time_s >= t.time_s,
            None if t.pressure_pa is None else sign * (o.casing_pa - t.pressure_pa) >= 0.0,
            None if t.travel_m is None else sign * (o.stem_m - t.travel_m) >= 0.0,
            None if t.after_s is None or began_s is None else time_s >= began_s + t.after_s,
            None if t.stroke is None else self._strokes >= t.stroke,
            None if t.chance_per_s is None else self.random.random() < t.chance_per_s * step_s,
        )
        given = [test for test in tests if test is not None]
        return any(given) if given else True
