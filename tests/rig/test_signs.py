"""Signs beside the quantities: friction that changes along the stroke, a seat that gives."""

from dataclasses import replace

import numpy as np
import pytest

from rig.analysis.check import analyse
from rig.analysis.samples import REST, RETURN, RISE, Floats, Samples
from rig.analysis.signs import Gap, trend_and_peak

from .synthetic import INCH, PSI, SENSORS, IdealValve, Rig, profile_for, record

VALVE = IdealValve()
PROFILE = profile_for(VALVE)


def with_friction(more_of: Floats, seed: int = 1, cycles: int = 2) -> Samples:
    """Half band times (1 + more) along the stroke; `more_of` is given at 0, 1 %, ... 100 % of travel."""
    samples = record(VALVE, Rig(cycles=cycles), seed)
    position = samples.position_m.copy()
    share = np.clip((samples.output_pa - VALVE.lower_pa) / (VALVE.upper_pa - VALVE.lower_pa), 0.0, 1.0)
    extra = np.interp(share, np.linspace(0.0, 1.0, 101), more_of) * VALVE.half_band_pa * VALVE.gain
    moving = (position > 0.02 * VALVE.travel_m) & (position < 0.98 * VALVE.travel_m)
    position[moving & (samples.stage == RISE)] -= extra[moving & (samples.stage == RISE)]
    down = moving & ((samples.stage == RETURN) | (samples.stage == REST))
    position[down] += extra[down]
    return replace(samples, position_m=position)


def words(samples: Samples) -> str:
    return " ".join(analyse(samples, PROFILE, SENSORS).advice)


@pytest.mark.parametrize("seed", range(5))
def test_an_even_stroke_and_a_metal_seat_draw_no_word(seed: int) -> None:
    told = words(record(VALVE, Rig(cycles=2), seed))
    assert "Friction" not in told
    assert "seat gives way" not in told


def test_friction_that_grows_along_the_stroke_is_told_as_a_bent_stem() -> None:
    told = words(with_friction(np.linspace(0.0, 1.0, 101)))
    assert "Friction grows along the stroke" in told
    assert "bent stem" in told
    assert "galling" not in told


def test_a_spot_of_friction_is_told_as_galling_with_its_place() -> None:
    place = np.linspace(0.0, 1.0, 101)
    told = words(with_friction(np.where(np.abs(place - 0.6) < 0.06, 1.0, 0.0)))
    assert "galling" in told
    assert "bent stem" not in told
    at = float(told.split("elsewhere at about ")[1].split("%")[0]) / 100.0
    assert at == pytest.approx(0.6, abs=0.09)


@pytest.mark.parametrize(("mil_per_psi", "told"), [(0.17, False), (0.8, False), (8.0, True)])
def test_a_seat_that_gives_more_than_a_soft_one_is_told(mil_per_psi: float, told: bool) -> None:
    """On 105 in2: 0.8 mil/psi is 131 000 lbf/in (23 kN/mm), a soft seat; 8 mil/psi is 13 000 lbf/in."""
    soft = replace(VALVE, seat_slope=mil_per_psi * 0.001 * INCH / PSI)
    text = words(record(soft, Rig(cycles=2, noise_m=0.0005 * INCH)))
    assert ("seat gives way" in text) is told


@pytest.mark.parametrize(("share", "stands_out"), [(0.0, False), (0.10, False), (0.25, True)])
def test_the_rule_is_z_above_3_3_with_the_spread_of_healthy_valves_in_it(
    share: float, stands_out: bool
) -> None:
    x = np.linspace(0.1, 0.9, 10)
    width = 1.0 * PSI * (1.0 + share * (x - 0.5))
    trend, peak = trend_and_peak(Gap(x, width, np.full(10, 20.0), 0.0), SENSORS)
    assert trend.value == pytest.approx(share, abs=1e-9)
    assert (trend.z > 3.3) is stands_out
    assert peak.z < 3.3


def test_noise_makes_a_sign_less_certain() -> None:
    x = np.linspace(0.1, 0.9, 10)
    width = 1.0 * PSI * (1.0 + 0.3 * (x - 0.5))
    quiet, _ = trend_and_peak(Gap(x, width, np.full(10, 20.0), 0.0), SENSORS)
    noisy, _ = trend_and_peak(Gap(x, width, np.full(10, 0.3 * PSI), 0.0), SENSORS)
    unsure, _ = trend_and_peak(Gap(x, width, np.full(10, 20.0), 0.2 * PSI), SENSORS)
    assert quiet.z > 3.3
    assert noisy.z < 3.3
    assert unsure.z < 3.3
