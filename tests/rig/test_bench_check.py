"""The bench check as a procedure: what it asks for, in which order, and when it gives up."""

import random
from dataclasses import replace
from itertools import groupby, pairwise

import pytest

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import plan_ramp
from rig.profile.model import Action, Basis, Profile, Tolerance
from safety.signals import Demand, Health, Reading, Signal

from .quasi_static import QuasiStaticValve

PROFILE = Profile(
    model="test",
    title="test valve",
    action=Action.AIR_TO_OPEN,
    area_m2=0.0677,
    rated_travel_m=0.03,
    travel_surplus_m=0.001,
    bench_lower_pa=105_000.0,
    bench_upper_pa=205_000.0,
    lower_tolerance=Tolerance(4_000.0, 4_000.0),
    upper_tolerance=Tolerance(10_000.0, 10_000.0),
    basis=Basis.FRICTION_INCLUDED,
    casing_maximum_pa=400_000.0,
    supply_pa=300_000.0,
)
HIGHEST_PA = 280_000.0
PSI = 6894.757


def run(
    valve: QuasiStaticValve, cycles: int = 2, highest_pa: float = HIGHEST_PA
) -> tuple[list[Demand], list[Reading], BenchCheck]:
    check = BenchCheck(PROFILE, plan_ramp(PROFILE, highest_pa), cycles=cycles)
    demands: list[Demand] = []
    readings: list[Reading] = []
    steps = check.run()
    demand = next(steps)
    try:
        while len(demands) < 200_000:
            demands.append(demand)
            readings.append(valve.answer(demand))
            demand = steps.send(readings[-1])
    except StopIteration:
        return demands, readings, check
    raise AssertionError("the procedure never ended")


def stages(demands: list[Demand]) -> list[tuple[int, str]]:
    return [key for key, _ in groupby(demands, lambda d: (d.cycle, d.stage))]


def test_each_cycle_rises_holds_returns_and_vents_after_the_zero() -> None:
    demands, _, check = run(QuasiStaticValve())
    cycle = [RISE, TOP, RETURN, REST]
    assert stages(demands) == [(0, ZERO)] + [(1, s) for s in cycle] + [(2, s) for s in cycle]
    assert check.remarks == []


@pytest.mark.parametrize(("sense", "offset_m"), [(1, 0.0), (-1, 0.0), (1, 0.07), (-1, 0.12)])
def test_the_position_transmitter_may_read_either_way_round_from_any_reference(
    sense: int, offset_m: float
) -> None:
    plain, _, _ = run(QuasiStaticValve())
    turned, _, check = run(QuasiStaticValve(sense=sense, offset_m=offset_m))
    assert stages(turned) == stages(plain)
    assert len(turned) == pytest.approx(len(plain), abs=2)
    assert check.stroke.sense == sense


def test_both_sides_of_every_corner_are_ridden_slowly() -> None:
    valve = QuasiStaticValve()
    demands, readings, check = run(valve, cycles=1)
    plan = check.plan
    corners = {
        RISE: (valve.lower_pa + valve.half_band_pa, valve.upper_pa + valve.half_band_pa),
        RETURN: (valve.upper_pa - valve.half_band_pa, valve.lower_pa - valve.half_band_pa),
    }
    near = 0.6 * plan.beside_corner_pa
    seen = 0
    for demand, reading in zip(demands[:-1], readings[:-1], strict=True):
        for corner in corners.get(demand.stage, ()):
            if abs(reading.pressure.value - corner) < near:
                seen += 1
                assert demand.rate_pa_per_s <= plan.slow_pa_per_s
    assert seen > 100


def test_the_ramp_goes_on_past_the_stop_and_past_the_seat() -> None:
    valve = QuasiStaticValve()
    demands, readings, check = run(valve, cycles=1)
    highest = max(r.pressure.value for r in readings)
    lowest = min(r.pressure.value for d, r in zip(demands, readings, strict=True) if d.stage == RETURN)
    past = 0.9 * check.plan.past_stop_pa
    assert highest >= valve.upper_pa + valve.half_band_pa + past
    assert lowest <= valve.lower_pa - valve.half_band_pa - past


def test_a_jammed_stem_ends_the_rise_at_the_highest_pressure_allowed_and_is_told() -> None:
    demands, _, check = run(QuasiStaticValve(jammed=True), cycles=1)
    assert max(d.pressure_pa for d in demands) <= HIGHEST_PA
    assert any("never left its rest" in remark for remark in check.remarks)


def test_a_spring_too_strong_to_open_fully_is_told() -> None:
    _, _, check = run(QuasiStaticValve(upper_pa=400_000.0), cycles=1)
    assert any("still moving at the highest pressure" in remark for remark in check.remarks)


def test_nothing_beyond_the_highest_pressure_is_ever_asked() -> None:
    demands, _, _ = run(QuasiStaticValve(), highest_pa=150_000.0)
    assert max(d.pressure_pa for d in demands) <= 150_000.0


def test_a_position_that_is_not_live_at_the_zero_is_told() -> None:
    check = BenchCheck(PROFILE, plan_ramp(PROFILE, HIGHEST_PA), cycles=1)
    steps = check.run()
    next(steps)
    valve = QuasiStaticValve()
    for _ in range(12_000):
        reading = valve.answer(Demand(0.0, 0.0, ZERO, vent=True))
        reading = replace(reading, position=Signal(float("nan"), Health.FAILED, reading.time_s))
        demand = steps.send(reading)
        if demand.stage == RISE:
            break
    assert "not live" in " ".join(check.remarks)


def test_progress_never_goes_back_and_ends_near_the_whole() -> None:
    demands, _, _ = run(QuasiStaticValve())
    progress = [d.progress for d in demands]
    assert progress[0] == 0.0
    assert progress[-1] > 0.95
    assert all(later >= earlier - 0.02 for earlier, later in pairwise(progress))


def test_every_second_cycle_slides_at_another_speed() -> None:
    """What drag adds to friction shows only between two speeds; beside the corners all cycles ride alike."""
    check = BenchCheck(PROFILE, replace(plan_ramp(PROFILE, HIGHEST_PA), second_pa_per_s=9_000.0), cycles=3)
    steps, valve = check.run(), QuasiStaticValve()
    demand, rates = next(steps), set()
    try:
        while True:
            if demand.stage in (RISE, RETURN):
                rates.add((demand.cycle, demand.stage, demand.rate_pa_per_s))
            demand = steps.send(valve.answer(demand))
    except StopIteration:
        pass
    first, slow = check.plan.first_pa_per_s, check.plan.slow_pa_per_s
    for stage in (RISE, RETURN):
        of_cycle = [{rate for n, s, rate in rates if (n, s) == (cycle, stage)} for cycle in (1, 2, 3)]
        assert of_cycle[0] == of_cycle[2]
        assert {slow, first} <= of_cycle[0]
        assert {slow, 9_000.0} <= of_cycle[1]
        assert 9_000.0 not in of_cycle[0]
        assert first not in of_cycle[1] or first == check.plan.fast_pa_per_s


class SoftSeat(QuasiStaticValve):
    """Gives way by 3 % of travel before it lifts; the position reads with noise."""

    def answer(self, demand: Demand | None) -> Reading:
        reading = super().answer(demand)
        squeezed = 0.03 * self.travel_m * min(1.0, self.pressure_pa / (self.lower_pa + self.half_band_pa))
        noise = self.noise.gauss(0.0, 50e-6)
        position = replace(reading.position, value=reading.position.value + squeezed + noise)
        return replace(reading, position=position)

    def __post_init__(self) -> None:
        super().__post_init__()
        self.noise = random.Random(4)


def first_fast_again(valve: QuasiStaticValve) -> tuple[float, float]:
    """Pressure at which the rise was slowed down, and at which it went fast again [Pa]."""
    demands, readings, check = run(valve, cycles=1)
    rising = [(d, r.pressure.value) for d, r in zip(demands, readings, strict=True) if d.stage == RISE]
    slow = check.plan.slow_pa_per_s
    slowed = next(at for at, (d, _) in enumerate(rising) if d.rate_pa_per_s <= slow)
    fast = next(p for d, p in rising[slowed:] if d.rate_pa_per_s > 1.1 * slow)
    return rising[slowed][1], fast


def test_a_soft_seat_giving_way_is_not_taken_for_lift_off() -> None:
    valve = SoftSeat()
    _, fast_again_pa = first_fast_again(valve)
    lift_off_pa = valve.lower_pa + valve.half_band_pa
    assert fast_again_pa > lift_off_pa + 0.9 * plan_ramp(PROFILE, HIGHEST_PA).beside_corner_pa


def test_a_stem_that_leaves_early_slows_the_ramp_at_once() -> None:
    valve = QuasiStaticValve(lower_pa=60_000.0)  # the profile expects 105 kPa, slow from 93 kPa
    slowed_pa, _ = first_fast_again(valve)
    lift_off_pa = valve.lower_pa + valve.half_band_pa
    assert lift_off_pa < slowed_pa < lift_off_pa + 0.9 * PSI
