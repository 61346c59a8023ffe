"""The ramp that is laid out: fast enough, sure enough, within what guard, cap and scan rate allow."""

from dataclasses import replace
from math import sqrt

import pytest

from rig.analysis.budget import RECTANGULAR
from rig.analysis.ramp_rates import sampling_rate
from rig.analysis.samples import RETURN, RISE, TOP, Sensors
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import SHARE_OF_FIXED, Planner, Seen, plan_ramp
from rig.procedure.ramp import PSI, Places
from rig.profile.load import load_profile, shipped_profiles
from safety.signals import Demand, Reading

from .quasi_static import QuasiStaticValve
from .test_bench_check import PROFILE

INCH = 0.0254
SENSORS = Sensors(
    pressure_accuracy_pa=0.1 * PSI,
    position_accuracy_m=0.1e-3,
    pressure_span_pa=100 * PSI,
    position_span_m=0.1,
)
FINE = replace(SENSORS, pressure_accuracy_pa=0.0)
NOISY, QUIET = Seen(0.06 * PSI, 0.002 * INCH), Seen(0.005 * PSI, 0.0002 * INCH)
HIGHEST_PA = 280_000.0


def planner(wanted_psi: float | None = None, sensors: Sensors = FINE, **more: float) -> Planner:
    wanted = None if wanted_psi is None else wanted_psi * PSI
    return Planner(PROFILE, HIGHEST_PA, sensors=sensors, wanted_u_pa=wanted, **more)  # type: ignore[arg-type]


def test_what_is_wanted_more_exactly_takes_longer() -> None:
    plans = [planner(wanted).plan(NOISY) for wanted in (0.05, 0.025, 0.015)]
    times = [plan.expected_cycle_s for plan in plans]
    assert times == sorted(times)
    assert times[0] < times[-1]
    for plan in plans:
        assert plan.corner_u_pa <= plan.wanted_u_pa


def test_a_quieter_stand_is_ridden_faster() -> None:
    wanted = planner(0.015)
    assert wanted.plan(QUIET).expected_cycle_s < wanted.plan(NOISY).expected_cycle_s


def test_what_cannot_be_reached_is_ridden_as_surely_as_the_ramps_tried_allow() -> None:
    plan = planner(0.001).plan(NOISY)
    assert plan.corner_u_pa > plan.wanted_u_pa
    assert plan.corner_u_pa < planner(0.02).plan(NOISY).corner_u_pa


def test_the_ramp_adds_little_to_what_the_transmitter_leaves_uncertain() -> None:
    profile = replace(
        PROFILE, lower_tolerance=PROFILE.upper_tolerance
    )  # so wide that it does not matter less
    plain = Planner(profile, HIGHEST_PA, sensors=replace(SENSORS, pressure_accuracy_pa=0.5 * PSI))
    assert plain.ramp_u_pa() == pytest.approx(SHARE_OF_FIXED * 0.5 * PSI * RECTANGULAR)
    # A twenty-fourth of the narrowest tolerance, where the transmitter is perfect: +-4 kPa.
    assert planner().ramp_u_pa() == pytest.approx(4_000.0 / 24.0)


def test_a_wanted_uncertainty_includes_the_transmitter() -> None:
    asked = planner(0.1, SENSORS)
    assert asked.ramp_u_pa() == pytest.approx(PSI * sqrt(0.1**2 - 0.1**2 / 3.0))
    with pytest.raises(ValueError, match="transmitters alone"):
        planner(0.05, SENSORS).ramp_u_pa()


def test_guard_and_scan_rate_bound_the_speeds() -> None:
    slow_guard = planner(0.2, fastest_pa_per_s=1.5 * PSI).plan(QUIET)
    assert max(slow_guard.slow_pa_per_s, slow_guard.fast_pa_per_s, slow_guard.second_pa_per_s) <= 1.5 * PSI
    few_scans = planner(0.2, scans_per_s=10.0).plan(QUIET)
    assert few_scans.slow_pa_per_s <= sampling_rate(10.0)


@pytest.mark.parametrize("name", sorted(shipped_profiles()))
def test_shipped_models_have_room_for_every_stretch(name: str) -> None:
    profile = load_profile(name)
    plan = plan_ramp(profile, profile.casing_maximum_pa)
    assert 0.0 <= plan.slow_from_pa < profile.bench_lower_pa
    assert profile.bench_lower_pa + plan.beside_corner_pa < plan.upper_slow_pa < profile.bench_upper_pa
    assert plan.expected_top_pa <= plan.highest_pa


def test_without_a_casing_transmitter_the_fast_speed_stays_near_the_slow_one() -> None:
    inferred = replace(SENSORS, pressure_is_inferred=True, pressure_accuracy_pa=0.5 * PSI)
    plan = planner(None, inferred).plan()
    assert plan.slow_pa_per_s < planner(None, SENSORS).plan().slow_pa_per_s
    assert plan.fast_pa_per_s <= 3.0 * plan.slow_pa_per_s * (1 + 1e-9)


def test_known_corners_shorten_what_is_ridden_slowly() -> None:
    wanted = planner(0.02)
    wide = wanted.plan(NOISY)
    places = Places(105_000.0, 205_000.0, 195_000.0, 95_000.0)
    known = wanted.plan(replace(NOISY, places=places))
    assert known.slow_from_pa > wide.slow_from_pa
    assert known.upper_slow_pa > wide.upper_slow_pa
    assert known.expected_cycle_s < wide.expected_cycle_s


def run_planned(valve: QuasiStaticValve, cycles: int = 2) -> tuple[list[Demand], list[Reading], BenchCheck]:
    asked = planner(None, SENSORS)
    check = BenchCheck(PROFILE, asked.plan(), cycles=cycles, planner=asked)
    demands, readings, steps = [], [], check.run()
    demand = next(steps)
    try:
        while len(demands) < 100_000:
            demands.append(demand)
            readings.append(valve.answer(demand))
            demand = steps.send(readings[-1])
    except StopIteration:
        return demands, readings, check
    raise AssertionError("the procedure never ended")


def test_the_conditioning_stroke_is_fast_and_not_measured_and_finds_the_corners() -> None:
    valve = QuasiStaticValve(lower_pa=100_400.0, upper_pa=199_000.0)
    demands, _, check = run_planned(valve)
    first = [d for d in demands if d.cycle == 0 and d.stage in (RISE, RETURN)]
    assert {d.rate_pa_per_s for d in first} == {check.plan.fast_pa_per_s}
    assert all("not measured" in d.watch_for for d in first)
    places = check.plan.places
    assert places is not None
    band = valve.half_band_pa
    found = (places.lift_pa, places.full_pa, places.fall_pa, places.reseat_pa)
    true = (100_400.0 + band, 199_000.0 + band, 199_000.0 - band, 100_400.0 - band)
    assert found == pytest.approx(true, abs=0.05 * PSI)


def test_measured_cycles_ride_slowly_beside_the_corners_that_were_found() -> None:
    valve = QuasiStaticValve(lower_pa=103_000.0)  # 3 kPa above what the profile says
    demands, readings, check = run_planned(valve)
    places, slow = check.plan.places, check.plan.slow_pa_per_s
    assert places is not None
    corners = {RISE: (places.lift_pa, places.full_pa), RETURN: (places.fall_pa, places.reseat_pa)}
    near, seen, fast = 0.6 * PSI, 0, 0
    for demand, reading in zip(demands, readings, strict=True):
        if demand.cycle == 2 and demand.stage in corners:
            fast += demand.rate_pa_per_s > slow
            for corner in corners[demand.stage]:
                if abs(reading.pressure.value - corner) < near:
                    seen += 1
                    assert demand.rate_pa_per_s <= slow
    assert seen > 50
    assert fast > 50


def test_the_output_waits_for_a_casing_that_is_behind() -> None:
    """A casing that fills at 1 psi/s whatever is asked: the demand stays within its lead of what is there."""
    valve = QuasiStaticValve()
    asked = planner(None, SENSORS)
    check = BenchCheck(PROFILE, asked.plan(), cycles=1, planner=asked)
    steps = check.run()
    demand, farthest = next(steps), 0.0
    for _ in range(20_000):
        reading = valve.answer(replace(demand, rate_pa_per_s=min(demand.rate_pa_per_s, 1.0 * PSI)))
        demand = steps.send(reading)
        if demand.stage == RISE:
            farthest = max(farthest, demand.pressure_pa - reading.pressure.value)
        if demand.stage == TOP:
            break
    assert demand.stage == TOP
    assert 0.0 < farthest <= check.plan.lead_pa(check.plan.fast_pa_per_s) + 1.0
