"""A toy casing and stem for tests of false trips: air flow, a sticking stem, noise and quantisation.

Not the simulated stand: just enough of what makes a healthy stand look odd. Flow after ISO 6358 with the
sonic conductance C in dm3/(s bar) (isothermal); friction as a play operator that slips in whole hops.
"""

import random
from dataclasses import dataclass, field
from math import sqrt

from safety.limits import PSI
from safety.signals import Command, Health, Reading, Signal

ATMOSPHERE_PA = 101_325.0
CRITICAL = 0.3  # critical pressure ratio, typical of fittings (ISO 6358; from memory)
SQUARE_INCH_M2, INCH_M = 0.0254**2, 0.0254


def flow(conductance: float, from_pa: float, to_pa: float) -> float:
    """Free-air flow [dm3/s] from one absolute pressure to a lower one."""
    ratio = to_pa / from_pa
    if ratio <= CRITICAL:
        factor = 1.0
    else:
        factor = sqrt(max(0.0, 1.0 - ((ratio - CRITICAL) / (1.0 - CRITICAL)) ** 2))
    return conductance * from_pa / 1e5 * factor


@dataclass
class Toy:
    area_in2: float = 105.0
    travel_in: float = 1.125
    lower_psi: float = 10.0
    span_psi: float = 20.0
    half_band_psi: float = 0.5
    hop_share: float = 0.0  # the stem sticks, then slips by this share of travel
    conductance: float = 0.6
    vent_conductance: float = 3.0
    noise_share: float = 0.0025  # of the transmitter's span
    bits: int = 12
    span_gauge_psi: float = 60.0
    sense: int = 1
    error_psi: float = 0.5  # of the I/P: the casing settles this much off the demand
    seed: int = 1
    pressure_pa: float = 0.0  # gauge, true
    share: float = 0.0
    time_s: float = 0.0
    scan: int = 0
    source_pa: float = 0.0
    dice: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self.dice = random.Random(self.seed)

    def run(self, seconds: float, command: Command, step_s: float = 0.005) -> None:
        for _ in range(max(1, round(seconds / step_s))):
            self._step(step_s, command)
        self.time_s += seconds

    def _step(self, dt: float, command: Command) -> None:
        wanted = max(0.0, command.output_pa + self.error_psi * PSI) if command.supply_open else 0.0
        self.source_pa += (wanted - self.source_pa) * dt / 0.15
        inside, source = self.pressure_pa + ATMOSPHERE_PA, self.source_pa + ATMOSPHERE_PA
        air = flow(self.conductance, source, inside) if source > inside else 0.0
        air -= flow(self.conductance, inside, source) if inside > source else 0.0
        if command.vent_open and inside > ATMOSPHERE_PA:
            air -= flow(self.vent_conductance, inside, ATMOSPHERE_PA)
        before = self._volume_dm3()
        amount = inside * before + air * ATMOSPHERE_PA * dt
        self.pressure_pa = amount / before - ATMOSPHERE_PA
        self._move()
        self.pressure_pa = amount / self._volume_dm3() - ATMOSPHERE_PA  # a moving stem makes room

    def _volume_dm3(self) -> float:
        swept = self.area_in2 * SQUARE_INCH_M2 * self.travel_in * INCH_M * 1000.0
        return swept * (0.6 + self.share)

    def _move(self) -> None:
        at = (self.pressure_pa / PSI - self.lower_psi) / self.span_psi
        band = self.half_band_psi / self.span_psi
        target = min(max(self.share, at - band), at + band)
        target = min(1.0, max(0.0, target))
        if abs(target - self.share) < self.hop_share and 0.0 < target < 1.0:
            return
        # A slipping stem is slowed by the air it draws in: it goes part of the way in one step.
        self.share += (target - self.share) * 0.5 if self.hop_share else target - self.share
        if abs(target - self.share) < 1e-6:
            self.share = target

    def reading(self) -> Reading:
        self.scan += 1
        gauge = self.span_gauge_psi * PSI
        noisy = self.pressure_pa + self.dice.gauss(0.0, self.noise_share * gauge)
        scale = 1.25 * self.travel_in * INCH_M
        position = 0.02 + self.sense * self.share * self.travel_in * INCH_M
        position += self.dice.gauss(0.0, self.noise_share * scale)
        return Reading(
            self.scan,
            self.time_s,
            Signal(self._counts(noisy, gauge), Health.GOOD, self.time_s),
            Signal(self._counts(position, scale), Health.GOOD, self.time_s),
        )

    def _counts(self, value: float, span: float) -> float:
        count = span / 2**self.bits
        return round(value / count) * count
