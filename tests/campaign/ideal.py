"""Straight ramps with white noise: the statistical core against the Cramer-Rao bound.

A valve that rests and then slides along a straight line; only noise is between the readings and the truth.
Rates, noises, bits and scans are the 48 settings of the goal table.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import sqrt

import numpy as np

from rig.analysis.broken_stick import corner_on_straight_ramp
from rig.analysis.samples import Floats
from rig.analysis.student import coverage_factor

PSI, INCH = 6894.757293168361, 0.0254
PRESSURE_SPAN, TRAVEL_SPAN = 60.0, 2.0  # psi, in: noise is told in per cent of these
GAIN = 1.125 / 20.0  # in/psi
BEFORE, AFTER = 4.0, 8.0  # psi seen on both sides of the corner
TRUE = 10.5  # psi


@dataclass(frozen=True)
class Setting:
    noise: float  # share of span
    bits: int
    scans_per_s: float
    rate: float  # psi/s

    @property
    def readings(self) -> tuple[float, float]:
        """Before and after the corner."""
        return BEFORE * self.scans_per_s / self.rate, AFTER * self.scans_per_s / self.rate

    @property
    def reading_sd(self) -> tuple[float, float]:
        """Of one reading of travel [in] and of pressure [psi], counts and all."""
        sx = sqrt((self.noise * TRAVEL_SPAN) ** 2 + (TRAVEL_SPAN / 2**self.bits) ** 2 / 12.0)
        sp = sqrt((self.noise * PRESSURE_SPAN) ** 2 + (PRESSURE_SPAN / 2**self.bits) ** 2 / 12.0)
        return sx, sp

    @property
    def bound(self) -> float:
        """Cramer-Rao bound of the corner's pressure [psi]; a count adds count^2 / 12 to the noise.

        Travel: (sx/g)^2 (4/N1 + 4/N2); the pressure line adds sp^2/N (1 + 12 d^2/w^2), d from its middle.
        """
        sx, sp = self.reading_sd
        before, after = self.readings
        n, width = before + after, BEFORE + AFTER
        off = BEFORE - 0.5 * width
        knot = (sx / GAIN) ** 2 * (4.0 / before + 4.0 / after)
        line = sp**2 / n * (1.0 + 12.0 * off**2 / width**2)
        return sqrt(knot + line)


def settings() -> Iterator[Setting]:
    """4 noises x 2 resolutions x 2 scan rates x 3 ramps = 48."""
    for noise, bits, scans, rate in product(
        (0.0002, 0.0005, 0.001, 0.0025), (12, 16), (20.0, 100.0), (0.1, 0.3, 1.0)
    ):
        yield Setting(noise, bits, scans, rate)


def pressures(setting: Setting, random: np.random.Generator) -> tuple[Floats, Floats]:
    """Times and true pressures [psi]; the ramp starts anywhere within a scan."""
    time = (np.arange(round(sum(setting.readings))) + random.uniform()) / setting.scans_per_s
    return time, TRUE - BEFORE + setting.rate * time


def counts(
    setting: Setting, pressure: Floats, travel: Floats, random: np.random.Generator
) -> tuple[Floats, Floats]:
    """Both as noisy, counting transmitters show them; where the counts lie is chance."""

    def seen(values: Floats, span: float) -> Floats:
        count = span / 2**setting.bits
        shift = random.uniform(0.0, count)
        noisy = values + setting.noise * span * random.normal(size=len(values))
        return np.asarray(np.round((noisy + shift) / count) * count - shift, dtype=np.float64)

    return seen(pressure, PRESSURE_SPAN), seen(travel, TRAVEL_SPAN)


def ramp(setting: Setting, random: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Time, pressure [psi], travel [in] of a stem that glides off its rest."""
    time, pressure = pressures(setting, random)
    return time, *counts(setting, pressure, GAIN * np.maximum(pressure - TRUE, 0.0), random)


@dataclass(frozen=True)
class CoreScore:
    setting: Setting
    ratio: float  # RMSE over the bound
    bias: float  # in standard deviations
    coverage: float


def score(setting: Setting, runs: int, seed: int = 1) -> CoreScore:
    random = np.random.default_rng(seed)
    errors, inside = np.empty(runs), 0
    for run in range(runs):
        corner = corner_on_straight_ramp(*ramp(setting, random))
        errors[run] = corner.pressure - TRUE
        reach = coverage_factor(float(corner.degrees_of_freedom)) * corner.uncertainty
        inside += bool(abs(errors[run]) <= reach)
    rmse = float(np.sqrt(np.mean(errors**2)))
    return CoreScore(setting, rmse / setting.bound, float(errors.mean()) / float(errors.std()), inside / runs)


def table(scores: list[CoreScore]) -> str:
    lines = ["noise %  bits  scans/s  psi/s   bound psi  RMSE/bound  bias/sd  cover95"]
    for one in scores:
        s = one.setting
        lines.append(
            f"{100 * s.noise:7.2f}{s.bits:6d}{s.scans_per_s:9.0f}{s.rate:7.1f}{s.bound:12.5f}"
            f"{one.ratio:12.3f}{one.bias:9.3f}{one.coverage:9.3f}"
        )
    return "\n".join(lines)
