"""A published valve through the whole analysis: a slow ramp in, lift-off, travel, friction, spring rate out.

Set A of a PhD thesis (University of Sao Paulo 2020, record tde-12022020-100441): area 0.0445 m2, preload
2550 N, rate 210490 N/m, stroke 29 mm, sliding friction 700 N, static 780 N. With Coulomb friction the corners
follow from the force balance (computed): 73.0337, 210.2070, 178.7463, 41.5730 kPa; loop 31.4607 kPa.
"""

from functools import cache

import pytest

from rig.analysis.check import analyse
from rig.analysis.result import CheckResult
from rig.profile.model import Action, Basis, Profile, Tolerance
from tests.rig.stick_slip import sticking_record
from tests.rig.synthetic import CLEAN, PERFECT, IdealValve, Rig, profile_for, record

AREA, RATE, PRELOAD, STROKE, SLIDING = 0.0445, 210490.0, 2550.0, 0.029, 700.0
VALVE = IdealValve(
    area_m2=AREA,
    travel_m=STROKE,
    lower_pa=PRELOAD / AREA,
    upper_pa=(PRELOAD + RATE * STROKE) / AREA,
    half_band_pa=SLIDING / AREA,
)
EXPECTED = {
    "lift_off": 73033.7,
    "sliding_intercept": 73033.7,
    "full_travel": 210207.0,
    "return_start": 178746.3,
    "reseat": 41573.0,
    "travel": STROKE,
    "friction": SLIDING,
    "spring_rate": RATE,
    "spring_only_lower": 57303.4,
    "spring_only_upper": 194476.6,
    "seat_load": 41573.0 * AREA,  # area times reseat
    "hysteresis": 31460.7,
}


@cache
def slow_ramp() -> CheckResult:
    rig = Rig(
        **{**{f: getattr(CLEAN, f) for f in CLEAN.__dataclass_fields__}, "rate_pa_per_s": 4000.0, "cycles": 1}
    )
    return analyse(record(VALVE, rig), profile_for(VALVE), PERFECT)


@pytest.mark.parametrize("key", list(EXPECTED))
def test_a_ramp_without_noise_gives_the_force_balance(key: str) -> None:
    found = slow_ramp().quantities[key].value
    assert found == pytest.approx(EXPECTED[key], abs=80.0 if "_" in key else None, rel=1e-3)


def test_the_mean_of_up_and_down_is_the_bench_range_without_friction() -> None:
    q = slow_ramp().quantities
    up, down = q["lift_off"].value, q["reseat"].value
    assert up is not None
    assert down is not None
    assert 0.5 * (up + down) == pytest.approx(57303.4, rel=2e-4)  # F_init / A


def test_static_friction_raises_lift_off_above_the_sliding_line() -> None:
    # Fs 780 N: lift-off 74.8315 kPa, 1.80 kPa above the sliding line (computed)
    step = (780.0 - 700.0) / AREA
    assert step == pytest.approx(1797.8, abs=0.1)
    rig = Rig(noise_pa=60.0, noise_m=2e-5, rate_pa_per_s=4000.0)
    samples, first_hop_pa = sticking_record(VALVE, extra_pa=step, rig=rig)
    result = analyse(samples, profile_for(VALVE), PERFECT)
    found = result.quantities["lift_off"].value
    # the record's hops scatter by 15 %: the pressure before its own first hop counts
    assert first_hop_pa == pytest.approx(73033.7 + step, abs=0.2 * step)
    assert found == pytest.approx(first_hop_pa, abs=0.3 * step)


def test_a_supply_of_180_kpa_never_opens_it_fully_and_that_is_said() -> None:
    # (F_init + k x + Fc) / A is above 180 kPa: full travel must not be made up
    profile = Profile(
        model="set-a",
        title="published valve",
        action=Action.AIR_TO_OPEN,
        area_m2=AREA,
        rated_travel_m=STROKE,
        travel_surplus_m=0.001,
        bench_lower_pa=73033.7,
        bench_upper_pa=210207.0,
        lower_tolerance=Tolerance(3000.0, 3000.0),
        upper_tolerance=Tolerance(10000.0, 10000.0),
        basis=Basis.FRICTION_INCLUDED,
        casing_maximum_pa=400000.0,
        supply_pa=180000.0,
    )
    samples = record(VALVE, Rig(cycles=1, rate_pa_per_s=4000.0))
    short = (samples.output_pa < 180000.0) | (samples.stage == "zero")
    names = ("time_s", "pressure_pa", "position_m", "output_pa", "supply_pa", "cycle", "stage")
    from rig.analysis.samples import Samples

    result = analyse(Samples(**{n: getattr(samples, n)[short] for n in names}), profile, PERFECT)
    assert result.quantities["full_travel"].value is None
    assert result.quantities["travel"].value is None
    assert result.quantities["lift_off"].value == pytest.approx(73033.7, rel=5e-3)
