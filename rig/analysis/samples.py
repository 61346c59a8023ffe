"""The columns that analysis works on, and the names of the stages that a procedure marks them with."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]

# Stages of a bench check, as marked in Demand.stage and in the record.
ZERO = "zero"  # vented, stem at rest, taking the zero
RISE = "rise"  # from rest up through lift-off to full travel
TOP = "hold at full travel"
RETURN = "return"  # down from full travel through reseat
REST = "vent"  # venting to no pressure, and waiting there for the next cycle


@dataclass(frozen=True, slots=True)
class Samples:
    """One array per column, all shape (n,); nan where a signal was not good.

    `position_m` is as the transmitter gives it: either way round, from any reference.
    """

    time_s: Floats
    pressure_pa: Floats
    position_m: Floats
    output_pa: Floats  # commanded I/P demand
    supply_pa: Floats
    cycle: NDArray[np.int64]  # 1.. for measured cycles, 0 outside them
    stage: NDArray[np.str_]


@dataclass(frozen=True, slots=True)
class Sensors:
    """What the stand file says of the transmitters [SI]."""

    pressure_accuracy_pa: float  # half width
    position_accuracy_m: float  # half width
    pressure_resolution_pa: float = 0.0  # one count
    position_resolution_m: float = 0.0
    pressure_span_pa: float = 0.0
    position_span_m: float = 0.0
    pressure_lag_s: float = 0.0
    position_lag_s: float = 0.0
    pressure_is_inferred: bool = False
