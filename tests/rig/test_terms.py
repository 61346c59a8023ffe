"""The standards' terms from records: the table worked out by hand, limits, uncertainty."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from rig.analysis.point_table import DeadBand, PointTable, table_from_ramp, table_from_steps
from rig.analysis.result import Outcome
from rig.analysis.samples import ZERO, Samples
from rig.analysis.step_stages import Doing, StepStage, Way
from rig.analysis.terms import TERMS, limit_source, terms_result
from rig.profile.model import Term, TermLimit

from .synthetic import INCH, PSI, SENSORS, IdealValve, Rig, profile_for, record
from .test_analysis_performance import DOWN, POINTS, UP

VALVE = IdealValve()
PROFILE = profile_for(VALVE)
SPAN = PROFILE.bench_upper_pa - PROFILE.bench_lower_pa


def held(noise: float = 0.0) -> Samples:
    """The outputs of the example worked out by hand, as a stand would record them; noise [psi, in]."""
    random = np.random.default_rng(5)
    rows: list[tuple[float, float, str, int]] = [(0.0, 0.0, ZERO, 0)] * 150
    for cycle, (up, down) in enumerate(zip(UP, DOWN, strict=True), 1):
        stops = [(x, y, Way.RISING) for x, y in zip(POINTS, up, strict=True)]
        stops += [(x, y, Way.FALLING) for x, y in zip(POINTS[::-1], down[::-1], strict=True)]
        for point, output, way in stops:
            pressure = PROFILE.bench_lower_pa + SPAN * point / 100.0
            travel = PROFILE.rated_travel_m * output / 100.0
            stage = str(StepStage(Doing.HOLD, point / 100.0, way))
            rows += [(pressure, travel, stage, cycle)] * 75
    pressure, travel, stage, cycle = (np.array(column) for column in zip(*rows, strict=True))
    n = len(rows)
    return Samples(
        np.arange(n) * 0.02,
        pressure + noise * PSI * random.normal(size=n),
        0.5 * INCH - travel + noise * INCH * random.normal(size=n),  # counts the other way round
        pressure,
        np.full(n, 40 * PSI),
        cycle,
        stage,
    )


def test_a_record_of_the_worked_example_gives_its_terms() -> None:
    table = table_from_steps(held(), PROFILE, SENSORS)
    assert 100.0 * table.up == pytest.approx(UP, abs=1e-9)
    assert 100.0 * table.down == pytest.approx(DOWN, abs=1e-9)
    found = terms_result(table, PROFILE, SENSORS).quantities
    want = {
        "inaccuracy_above": 0.6,
        "inaccuracy_below": -0.6,
        "travel_hysteresis": 1.1,
        "non_repeatability": 0.2,
        "linearity_terminal": 0.20,
        "linearity_independent": 0.10,
        "linearity_zero_based": 0.13333,
    }
    for key, value in want.items():
        assert found[key].value == pytest.approx(value / 100.0, abs=1e-7), key
    assert found["dead_band"].outcome is Outcome.NOT_MEASURED
    assert "no reversal" in found["dead_band"].why
    assert tuple(found) == TERMS


def test_without_limits_nothing_is_judged_and_no_limit_is_made_up() -> None:
    result = terms_result(table_from_steps(held(), PROFILE, SENSORS), PROFILE, SENSORS)
    assert result.outcome is Outcome.NOT_JUDGED
    assert all(quantity.limits is None for quantity in result.quantities.values())


@pytest.mark.parametrize(
    ("term", "at_most", "outcome"),
    [
        (Term.HYSTERESIS, 0.02, Outcome.PASS),
        (Term.HYSTERESIS, 0.003, Outcome.FAIL),
        (Term.INACCURACY, 0.03, Outcome.PASS),
        (Term.INACCURACY, 0.006, Outcome.UNDECIDED),  # 0.6 ± 0.6 % against 0.6 %
        (Term.DEAD_BAND, 0.05, Outcome.UNDECIDED),  # limited, and not measured
    ],
)
def test_limits_come_from_the_profile_and_are_judged_with_the_uncertainty(
    term: Term, at_most: float, outcome: Outcome
) -> None:
    profile = replace(PROFILE, performance_limits=(TermLimit(term, at_most, "order 4711"),))
    result = terms_result(table_from_steps(held(), profile, SENSORS), profile, SENSORS)
    assert result.outcome is outcome
    judged = {key for key, quantity in result.quantities.items() if quantity.limits is not None}
    assert {limit_source(profile, key) for key in judged} == {"order 4711"}
    low = next(q.limits[0] for q in result.quantities.values() if q.limits)
    assert low == (-at_most if term is Term.INACCURACY else -inf)


def test_a_point_that_was_not_read_is_named_and_no_term_is_made_of_the_rest() -> None:
    samples = held()
    gone = samples.stage == str(StepStage(Doing.HOLD, 0.75, Way.FALLING))
    gone &= samples.cycle == 2
    samples = replace(samples, pressure_pa=np.where(gone, np.nan, samples.pressure_pa))
    result = terms_result(table_from_steps(samples, PROFILE, SENSORS), PROFILE, SENSORS)
    assert result.outcome is Outcome.UNDECIDED
    assert result.quantities["travel_hysteresis"].why == "not read: 75 % falling in cycle 2"


def test_one_cycle_repeats_nothing() -> None:
    samples = held()
    first = samples.cycle < 2
    samples = Samples(*(getattr(samples, name)[first] for name in Samples.__dataclass_fields__))
    found = terms_result(table_from_steps(samples, PROFILE, SENSORS), PROFILE, SENSORS).quantities
    assert found["non_repeatability"].outcome is Outcome.NOT_MEASURED
    assert found["travel_hysteresis"].value == pytest.approx(0.012)


def test_a_record_without_any_point_raises_nothing() -> None:
    samples = held()
    few = samples.stage == ZERO
    empty = Samples(*(getattr(samples, name)[few] for name in Samples.__dataclass_fields__))
    result = terms_result(table_from_steps(empty, PROFILE, SENSORS), PROFILE, SENSORS)
    assert result.outcome is Outcome.UNDECIDED
    assert all(quantity.value is None for quantity in result.quantities.values())


def test_the_uncertainty_of_each_term_covers_what_the_transmitters_may_do() -> None:
    """JCGM 101: draw transmitter errors and noise, measure anew, and count how often the truth is covered.

    The errors are a straight one (zero and span, within the stated accuracy at both ends) and a bent one,
    each rectangular; that is the worst the stated accuracy admits.
    """
    random = np.random.default_rng(11)
    exact = terms_result(table_from_steps(held(), PROFILE, SENSORS), PROFILE, SENSORS).quantities
    keys = [key for key in TERMS if key not in ("dead_band", "non_repeatability")]
    inside = dict.fromkeys(keys, 0)
    runs = 150
    clean = held()
    for _ in range(runs):
        errors = []
        for values, accuracy, span in (
            (clean.pressure_pa, SENSORS.pressure_accuracy_pa, SENSORS.pressure_span_pa),
            (clean.position_m, SENSORS.position_accuracy_m, SENSORS.position_span_m),
        ):
            share = values / span
            low, high, bend = random.uniform(-1.0, 1.0, 3) * accuracy
            straight = low + (high - low) * share
            bent = 4.0 * bend * share * (1.0 - share)
            noise = 0.3 * accuracy * random.normal(size=len(values))
            errors.append((straight if random.random() < 0.5 else bent) + noise)
        samples = replace(
            clean, pressure_pa=clean.pressure_pa + errors[0], position_m=clean.position_m + errors[1]
        )
        found = terms_result(table_from_steps(samples, PROFILE, SENSORS), PROFILE, SENSORS).quantities
        for key in keys:
            value, true, reach = found[key].value, exact[key].value, found[key].expanded_uncertainty
            assert value is not None
            assert true is not None
            assert reach is not None
            inside[key] += abs(value - true) <= reach
    for key, count in inside.items():
        assert count / runs >= 0.9, (key, count / runs)


def test_the_dead_band_is_the_widest_place_with_the_scatter_of_its_repeats() -> None:
    table = table_from_steps(held(), PROFILE, SENSORS)
    bands = tuple(
        DeadBand(point, Way.FALLING, share, 1e-8)
        for point, shares in ((0.25, (0.05, 0.052)), (0.75, (0.06, 0.062)))
        for share in shares
    )
    found = terms_result(replace(table, dead_bands=bands), PROFILE, SENSORS).quantities["dead_band"]
    assert found.value == pytest.approx(0.061)
    scatter = next(part for part in found.budget if part.statistical)
    assert scatter.standard_uncertainty == pytest.approx(0.001, rel=1e-6)  # sd 0.001414 over sqrt 2
    assert scatter.degrees_of_freedom == 2.0


def test_ramps_tell_the_terms_without_judging_them() -> None:
    profile = replace(PROFILE, performance_limits=(TermLimit(Term.HYSTERESIS, 1e-4, "order 4711"),))
    rig = Rig(cycles=2, rate_pa_per_s=0.5 * PSI)
    table = table_from_ramp(record(VALVE, rig), profile, SENSORS)
    result = terms_result(table, profile, SENSORS)
    hysteresis = result.quantities["travel_hysteresis"]
    want = 2.0 * VALVE.half_band_pa * VALVE.gain / VALVE.travel_m
    assert hysteresis.value is not None
    assert hysteresis.expanded_uncertainty is not None
    assert abs(hysteresis.value - want) <= hysteresis.expanded_uncertainty
    assert "ramps" in hysteresis.method
    assert hysteresis.limits is None
    assert result.outcome is Outcome.NOT_JUDGED


def test_a_ramp_that_ends_below_the_last_point_tells_nothing() -> None:
    short = profile_for(VALVE, bench_upper_pa=60 * PSI)
    table: PointTable = table_from_ramp(record(VALVE, Rig(cycles=1)), short, SENSORS)
    assert "100 % rising in cycle 1" in table.missing
    assert terms_result(table, short, SENSORS).quantities["linearity_terminal"].value is None
