"""Ride an actuator up and down on a slow pressure ramp and read its curve."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.actuator import Actuator
from simulator.plant import Converter, Inputs, Outputs, Plant

STEP_S = 0.02


@dataclass(frozen=True)
class Ride:
    """Casing pressure [Pa gauge] and stem position [m], up and then down."""

    casing_pa: NDArray[np.float64]
    stem_m: NDArray[np.float64]
    top: int  # first sample of the way down
    travel_m: float

    def up_at(self, x_m: float) -> float:
        return self._at(slice(0, self.top), x_m)

    def down_at(self, x_m: float) -> float:
        return self._at(slice(self.top, None), x_m)

    def crossing_up(self, x_m: float) -> float:
        """The running line of the way up, extrapolated to x [Pa]."""
        a, b = self._line(slice(0, self.top), x_m)
        return a + b * x_m

    def crossing_down(self, x_m: float) -> float:
        a, b = self._line(slice(self.top, None), x_m)
        return a + b * x_m

    def slope_up(self) -> float:
        return self._line(slice(0, self.top), 0.5 * self.travel_m, 0.4)[1]

    def _line(self, part: slice, x_m: float, share: float = 0.25) -> tuple[float, float]:
        p, x = self.casing_pa[part], self.stem_m[part]
        near = abs(x - x_m) < share * self.travel_m
        inside = (x > 0.02 * self.travel_m) & (x < 0.98 * self.travel_m)
        b, a = np.polyfit(x[near & inside], p[near & inside], 1)
        return float(a), float(b)

    def _at(self, part: slice, x_m: float) -> float:
        a, b = self._line(part, x_m, 0.05)
        return a + b * x_m


def ride(
    actuator: Actuator,
    top_pa: float,
    rate_pa_per_s: float,
    converter: Converter | None = None,
    step_s: float = 0.002,
) -> Ride:
    """From 0 to `top_pa` and back to 0, then vented for 2 s."""
    converter = converter or Converter(
        lag_s=0.05, supply_pa=2.0 * top_pa, full_scale_pa=2.0 * top_pa,
        fill_conductance=1e-7, exhaust_conductance=1e-7,
    )  # fmt: skip
    plant = Plant(actuator, converter, step_s=step_s)
    inputs = Inputs(supply_open=True, vent_open=False)
    seconds = top_pa / rate_pa_per_s
    outputs: list[Outputs] = []
    for i in range(1, round((2.0 * seconds + 2.0) / STEP_S) + 1):
        t = i * STEP_S
        inputs.demand_pa = max(0.0, min(rate_pa_per_s * t, 2.0 * top_pa - rate_pa_per_s * t))
        outputs.append(plant.update(t, inputs))
    return Ride(
        np.array([o.casing_pa for o in outputs]),
        np.array([o.stem_m for o in outputs]),
        round(seconds / STEP_S),
        actuator.travel_m,
    )
