"""An actuator on an I/P with event-driven friction: it breaks away at any speed, however slow, and hops.

LuGre friction creeps smoothly at very low speed, which is too kind to a procedure that creeps. Here the
stem has no mass: it is stuck (with pre-sliding) until the net force exceeds static friction, then it hops.
A hop is (1 + exp(-pi zeta / sqrt(1 - zeta^2))) (F - Fc) / (k + k_air): half a swing of a damped mass on
spring and trapped air. Static friction scatters from hop to hop and heals with rest time. Isothermal air.
"""

from dataclasses import dataclass, field
from math import exp, log10, pi, sqrt
from random import Random

from simulator.actuator import Actuator
from simulator.plant import Inputs

ATMOSPHERE_PA = 101_325.0
STEP_S = 0.005


@dataclass
class BreakAway:
    """`advance` marches to a time [s]; pressures gauge [Pa], x along the stroke [m]."""

    actuator: Actuator
    lag_s: float = 0.15
    fill_s: float = 0.7  # time constant of the casing with the stem stuck
    error_pa: float = 0.0  # the I/P's: what it makes less what it was asked for
    seed: int = 0
    wander_pa: float = 0.0  # half width of a slow wander of the I/P
    inputs: Inputs = field(default_factory=Inputs)

    def __post_init__(self) -> None:
        self.random = Random(self.seed)
        self.time_s = self.pilot_pa = self.casing_pa = self.friction_n = 0.0
        self.low_m, self.high_m = 0.0, self.actuator.travel_m
        self.x_m = self.anchor_m = self.low_m
        self.rest_s = 0.0
        self.hops: list[float] = []
        self._phase = self.random.uniform(0.0, 2.0 * pi)
        self._static_n = self._break_force()

    def _break_force(self) -> float:
        f = self.actuator.friction
        healed = f.healing_per_decade * log10(self.rest_s) if self.rest_s > 1.0 else 0.0
        scattered = 1.0 + f.scatter * self.random.gauss(0.0, 1.0)
        return self._coulomb() * max(1.0, (f.static_ratio + healed) * scattered)

    def _coulomb(self) -> float:
        f, a = self.actuator.friction, self.actuator
        share = 1.0 if a.coupled else a.actuator_friction_share
        return f.coulomb_n * share * f.factor_at(self.x_m)

    def advance(self, to_s: float) -> None:
        while self.time_s < to_s - 1e-9:
            self._step(min(STEP_S, to_s - self.time_s))

    def _step(self, dt: float) -> None:
        a, i = self.actuator, self.inputs
        self.time_s += dt
        wander = self.wander_pa * sin_like(self._phase + 2.0 * pi * self.time_s / 47.0)
        asked = max(0.0, i.demand_pa + self.error_pa + wander) if i.supply_open else 0.0
        self.pilot_pa += (asked - self.pilot_pa) * dt / (self.lag_s + dt)
        volume = a.casing_volume_m3 + a.area_m2 * self.x_m
        inside = self.casing_pa + ATMOSPHERE_PA
        still_volume = a.casing_volume_m3 + 0.5 * a.area_m2 * a.travel_m
        fill = dt / self.fill_s * still_volume
        amount = inside * volume + (self.pilot_pa - self.casing_pa) * fill
        if i.vent_open:
            amount -= self.casing_pa * fill * 3.0
        self.casing_pa = amount / volume - ATMOSPHERE_PA
        self.rest_s += dt
        self._settle(amount)

    def _settle(self, amount: float) -> None:
        """Stem and pressure in balance for the air that is in the casing: stuck, sliding or hopping."""
        a, s0 = self.actuator, self.actuator.friction.bristle_n_per_m
        volume = a.casing_volume_m3 + a.area_m2 * self.x_m
        k_air = (self.casing_pa + ATMOSPHERE_PA) * a.area_m2**2 / volume
        net = a.area_m2 * self.casing_pa - a.rest_force_n - a.slope_n_per_m * self.x_m
        held = s0 * (self.x_m - self.anchor_m)
        move = (net - held) / (s0 + a.slope_n_per_m + k_air)
        self._move(move, amount)
        force = s0 * (self.x_m - self.anchor_m)
        if self.x_m <= self.low_m or self.x_m >= self.high_m:
            self.friction_n = 0.0
            self.anchor_m = self.x_m
            inward = 1.0 if self.x_m <= self.low_m else -1.0
            net = a.area_m2 * self.casing_pa - a.rest_force_n - a.slope_n_per_m * self.x_m
            if inward * net < self._static_n:
                self.rest_s = self.rest_s or 0.0
                return
            force = net
        elif abs(force) < self._static_n:
            self.friction_n = force
            return
        self._hop(force, k_air, amount)

    def _hop(self, force: float, k_air: float, amount: float) -> None:
        a, f = self.actuator, self.actuator.friction
        sign = 1.0 if force > 0.0 else -1.0
        stiff = a.slope_n_per_m + k_air
        zeta = min(0.999, f.viscous_n_s_per_m / (2.0 * sqrt(a.moving_mass_kg * stiff)))
        swing = 1.0 + exp(-pi * zeta / sqrt(1.0 - zeta * zeta))
        coulomb = self._coulomb()
        hop = swing * max(0.0, abs(force) - coulomb) / stiff
        before = self.x_m
        self._move(sign * hop, amount)
        if abs(self.x_m - before) > 1e-5:
            self.hops.append(self.x_m - before)
        net = a.area_m2 * self.casing_pa - a.rest_force_n - a.slope_n_per_m * self.x_m
        self.friction_n = max(-coulomb, min(coulomb, net))
        self.anchor_m = self.x_m - self.friction_n / f.bristle_n_per_m
        self.rest_s = 0.0
        self._static_n = self._break_force()

    def _move(self, by_m: float, amount: float) -> None:
        a = self.actuator
        self.x_m = min(self.high_m, max(self.low_m, self.x_m + by_m))
        self.casing_pa = amount / (a.casing_volume_m3 + a.area_m2 * self.x_m) - ATMOSPHERE_PA


def sin_like(phase: float) -> float:
    """A triangle wave of one: it spends as long at every value."""
    turn = (phase / (2.0 * pi)) % 1.0
    return 4.0 * abs(turn - 0.5) - 1.0
