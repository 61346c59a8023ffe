"""JCGM 101: the budgets of a check against drawn errors of transmitters, area, lag and noise.

The record is that of an ideal valve, whose true values are exact. In every run the errors are drawn from
what the stand file and the profile state, the record is measured anew, and the truth must lie within the
expanded uncertainty: a budget that forgets a contribution, or counts a shared one away, covers too little.
"""

from dataclasses import replace

import numpy as np
import pytest

from rig.analysis.check import analyse
from rig.analysis.instruments import usual_lag
from rig.analysis.result import QUANTITIES, CheckResult, Quantity
from rig.analysis.samples import Floats, Samples

from .synthetic import INCH, PSI, SENSORS, IdealValve, Rig, profile_for, record

VALVE = IdealValve()
PROFILE = profile_for(VALVE)
RUNS = 80
LEAST = 0.90  # of runs that a 95 % interval must cover: 80 runs tell a share to 0.024


def true_values(area_m2: float) -> dict[str, float]:
    """By the definitions of rig/analysis/README.md, with the effective area as it truly is."""
    low, high, band = VALVE.lower_pa, VALVE.upper_pa, VALVE.half_band_pa
    return {
        "lift_off": low + band,
        "sliding_intercept": low + band,
        "full_travel": high + band,
        "return_start": high - band,
        "reseat": low - band,
        "travel": VALVE.travel_m,
        "friction": band * area_m2,
        "spring_rate": area_m2 / VALVE.gain,
        "spring_only_lower": low,
        "spring_only_upper": high,
        "seat_load": area_m2 * (low - band),
        "hysteresis": 2.0 * band,
    }


def spoilt(values: Floats, accuracy: float, span: float, random: np.random.Generator) -> Floats:
    """An error within the stated accuracy: zero and span (each end at random), or a bend half way."""
    share = values / span
    low, high, bend = random.uniform(-1.0, 1.0, 3) * accuracy
    straight = low + (high - low) * share
    return values + (straight if random.random() < 0.5 else 4.0 * bend * share * (1.0 - share))


def one_run(seed: int) -> tuple[CheckResult, dict[str, float]]:
    random = np.random.default_rng(seed)
    more_s = max(-VALVE.drag_s, usual_lag(SENSORS, PROFILE)[1] * float(random.normal()))
    clean = record(replace(VALVE, more_drag_s=more_s), Rig(noise_pa=0.0, noise_m=0.0), seed)
    n = len(clean.time_s)
    pressure = spoilt(clean.pressure_pa, SENSORS.pressure_accuracy_pa, SENSORS.pressure_span_pa, random)
    position = spoilt(clean.position_m, SENSORS.position_accuracy_m, SENSORS.position_span_m, random)
    samples: Samples = replace(
        clean,
        pressure_pa=pressure + 0.03 * PSI * random.normal(size=n),
        position_m=position + 0.001 * INCH * random.normal(size=n),
    )
    area = VALVE.area_m2 * (1.0 + PROFILE.area_relative_uncertainty * random.uniform(-1.0, 1.0))
    return analyse(samples, PROFILE, SENSORS), true_values(area)


@pytest.fixture(scope="module")
def runs() -> list[tuple[CheckResult, dict[str, float]]]:
    return [one_run(seed) for seed in range(RUNS)]


def covers(quantity: Quantity, true: float) -> bool:
    assert quantity.value is not None
    assert quantity.expanded_uncertainty is not None
    return abs(quantity.value - true) <= quantity.expanded_uncertainty


@pytest.mark.parametrize("key", QUANTITIES)
def test_the_budget_of_every_quantity_covers_drawn_errors(
    key: str, runs: list[tuple[CheckResult, dict[str, float]]]
) -> None:
    share = sum(covers(result.quantities[key], true[key]) for result, true in runs) / RUNS
    assert share >= LEAST, f"{key}: covered {share:.3f}"


@pytest.mark.parametrize(
    ("key", "source"),
    [
        ("lift_off", "accuracy of the pressure transmitter"),
        ("travel", "accuracy of the position transmitter"),
        ("seat_load", "effective area of the diaphragm"),
        ("spring_rate", "effective area of the diaphragm"),
    ],
)
def test_a_budget_without_its_main_contribution_would_be_seen(
    key: str, source: str, runs: list[tuple[CheckResult, dict[str, float]]]
) -> None:
    """The check itself can fail: with the contribution taken out, the interval covers too little."""

    def shrunk(quantity: Quantity) -> Quantity:
        rest = sum(c.standard_uncertainty**2 for c in quantity.budget if c.source != source) ** 0.5
        assert any(c.source == source for c in quantity.budget)
        return replace(quantity, expanded_uncertainty=quantity.coverage_factor * rest)

    share = sum(covers(shrunk(result.quantities[key]), true[key]) for result, true in runs) / RUNS
    assert share < LEAST, f"{key} without {source}: still covered {share:.3f}"


def test_what_all_cycles_share_counts_once_and_does_not_average_out(
    runs: list[tuple[CheckResult, dict[str, float]]],
) -> None:
    """T20 in the product: the error of the transmitter is the same in every cycle."""
    for result, _ in runs[:3]:
        lift = result.quantities["lift_off"]
        accuracy = [c for c in lift.budget if c.source == "accuracy of the pressure transmitter"]
        assert len(accuracy) == 1
        assert accuracy[0].standard_uncertainty == pytest.approx(SENSORS.pressure_accuracy_pa / 3**0.5)
        for cycle in result.cycles:
            assert cycle["lift_off"].standard_uncertainty >= accuracy[0].standard_uncertainty
