"""The same physics, written a second time as a continuous system for scipy's stiff solvers. SI, absolute."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from simulator.actuator import Actuator
from simulator.plant import Converter

RHO0, T0, R, GAMMA, ROOM_PA = 1.185, 293.15, 287.0475, 1.4, 101_325.0
Floats = NDArray[np.float64]
Demand = Callable[[float], float]


def phi(r: float, b: float) -> float:
    """ISO 6358-1, with the straight end above 0.99."""
    if r > 0.99:
        u = (0.99 - b) / (1 - b)
        return (1 - r) / 0.01 * sqrt(1 - u * u)
    return 1.0 if r <= b else sqrt(1 - ((r - b) / (1 - b)) ** 2)


class Oracle:
    """Right-hand side over (pilot pressure, casing pressure, air mass, x, v, bristle)."""

    def __init__(self, actuator: Actuator, converter: Converter, demand: Demand, vent: bool = False) -> None:
        self.a, self.c, self.demand, self.vent = actuator, converter, demand, vent
        self.supply = ROOM_PA + converter.supply_pa
        seat_low = actuator.action == "air-to-open"
        self.low = (0.0, actuator.seat_stiffness_n_per_m if seat_low else actuator.stop_stiffness_n_per_m)
        self.high = (
            actuator.travel_m,
            actuator.stop_stiffness_n_per_m if seat_low else actuator.seat_stiffness_n_per_m,
        )
        self.foot = actuator.seat_rounding_m

    def flows(self, ps: float, p: float, t: float) -> tuple[float, float]:
        a, c = self.a, self.c
        into = out = 0.0
        if ps >= p:
            tube = a.tubing_conductance * RHO0 * ps * phi(p / ps, a.tubing_critical_ratio)
            ip = c.fill_conductance * RHO0 * self.supply * phi(min(1.0, p / self.supply), c.critical_ratio)
            into = min(tube, ip)
        else:
            warm = sqrt(T0 / t)
            tube = a.tubing_conductance * RHO0 * p * warm * phi(ps / p, a.tubing_critical_ratio)
            ip = c.exhaust_conductance * RHO0 * p * warm * phi(min(1.0, ROOM_PA / p), c.critical_ratio)
            out = min(tube, ip)
        if a.leak_conductance and p > ROOM_PA:
            out += a.leak_conductance * RHO0 * p * sqrt(T0 / t) * phi(ROOM_PA / p, c.critical_ratio)
        return into, out

    def contact(self, x: float, v: float) -> float:
        depth, stiff = (self.low[0] - x, self.low[1]) if x < self.low[0] else (x - self.high[0], self.high[1])
        if depth <= 0:
            return 0.0
        seat = stiff == self.a.seat_stiffness_n_per_m
        foot = self.foot if seat else 0.0
        push = 0.5 * stiff * depth**2 / foot if depth < foot else stiff * (depth - 0.5 * foot)
        return (push if x < self.low[0] else -push) - self.a.contact_damping_n_s_per_m * v

    def __call__(self, time_s: float, y: Sequence[float]) -> list[float]:
        ps, p, m, x, v, z = y
        a, f = self.a, self.a.friction
        area = a.area_m2 * (1 + a.area_change_per_m * x)
        volume = a.casing_volume_m3 + a.area_m2 * x * (1 + 0.5 * a.area_change_per_m * x)
        t = max(1.0, p * volume / (m * R))  # a solver's trial states need not be possible ones
        into, out = self.flows(ps, p, t)
        heat = a.wall_conductance_w_per_k * (T0 - t)
        dp = (GAMMA * R * (T0 * into - t * out) + (GAMMA - 1) * heat - GAMMA * p * area * v) / volume
        g = f.coulomb_n * (1 + (f.static_ratio - 1) * exp(-((v / f.stribeck_m_per_s) ** 2)))
        dz = v - f.bristle_n_per_m * abs(v) * z / g
        scale = f.factor_at(x)
        rub = scale * (f.bristle_n_per_m * z + f.bristle_damping_n_s_per_m * dz) + f.viscous_n_s_per_m * v
        bind = a.end_bind_n_per_m * max(0.0, x - a.end_bind_from_m)
        force = area * (p - ROOM_PA) - a.rest_force_n - a.slope_n_per_m * x - bind
        dv = (force + self.contact(x, v) - rub) / a.moving_mass_kg
        lag = self.c.lag_s + self.c.tubing_length_m / sqrt(GAMMA * R * T0)
        target = ROOM_PA + min(max(self.demand(time_s), 0.0), self.c.supply_pa)
        return [(target - ps) / lag, dp, into - out, v, dv, dz]


def solve(
    oracle: Oracle, start: Sequence[float], corners_s: Sequence[float], at_s: Floats, method: str = "LSODA"
) -> Floats:
    """States at `at_s`, shape (6, n); integrated piece by piece between the corners of the command."""
    y, parts = list(start), []
    for begin, end in pairwise(corners_s):
        inside = at_s[(at_s > begin) & (at_s <= end + 1e-12)]
        points = np.append(inside, end) if not len(inside) or inside[-1] < end else inside
        got = solve_ivp(
            oracle, (begin, end), y, method=method, t_eval=points, rtol=1e-6, max_step=0.02,
            atol=[1e-2, 1e-2, 1e-10, 1e-10, 1e-9, 1e-12],
        )  # fmt: skip
        assert got.success, got.message
        y = got.y[:, -1].tolist()
        parts.append(got.y[:, : len(inside)])
    return np.hstack(parts)


__all__ = ["Oracle", "solve"]
