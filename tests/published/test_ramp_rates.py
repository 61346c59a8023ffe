"""Speeds of a ramp and the uncertainty of its corners, by hand and against numerical least squares."""

from math import inf, sqrt

import numpy as np
import pytest

from rig.analysis.ramp_rates import (
    PSI,
    ReadingNoise,
    Stretch,
    corner_sd,
    lag_rate,
    line_variance,
    noise_rate,
    reading_noise,
    sampling_rate,
)

# 0.1 % of 60 psi and of 2 in, on a spring of 17.78 psi/in: 0.06 psi and 0.002 in = 0.0356 psi on the curve.
PRESSURE_PA, TRAVEL_M, SLOPE = 0.06 * PSI, 0.002 * 0.0254, 0.0254 / (17.78 * PSI)
NOISE = reading_noise(PRESSURE_PA, TRAVEL_M, SLOPE)


@pytest.mark.parametrize(("u_psi", "rate_psi_per_s"), [(0.01, 0.24), (0.02, 0.96), (0.05, 6.0)])
def test_what_noise_allows(u_psi: float, rate_psi_per_s: float) -> None:
    # By hand: 50 * 2 * 0.01^2 / (8.6 (0.06^2 + 0.0356^2)) = 0.239 psi/s, and with the square of u.
    rate = noise_rate(u_psi * PSI, NOISE.slide_pa, 2.0 * PSI, 50.0)
    assert rate / PSI == pytest.approx(rate_psi_per_s, rel=0.01)


def test_what_a_lag_allows() -> None:
    # By hand: 0.05 psi over 25 ms is 2 psi/s, over 5 ms 10 psi/s.
    assert lag_rate(0.05 * PSI, 0.025) == pytest.approx(2.0 * PSI)
    assert lag_rate(0.05 * PSI, 0.005) == pytest.approx(10.0 * PSI)
    assert lag_rate(0.05 * PSI, 0.0) == inf


def test_what_sampling_allows() -> None:
    assert sampling_rate(50.0) == pytest.approx(2.5 * PSI)


def test_one_stretch_from_the_corner_on_is_the_textbook_four_over_n() -> None:
    # Variance of the intercept of a line through N points spread evenly over 0..w: 4 / N (Draper and Smith).
    assert line_variance([Stretch(0.0, 4.0 * PSI, 1.0 * PSI)], 50.0) == pytest.approx(4.0 / 200.0)


def test_stretches_of_unlike_speed_are_those_of_least_squares() -> None:
    """Against numpy's polynomial fit with unit variance at the pressures that the scans fall on."""
    parts = [Stretch(0.4 * PSI, 2.0 * PSI, 0.5 * PSI), Stretch(2.0 * PSI, 8.0 * PSI, 4.0 * PSI)]
    scans = 5000.0  # many, so that the sums are integrals
    places = [
        np.arange(p.near_pa, p.far_pa, p.rate_pa_per_s / scans) + 0.5 * p.rate_pa_per_s / scans for p in parts
    ]
    x = np.concatenate(places) / PSI
    covariance = np.linalg.inv(np.vander(x, 2).T @ np.vander(x, 2))
    assert line_variance(parts, scans) == pytest.approx(covariance[1, 1], rel=1e-4)


def test_a_corner_is_as_sure_as_drawn_ones_are() -> None:
    """2000 drawn corners of two noisy lines; their scatter is known to 1.6 %."""
    random, scans, rate = np.random.default_rng(5), 50.0, 1.0
    rest, slide = np.arange(-4.0, -0.4, rate / scans), np.arange(0.4, 8.0, rate / scans)
    found = []
    for _ in range(2000):
        low = np.polyfit(rest, random.normal(0.0, 0.036, len(rest)), 1)
        high = np.polyfit(slide, slide + random.normal(0.0, 0.07, len(slide)), 1)
        found.append((low[1] - high[1]) / (high[0] - low[0]))
    noise = ReadingNoise(0.036, 0.07)
    expected = corner_sd([Stretch(0.4, 4.0, rate)], [Stretch(0.4, 8.0, rate)], noise, scans)
    assert float(np.std(found)) == pytest.approx(expected, rel=0.06)
    # Hand-checked: 1/N (1 + 3 ((w+g)/(w-g))^2) on either side.
    by_hand = sqrt(0.036**2 / 180 * (1 + 3 * (4.4 / 3.6) ** 2) + 0.07**2 / 380 * (1 + 3 * (8.4 / 7.6) ** 2))
    assert expected == pytest.approx(by_hand, rel=1e-9)


def test_a_line_without_scans_tells_nothing() -> None:
    assert line_variance([], 50.0) == inf
    assert line_variance([Stretch(2.0, 2.0, 1.0)], 50.0) == inf
