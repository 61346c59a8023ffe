"""What the analysis knows beforehand: the zero from all vented readings, contacts that are metal."""

from dataclasses import replace

import numpy as np
import pytest

from rig.analysis.check import analyse
from rig.analysis.lines import fit_line
from rig.analysis.result import CheckResult
from rig.analysis.samples import ZERO, Samples
from rig.analysis.strokes import find_strokes

from .synthetic import INCH, PERFECT, PSI, IdealValve, Rig, profile_for, record

VALVE = IdealValve()
ZERO_PART = "zero of pressure, from its readings"


def analysed(valve: IdealValve, seed: int = 1) -> CheckResult:
    return analyse(record(valve, Rig(), seed=seed), profile_for(valve), PERFECT)


def waiting(samples: Samples, scans: int, leak_pa: float = 0.0) -> Samples:
    """The same record with `scans` more of the vented stage before it, falling from `leak_pa` to nothing."""
    random, step = np.random.default_rng(7), samples.time_s[1] - samples.time_s[0]
    more_pa = leak_pa * np.exp(-np.arange(scans) / 40.0) + 0.06 * PSI * random.normal(size=scans)
    more_m = samples.position_m[0] + 0.002 * INCH * random.normal(size=scans)

    def longer(more: np.ndarray, column: np.ndarray) -> np.ndarray:
        return np.concatenate((more, column))

    return Samples(
        longer(samples.time_s[0] + step * np.arange(-scans, 0), samples.time_s),
        longer(more_pa, samples.pressure_pa),
        longer(more_m, samples.position_m),
        longer(np.zeros(scans), samples.output_pa),
        longer(np.full(scans, 40 * PSI), samples.supply_pa),
        longer(np.zeros(scans, dtype=np.int64), samples.cycle),
        longer(np.full(scans, ZERO), samples.stage),
    )


def test_the_noise_of_the_zero_is_in_every_pressure() -> None:
    result = analysed(VALVE)
    for key in ("lift_off", "full_travel", "reseat", "spring_only_upper"):
        parts = {part.source: part.standard_uncertainty for part in result.quantities[key].budget}
        # 0.06 psi of noise over the 150 readings of the vented stage
        assert parts[ZERO_PART] == pytest.approx(0.06 * PSI / np.sqrt(150), rel=0.2), key
    assert ZERO_PART not in {part.source for part in result.quantities["friction"].budget}


def test_a_longer_vented_stage_makes_a_better_zero() -> None:
    samples = waiting(record(VALVE), 450)
    strokes = find_strokes(samples, PERFECT, VALVE.travel_m)
    assert strokes.zero_readings > 500
    assert abs(strokes.zero_pa) < 4.0 * 0.06 * PSI / np.sqrt(500)


def test_air_that_is_still_leaving_is_not_in_the_zero() -> None:
    samples = waiting(record(VALVE), 450, leak_pa=3 * PSI)
    strokes = find_strokes(samples, PERFECT, VALVE.travel_m)
    assert 100 <= strokes.zero_readings < 500
    assert abs(strokes.zero_pa) < 4.0 * 0.06 * PSI / np.sqrt(100)


def test_what_is_known_of_a_slope_counts_as_one_more_reading_of_it() -> None:
    # the same as least squares with the slope itself observed once: rows scaled to equal noise
    random = np.random.default_rng(3)
    x = np.linspace(-4.0, -0.4, 40)
    noise, known, sd = 0.09, 0.2, 0.05
    y = 1.0 + 0.3 * x + noise**0.5 * random.normal(size=40)
    line = fit_line(x, y).knowing(known, sd, noise)
    design = np.stack((np.ones(40), x), axis=1) / noise**0.5
    rows = np.vstack((design, [[0.0, 1.0 / sd]]))
    found = np.linalg.lstsq(rows, np.append(y / noise**0.5, known / sd), rcond=None)[0]
    covariance = np.linalg.inv(rows.T @ rows)
    assert (line.intercept, line.slope) == pytest.approx(tuple(found))
    at = np.array([1.0, 0.7])
    assert line.variance_factor(0.7) * noise == pytest.approx(float(at @ covariance @ at))


@pytest.mark.parametrize("seat_slope_psi", [0.05e-3, 0.17e-3, 0.3e-3])
def test_a_hard_seat_is_found_where_it_is(seat_slope_psi: float) -> None:
    hard = replace(VALVE, seat_slope=seat_slope_psi * INCH / PSI)
    errors = []
    for seed in range(6):
        travel = analysed(hard, seed).quantities["travel"]
        assert travel.value is not None
        assert travel.standard_uncertainty is not None
        assert travel.standard_uncertainty < 0.22e-3 * INCH  # 0.28e-3 in without what is known beforehand
        errors.append((travel.value - hard.travel_m) / travel.standard_uncertainty)
    assert np.abs(errors).max() < 3.5
    assert np.sqrt(np.mean(np.square(errors))) < 1.6


@pytest.mark.parametrize("seat_slope_psi", [0.6e-3, 1.5e-3, 3e-3])
def test_a_soft_seat_is_not_taken_for_a_hard_one(seat_slope_psi: float) -> None:
    soft = replace(VALVE, seat_slope=seat_slope_psi * INCH / PSI)
    errors = []
    for seed in range(6):
        lower = analysed(soft, seed).quantities["spring_only_lower"]
        assert lower.value is not None
        assert lower.standard_uncertainty is not None
        errors.append((lower.value - soft.lower_pa) / lower.standard_uncertainty)
    assert np.abs(errors).max() < 3.5
    assert abs(np.mean(errors)) < 1.6
