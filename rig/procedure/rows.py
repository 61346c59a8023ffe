"""What a procedure saw, scan by scan, as the columns that analysis works on."""

from dataclasses import dataclass, field
from math import nan

import numpy as np

from rig.analysis.samples import Samples
from safety.signals import Demand, Reading, Signal


@dataclass
class Rows:
    """`keep` each scan; `samples` are its columns."""

    rows: list[tuple[float, float, float, float, str, int]] = field(default_factory=list)

    def clear(self) -> None:
        self.rows.clear()

    def keep(self, demand: Demand, reading: Reading, cycle: int) -> None:
        pressure, position = _value(reading.pressure), _value(reading.position)
        self.rows.append((reading.time_s, pressure, position, demand.pressure_pa, demand.stage, cycle))

    def samples(self) -> Samples:
        """Raises ValueError where nothing was kept."""
        time, pressure, position, output, stage, cycle = zip(*self.rows, strict=True)
        return Samples(
            time_s=np.array(time),
            pressure_pa=np.array(pressure),
            position_m=np.array(position),
            output_pa=np.array(output),
            supply_pa=np.full(len(time), nan),
            cycle=np.array(cycle, dtype=np.int64),
            stage=np.array(stage),
        )


def _value(signal: Signal) -> float:
    return signal.value if signal.good else nan
