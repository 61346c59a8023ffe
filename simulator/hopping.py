"""A second plant for very low speeds: event-driven friction without mass, on the same parameters.

LuGre creeps smoothly at speeds far below the Stribeck velocity, which is too kind to whoever holds a position
or creeps towards one. Here the stem is stuck, giving only by its bristles, until the force on it reaches
static friction; then it hops at once by

    (1 + exp(-pi zeta / sqrt(1 - zeta^2))) (F - Fc) / (k + k_air),   zeta = c / (2 sqrt(m (k + k_air)))

(half a swing of a damped mass on spring and trapped air, textbook mechanics), at any speed below `v_crit`,
where the falling friction outweighs the viscous: c = 2 (Fs - Fc) v / vs^2 exp(-(v/vs)^2); above it slides.
Static friction scatters from hop to hop (`scatter`) and heals with rest time (`healing_per_decade`).
Deliberately left out: viscous friction while sliding, and the 20 ms that a hop takes.
"""

from dataclasses import dataclass, field
from math import exp, inf, pi, sqrt
from random import Random

from simulator.air import GAMMA, R_AIR, REFERENCE_K
from simulator.march import GAMMA_R, Coefficients, State, contact, exchange, line_of
from simulator.plant import Plant


@dataclass(slots=True)
class HoppingPlant(Plant):
    """A `Plant` with event-driven friction; `seed` draws the scatter."""

    seed: int = 0
    hops: list[float] = field(default_factory=list)  # lengths with sign [m]
    _random: Random = field(init=False, default_factory=Random)
    _drawn: float = field(init=False, default=1.0)  # scatter of the present stick

    def __post_init__(self) -> None:
        Plant.__post_init__(self)
        self._random = Random(f"hops {self.seed}")

    def _march(self, c: Coefficients, steps: int) -> None:
        line, line_v = line_of(c.tube_critical), line_of(c.valve_critical)
        critical = critical_speed(c)
        for _ in range(steps):
            before = self.state.casing_pa
            self.state = breathe(self.state, c, self.step_s, line, line_v)
            self._stem(c, critical, (self.state.casing_pa - before) / self.step_s)

    def _stem(self, c: Coefficients, critical: float, rise_pa_per_s: float) -> None:
        """Stem and pressure in balance again: giving, hopping or sliding."""
        s, held = self.state, c.friction_scale * c.bristle
        area = c.area_m2 + c.area_slope_m * s.x_m
        volume = c.volume_m3 + s.x_m * (c.area_m2 + 0.5 * c.area_slope_m * s.x_m)
        net, stiff = self._net(c, s, area)
        free = stiff + GAMMA * s.casing_pa * area * area / volume
        give = (net - held * s.bristle_m) / (free + held)
        force, sliding = held * (s.bristle_m + give), c.friction_scale * c.coulomb_n
        slow = area * abs(rise_pa_per_s) / free < critical
        if abs(force) <= (max(sliding, c.friction_scale * c.static_n * self._drawn) if slow else sliding):
            self.state = moved(s, give, s.bristle_m + give, area, volume, self.step_s)
            return
        sign = 1.0 if force > 0.0 else -1.0
        length = max(0.0, abs(net) - sliding) / free
        self._rest_s = 0.0
        length = min(length * (swing(c, free) if slow else 1.0), _room(c, s.x_m, sign))
        if slow:
            self.hops.append(sign * length)
            self._drawn = 1.0 + self.actuator.friction.scatter * self._random.gauss(0.0, 1.0)
        s = moved(s, sign * length, s.bristle_m, area, volume, self.step_s)
        net, _ = self._net(c, s, area)
        self.state = s._replace(bristle_m=min(max(net, -sliding), sliding) / held)

    def _is_still(self) -> bool:
        return True  # hops and slides end the rest themselves

    @staticmethod
    def _net(c: Coefficients, s: State, area: float) -> tuple[float, float]:
        """Force of air, spring and contacts, and their stiffness without the air's."""
        net = area * (s.casing_pa - c.room_pa) - c.rest_force_n - c.slope_n_per_m * s.x_m
        stiff = c.slope_n_per_m
        if s.x_m > c.bind_from_m:
            net -= c.bind_n_per_m * (s.x_m - c.bind_from_m)
            stiff += c.bind_n_per_m
        if s.x_m <= c.low_m:
            push, more = contact(c.low_m - s.x_m, c.low_stiffness, c.low_rounding_m)
            return net + push, stiff + more
        if s.x_m >= c.high_m:
            push, more = contact(s.x_m - c.high_m, c.high_stiffness, c.high_rounding_m)
            return net - push, stiff + more
        return net, stiff


def breathe(s: State, c: Coefficients, dt: float, line: float, line_v: float) -> State:
    """One step of I/P and casing with the stem at rest; the gas equations of `simulator.march`."""
    ps = s.pilot_pa + (c.pilot_target_pa - s.pilot_pa) * dt / (c.pilot_lag_s + dt)
    volume = c.volume_m3 + s.x_m * (c.area_m2 + 0.5 * c.area_slope_m * s.x_m)
    gas = s.air_kg * R_AIR
    t = s.casing_pa * volume / gas
    flow_in, flow_out, slope = exchange(s.casing_pa, ps, c, line, line_v)
    warm = sqrt(REFERENCE_K / t) if flow_out > 0.0 else 1.0
    flow_out, slope = flow_out * warm, slope * warm
    heat = (GAMMA - 1.0) * c.wall_w_per_k
    rise = GAMMA_R * (c.room_k * flow_in - t * flow_out) + heat * (c.room_k - t)
    rise = dt * rise / (volume + dt * (GAMMA_R * c.room_k * slope + heat * volume / gas))
    mass = s.air_kg + dt * (flow_in - flow_out - slope * rise)
    return s._replace(pilot_pa=ps, casing_pa=s.casing_pa + rise, air_kg=mass)


def moved(s: State, by_m: float, bristle_m: float, area: float, volume: float, dt: float) -> State:
    """The stem moved; the closed-in air follows adiabatically: p V^g stays."""
    p = s.casing_pa * (volume / (volume + area * by_m)) ** GAMMA
    return s._replace(casing_pa=p, x_m=s.x_m + by_m, v_m_per_s=by_m / dt, bristle_m=bristle_m)


def swing(c: Coefficients, stiffness: float) -> float:
    """How far a damped mass swings past its balance, with the way to it as one."""
    zeta = min(0.999, c.viscous / (2.0 * sqrt(c.mass_kg * stiffness)))
    return 1.0 + exp(-pi * zeta / sqrt(1.0 - zeta * zeta))


def critical_speed(c: Coefficients) -> float:
    """Speed above which the stem slides without hops [m/s]; 0 where it never hops."""
    surplus, vs = c.static_n - c.coulomb_n, c.stribeck_m_per_s
    if surplus <= 0.0:
        return 0.0

    def negative(v: float) -> float:
        return 2.0 * surplus * v / vs**2 * exp(-((v / vs) ** 2)) - c.viscous

    low, high = vs / sqrt(2.0), 6.0 * vs  # the falling branch
    if negative(low) <= 0.0:
        return 0.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if negative(middle) > 0.0 else (low, middle)
    return low


def _room(c: Coefficients, x: float, sign: float) -> float:
    """How far the stem can go before a contact stops it; without limit where it is already pressed in."""
    if sign > 0.0:
        return c.high_m - x if x < c.high_m else inf
    return x - c.low_m if x > c.low_m else inf
