"""Full strokes within a guided procedure: the stages of a bench check, read at once by its analysis.

Beside the quantities it tells where the stem stood in the yoke: at rest before and after each stroke, and
held at the top. Heights count from the rest of the actuator alone, positive the way air moves the stem, so
they do not care how stem and plug are coupled.
"""

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from rig.analysis.check import analyse
from rig.analysis.result import CheckResult, Estimate, Quantity
from rig.analysis.samples import REST, TOP, ZERO, Floats, Samples, Sensors
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import plan_ramp
from rig.procedure.rows import Rows
from rig.procedure.watch import Stroke
from rig.profile.model import Profile
from safety.signals import Demand, Reading

Mask: TypeAlias = NDArray[np.bool_]

LEVEL_S = 1.0  # the end of a stage, over which a standing stem is read


@dataclass(frozen=True, slots=True)
class FullStrokes:
    """`rests` are heights [m] at rest: before the first stroke and after each; `tops` held at each top."""

    result: CheckResult
    rests: tuple[float, ...]
    tops: tuple[float, ...]
    remarks: tuple[str, ...]

    def estimate(self, key: str) -> Estimate | None:
        """A measured quantity [SI], None where it was not measured."""
        found: Quantity = self.result.quantities[key]
        if found.value is None or found.standard_uncertainty is None:
            return None
        return Estimate(found.value, found.standard_uncertainty, found.degrees_of_freedom)

    def why(self, key: str) -> str:
        """Why a quantity was not measured; empty where it was."""
        found = self.result.quantities[key]
        return "" if found.value is not None else found.why


@dataclass
class Strokes:
    """`run` strokes the valve `cycles` times. `yoke` knows where the actuator alone rests; where it does
    not yet, the rest found now is taken, and the first movement tells its sense."""

    profile: Profile
    sensors: Sensors
    yoke: Stroke
    highest_pa: float
    cycles: int = 1
    rows: Rows = field(default_factory=Rows)

    def run(self) -> Generator[Demand, Reading, FullStrokes]:
        check = BenchCheck(self.profile, plan_ramp(self.profile, self.highest_pa), cycles=self.cycles)
        steps = check.run()
        try:
            demand = next(steps)
            while True:
                reading = yield demand
                self.yoke.see(reading)
                self.rows.keep(demand, reading, demand.cycle)
                demand = steps.send(reading)
        except StopIteration:
            pass
        samples = self.rows.samples()
        if self.yoke.rest_m is None:
            self.yoke.rest_m, self.yoke.sense = check.stroke.rest_m, check.stroke.sense
        return FullStrokes(
            analyse(samples, self.profile, self.sensors),
            (*self._levels(samples, ZERO), *self._levels(samples, REST)),
            self._levels(samples, TOP),
            tuple(check.remarks),
        )

    def _levels(self, samples: Samples, stage: str) -> tuple[float, ...]:
        numbers = sorted(set(samples.cycle[samples.stage == stage].tolist()))
        heights = (self._height(samples, (samples.stage == stage) & (samples.cycle == n)) for n in numbers)
        return tuple(height for height in heights if height is not None)

    def _height(self, samples: Samples, where: Mask) -> float | None:
        time: Floats = samples.time_s[where]
        position = samples.position_m[where][time > time[-1] - LEVEL_S]
        good = position[np.isfinite(position)]
        if len(good) == 0 or self.yoke.rest_m is None:
            return None
        return (self.yoke.sense or 1) * (float(np.mean(good)) - self.yoke.rest_m)
