"""Step and settle as a procedure: from which side each point is come to, and what it does when it cannot."""

from dataclasses import replace
from itertools import groupby

import pytest

from rig.analysis.step_stages import TURN, Doing, StepStage, Way, read_stage
from rig.procedure.step_run import StepRun
from safety.signals import Demand, Reading

from .quasi_static import QuasiStaticValve
from .test_bench_check import PROFILE

SPAN_PA = PROFILE.bench_upper_pa - PROFILE.bench_lower_pa


def run(
    valve: QuasiStaticValve, error_pa: float = 0.0, highest_pa: float = 280_000.0, **changes: object
) -> tuple[list[tuple[Demand, Reading]], StepRun]:
    """With an I/P that gives `error_pa` more than it was asked for."""
    steps = StepRun(PROFILE, highest_pa, 30_000.0, accuracy_pa=500.0, **changes)  # type: ignore[arg-type]
    seen: list[tuple[Demand, Reading]] = []
    procedure = steps.run()
    demand = next(procedure)
    try:
        while len(seen) < 300_000:
            asked = demand if demand.vent else replace(demand, pressure_pa=demand.pressure_pa + error_pa)
            seen.append((demand, valve.answer(asked)))
            demand = procedure.send(seen[-1][1])
    except StopIteration:
        return seen, steps
    raise AssertionError("the procedure never ended")


def holds(seen: list[tuple[Demand, Reading]]) -> list[tuple[int, StepStage, float]]:
    """Cycle, stage and last pressure of every hold, in order."""
    found = []
    for (cycle, stage), rows in groupby(seen, lambda pair: (pair[0].cycle, pair[0].stage)):
        step = read_stage(stage)
        if step is not None and step.doing is Doing.HOLD:
            found.append((cycle, step, list(rows)[-1][1].pressure.value))
    return found


def test_the_stages_say_what_they_are() -> None:
    stage = StepStage(Doing.DEAD_BAND, 0.125, Way.TURNED)
    assert str(stage) == "dead band at 12.5 % turned"
    assert read_stage(str(stage)) == stage
    assert read_stage("rise") is None


def test_every_point_is_held_up_and_down_in_every_cycle() -> None:
    seen, steps = run(QuasiStaticValve(), cycles=2)
    points = [0.0, 0.25, 0.5, 0.75, 1.0]
    one = [(p, Way.RISING) for p in points] + [(p, Way.FALLING) for p in reversed(points)]
    got = [(cycle, step.point, step.way) for cycle, step, _ in holds(seen)]
    assert got == [(cycle, *stop) for cycle in (1, 2) for stop in one]
    assert steps.remarks == []


@pytest.mark.parametrize("error_pa", [0.0, 700.0, -700.0])
def test_each_point_is_met_from_its_own_side_whatever_the_converter_gives(error_pa: float) -> None:
    valve = QuasiStaticValve()
    seen, _ = run(valve, error_pa, cycles=1)
    for _, step, pressure in holds(seen):
        target = PROFILE.bench_lower_pa + step.point * SPAN_PA
        assert pressure == pytest.approx(target, abs=0.003 * SPAN_PA)
    for demand, reading in seen:
        step = read_stage(demand.stage)
        if step is None or step.doing is Doing.DEAD_BAND:
            continue
        beyond = reading.pressure.value - (PROFILE.bench_lower_pa + step.point * SPAN_PA)
        sign = 1.0 if step.way is Way.RISING else -1.0
        assert sign * beyond < 0.002 * SPAN_PA, (demand.stage, beyond)


def test_a_reversal_follows_the_stem_both_ways_and_no_farther() -> None:
    valve = QuasiStaticValve()
    seen, _ = run(valve, cycles=1, dead_band_at=(0.25, 0.75))
    for point in (0.25, 0.75):
        for way in (Way.FALLING, Way.RISING):
            stage = str(StepStage(Doing.DEAD_BAND, point, way))
            went = [r.pressure.value for d, r in seen if d.stage == stage]
            change = abs(went[-1] - went[0]) / SPAN_PA
            band = 2.0 * valve.half_band_pa / SPAN_PA
            assert band < change < band + 0.08


def test_without_room_above_the_last_point_it_is_read_once() -> None:
    seen, steps = run(QuasiStaticValve(), highest_pa=PROFILE.bench_upper_pa + 500.0, cycles=1)
    stages = {demand.stage for demand, _ in seen}
    assert TURN not in stages
    assert str(StepStage(Doing.HOLD, 1.0, Way.RISING)) in stages
    assert str(StepStage(Doing.HOLD, 1.0, Way.FALLING)) not in stages
    assert max(reading.pressure.value for _, reading in seen) <= PROFILE.bench_upper_pa + 500.0
    assert steps.remarks == []


def test_a_jammed_stem_has_no_dead_band_and_the_run_ends_all_the_same() -> None:
    _, steps = run(QuasiStaticValve(jammed=True), cycles=1)
    assert any("the stem did not follow" in remark for remark in steps.remarks)
