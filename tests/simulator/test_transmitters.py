"""A transmitter's errors: each shows, and by as much as it says."""

from dataclasses import replace
from math import exp, isnan
from random import Random
from statistics import fmean, pstdev

import pytest

from rig.stand.model import AnalogChannel, Number
from simulator.transmitters import PERFECT, Errors, Spoiled, Transmitter
from tests.simulator.stands import PSI, channel

SPAN = 60 * PSI
CHANNEL = channel("casing pressure", 0, SPAN)


def fitted(errors: Errors = PERFECT, on: AnalogChannel = CHANNEL, **spoiled: object) -> Transmitter:
    made = Transmitter(on, errors, Random(1))
    made.spoiled = Spoiled(**spoiled)  # type: ignore[arg-type]
    return made


def shown(transmitter: Transmitter, value: float, time_s: float = 1.0) -> float:
    """SI value of the count after a long time at `value`."""
    transmitter.follow(0.0, value)
    transmitter.follow(time_s, value)
    return transmitter.channel.scale.to_si(transmitter.raw)


COUNT = SPAN / 16000


@pytest.mark.parametrize(("share", "raw"), [(0.0, 4000), (0.25, 8000), (0.5, 12000), (1.0, 20000)])
def test_a_current_loop_counts_from_4_to_20_milliampere(share: float, raw: int) -> None:
    # IEC 60381-1: 4-20 mA (memory); 0/25/50/100 % are 4, 8, 12, 20 mA
    transmitter = fitted()
    transmitter.follow(0.0, share * SPAN)
    assert transmitter.raw == raw


def test_it_rounds_to_whole_counts() -> None:
    assert shown(fitted(), 100.4 * COUNT) == pytest.approx(100 * COUNT)
    assert shown(fitted(), 100.6 * COUNT) == pytest.approx(101 * COUNT)


def test_a_healthy_one_saturates_inside_the_measuring_window() -> None:
    # NAMUR NE 43: measuring 3.8 to 20.5 mA
    assert fitted().channel.live is not None
    high, low = fitted(), fitted()
    high.follow(0.0, 3 * SPAN)
    low.follow(0.0, -SPAN)
    assert (low.raw, high.raw) == (3800, 20500)


def test_a_failed_one_leaves_the_failure_window() -> None:
    # NAMUR NE 43: failed at or below 3.6 mA, at or above 21 mA
    low, high = fitted(failed_low=True), fitted(failed_high=True)
    low.follow(0.0, 0.5 * SPAN)
    high.follow(0.0, 0.5 * SPAN)
    assert low.raw <= 3600
    assert high.raw >= 21000


def test_a_failed_float_is_not_a_number() -> None:
    floating = channel("casing pressure", 0, SPAN, number=Number.FLOAT32)
    failed = fitted(on=floating, failed_low=True)
    failed.follow(0.0, 1.0)
    assert isnan(failed.raw)


def test_zero_and_span_errors_are_shares_of_span_and_of_value() -> None:
    assert shown(fitted(replace(PERFECT, zero_share=0.01)), 0.5 * SPAN) == pytest.approx(
        0.51 * SPAN, abs=COUNT
    )
    assert shown(fitted(replace(PERFECT, span_share=0.01)), 0.5 * SPAN) == pytest.approx(
        0.505 * SPAN, abs=COUNT
    )


def test_noise_has_the_stated_deviation_and_no_bias() -> None:
    noisy = fitted(replace(PERFECT, noise_share=0.002))
    values = []
    for i in range(4000):
        noisy.follow(0.01 * i, 0.5 * SPAN)
        values.append(noisy.channel.scale.to_si(noisy.raw))
    assert pstdev(values) == pytest.approx(0.002 * SPAN, rel=0.05)
    assert fmean(values) == pytest.approx(0.5 * SPAN, abs=4 * 0.002 * SPAN / 4000**0.5)


def test_the_lag_is_exact_for_a_ramp_whatever_the_step() -> None:
    # first-order lag under a ramp from rest: y = r (t - tau (1 - exp(-t/tau)))
    for step in (0.001, 0.02, 0.1):
        lagging = fitted(replace(PERFECT, lag_s=0.05))
        for i in range(round(0.2 / step) + 1):
            lagging.follow(i * step, 1e5 * i * step)
        expected = 1e5 * (0.2 - 0.05 * (1 - exp(-0.2 / 0.05)))
        assert lagging.channel.scale.to_si(lagging.raw) == pytest.approx(expected, abs=COUNT)


def test_an_update_period_holds_the_value() -> None:
    slow = fitted(replace(PERFECT, update_s=0.1))
    seen = []
    for i in range(30):
        slow.follow(0.02 * i, 1e4 * i)
        seen.append(slow.raw)
    assert len(set(seen)) == 6  # 0.6 s, a tenth of a second each


def test_its_own_resolution_is_coarser_than_the_count() -> None:
    coarse = fitted(replace(PERFECT, resolution_share=0.01))
    assert shown(coarse, 0.5049 * SPAN) == pytest.approx(0.50 * SPAN, abs=COUNT)


def test_drift_with_time_and_with_temperature() -> None:
    drifting = fitted(replace(PERFECT, drift_share_per_s=1e-5, drift_share_per_k=1e-3))
    drifting.room_offset_k = 10.0
    assert shown(drifting, 0.5 * SPAN, 1000.0) == pytest.approx((0.5 + 0.01 + 0.01) * SPAN, abs=COUNT)


@pytest.mark.parametrize(
    ("spoiled", "expected_share"),
    [
        ({"offset": 0.1 * SPAN}, 0.4),
        ({"factor": 0.5}, 0.15),
        ({"upside_down": True}, 0.7),
    ],
)
def test_wrong_wiring_shows_as_stated(spoiled: dict[str, object], expected_share: float) -> None:
    assert shown(fitted(**spoiled), 0.3 * SPAN) == pytest.approx(expected_share * SPAN, abs=COUNT)


def test_a_stuck_one_repeats_its_last_count() -> None:
    stuck = fitted()
    stuck.follow(0.0, 0.3 * SPAN)
    before = stuck.raw
    stuck.spoiled = Spoiled(stuck=True)
    stuck.follow(1.0, 0.9 * SPAN)
    assert stuck.raw == before


def test_spikes_and_dropouts_come_as_often_as_stated() -> None:
    for spoiled, hit in (
        ({"spike_chance": 0.1, "spike": 0.2 * SPAN}, lambda raw: raw > 10000),
        ({"dropout_chance": 0.1}, lambda raw: raw < 3600),
    ):
        bad = fitted(**spoiled)
        hits = 0
        for i in range(3000):
            bad.follow(0.02 * i, 0.3 * SPAN)
            hits += hit(bad.raw)
        assert 240 < hits < 360


def test_the_same_seed_gives_the_same_noise() -> None:
    def run(seed: int) -> list[float]:
        one = Transmitter(CHANNEL, Errors(), Random(seed))
        got = []
        for i in range(50):
            one.follow(0.02 * i, 1e5)
            got.append(one.raw)
        return got

    assert run(3) == run(3)
    assert run(3) != run(4)
