"""Readings that are missing: a gap makes travel jump from one reading to the next, and is no hop."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from rig.analysis.check import analyse
from rig.analysis.samples import Samples

from .stick_slip import sticking_record
from .synthetic import INCH, PERFECT, PSI, IdealValve, Rig, profile_for, record

QUIET = Rig(rate_pa_per_s=PSI, noise_pa=0.01 * PSI, noise_m=0.0004 * INCH, cycles=2)


def without(samples: Samples, bad: NDArray[np.bool_]) -> Samples:
    pressure, position = samples.pressure_pa.copy(), samples.position_m.copy()
    pressure[bad], position[bad] = np.nan, np.nan
    return replace(samples, pressure_pa=pressure, position_m=position)


def thinned(samples: Samples, share: float, at_once: int, seed: int) -> Samples:
    """`share` of the readings lost at random moments, `at_once` in a row."""
    n = len(samples.time_s)
    bad = np.zeros(n, dtype=bool)
    for start in np.flatnonzero(np.random.default_rng(seed).random(n) < share / at_once):
        bad[start : start + at_once] = True
    return without(samples, bad)


def called_sticking(samples: Samples) -> bool:
    return any("sticks" in line for line in analyse(samples, profile_for(IdealValve()), PERFECT).advice)


@pytest.mark.parametrize(("share", "at_once"), [(0.1, 1), (0.3, 1), (0.1, 10), (0.2, 20)])
@pytest.mark.parametrize("seed", [1, 2])
def test_missing_readings_are_not_taken_for_hops(share: float, at_once: int, seed: int) -> None:
    smooth = record(IdealValve(), QUIET, seed)
    assert not called_sticking(thinned(smooth, share, at_once, seed))


@pytest.mark.parametrize("rate", [PSI, 3 * PSI])
def test_a_gap_across_lift_off_is_not_taken_for_a_first_hop(rate: float) -> None:
    valve = IdealValve()
    smooth = record(valve, replace(QUIET, rate_pa_per_s=rate))
    lift_pa = valve.lower_pa + valve.half_band_pa
    near = (smooth.stage == "rise") & (np.abs(smooth.output_pa - lift_pa) < 0.2 * rate)  # for 0.4 s
    result = analyse(without(smooth, near), profile_for(valve), PERFECT)
    assert not any("sticks" in line for line in result.advice)
    lift = result.quantities["lift_off"]
    assert lift.value is not None
    assert lift.expanded_uncertainty is not None
    assert abs(lift.value - lift_pa) < lift.expanded_uncertainty


@pytest.mark.parametrize("share", [0.0, 0.2])
def test_true_hops_are_found_through_gaps(share: float) -> None:
    hopping, _ = sticking_record(IdealValve(), 0.5 * PSI, QUIET)
    assert called_sticking(thinned(hopping, share, 1, 3))
