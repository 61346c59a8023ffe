"""How fast a ramp may be for a wanted uncertainty of the corners, and how sure the corners of a ramp will be.

A corner is where the line of the resting stem and the line of the sliding stem cross (corner.py). Its
variance is that of both lines at the corner, so it follows from how many scans fall on which pressures:
scans per pascal are the scan rate over the speed of the ramp. Pressures are counted from the corner, both
ways positive.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, inf, sqrt

PSI = 6894.757293168361  # Pa
TWO_LINES = 8.6  # 8 for two lines that reach the corner (Feder 1975), more for the gap between them
SAMPLING_PA = 0.05 * PSI  # between two scans: a hop of a sticking stem is told from a slope


@dataclass(frozen=True, slots=True)
class Stretch:
    """Ridden at one speed [Pa/s] between two distances from the corner [Pa]."""

    near_pa: float
    far_pa: float
    rate_pa_per_s: float


def line_variance(stretches: Iterable[Stretch], scans_per_s: float) -> float:
    """Variance at distance 0 of a straight line through all scans, over that of one reading.

    S2 / (S0 S2 - S1^2) with the moments S of the scans about the corner (ordinary least squares); 4 / N for
    one stretch from the corner on. inf without any stretch.
    """
    s0 = s1 = s2 = 0.0
    for part in stretches:
        if part.far_pa > part.near_pa:
            density = scans_per_s / part.rate_pa_per_s
            s0 += density * (part.far_pa - part.near_pa)
            s1 += density * (part.far_pa**2 - part.near_pa**2) / 2.0
            s2 += density * (part.far_pa**3 - part.near_pa**3) / 3.0
    spread = s0 * s2 - s1 * s1
    return s2 / spread if spread > 0.0 else inf


@dataclass(frozen=True, slots=True)
class ReadingNoise:
    """Standard deviation of one reading, as a pressure [Pa]: of the resting and of the sliding stem."""

    rest_pa: float
    slide_pa: float


def reading_noise(pressure_pa: float, travel_m: float, slope_m_per_pa: float) -> ReadingNoise:
    """Noise of travel counts through the slope dx/dP; noise of pressure counts while the stem slides."""
    from_travel = travel_m / slope_m_per_pa
    return ReadingNoise(from_travel, hypot(pressure_pa, from_travel))


def corner_sd(
    rest: Iterable[Stretch], slide: Iterable[Stretch], noise: ReadingNoise, scans_per_s: float
) -> float:
    """Standard deviation of one corner from noise [Pa]."""
    return sqrt(
        noise.rest_pa**2 * line_variance(rest, scans_per_s)
        + noise.slide_pa**2 * line_variance(slide, scans_per_s)
    )


def noise_rate(u_pa: float, noise_pa: float, window_pa: float, scans_per_s: float) -> float:
    """Highest speed [Pa/s] at which noise leaves a corner no more than u: f w u^2 / (8.6 sigma^2).

    sigma is the noise of a reading on both lines, w the window on either side.
    """
    return scans_per_s * window_pa * u_pa**2 / (TWO_LINES * noise_pa**2) if noise_pa > 0.0 else inf


def lag_rate(u_pa: float, lag_u_s: float) -> float:
    """Highest speed [Pa/s] at which a lag known to u(tau) shifts a corner by no more than u: u / u(tau)."""
    return u_pa / lag_u_s if lag_u_s > 0.0 else inf


def sampling_rate(scans_per_s: float) -> float:
    """Highest speed [Pa/s] at which two scans are no farther apart than `SAMPLING_PA`."""
    return SAMPLING_PA * scans_per_s
