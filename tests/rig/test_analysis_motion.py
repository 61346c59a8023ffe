"""The watch on the stem while a procedure runs: it must see movement early and be still at rest."""

import random

import pytest

from rig.analysis.motion import EndOfTravel, MotionWatch

NOISE_M = 2e-3 * 0.0254  # 0.1 % of a 2 in span
SPEED_M_PER_S = 0.05625 * 0.0254  # 105 in2 actuator at 1 psi/s
SCAN_S = 0.02


def at_rest(
    watch: MotionWatch, scans: int, seed: int = 1, start_s: float = 0.0, place_m: float = 0.1
) -> float:
    noise = random.Random(seed)
    for scan in range(scans):
        watch.update(start_s + scan * SCAN_S, place_m + noise.gauss(0.0, NOISE_M))
    return start_s + scans * SCAN_S


@pytest.mark.parametrize("sense", [1.0, -1.0])
@pytest.mark.parametrize("given", [NOISE_M, None])
def test_leaving_rest_is_seen_within_a_fifth_of_a_psi_either_way_round(
    sense: float, given: float | None
) -> None:
    delays = []
    for seed in range(20):
        watch = MotionWatch(given)
        now = at_rest(watch, 300, seed)
        assert not watch.left_rest
        noise, start = random.Random(seed + 99), now
        while not watch.left_rest:
            place = 0.1 + sense * SPEED_M_PER_S * (now - start)
            watch.update(now, place + noise.gauss(0.0, NOISE_M))
            now += SCAN_S
        delays.append(now - start)
    assert sum(delays) / len(delays) < 0.2  # seconds at 1 psi/s


def test_no_false_alarm_in_a_long_rest() -> None:
    watch = MotionWatch(NOISE_M)
    at_rest(watch, 60_000, seed=3)
    assert not watch.left_rest


def test_noise_is_learned_at_rest() -> None:
    watch = MotionWatch()
    assert watch.noise_m is None
    at_rest(watch, 1000)
    assert watch.noise_m == pytest.approx(NOISE_M, rel=0.08)


def test_a_soft_seat_giving_way_slowly_is_no_movement() -> None:
    watch = MotionWatch(NOISE_M)
    drift = 1e-3 * 0.0254  # 1 mil/s: 1 mil per psi at 1 psi/s
    noise = random.Random(5)
    for scan in range(1000):
        watch.update(scan * SCAN_S, drift * scan * SCAN_S + noise.gauss(0.0, NOISE_M))
    assert not watch.left_rest


def test_one_count_to_and_fro_is_no_movement() -> None:
    count = 1e-5
    watch = MotionWatch(resolution_m=count)
    for scan in range(2000):
        watch.update(scan * SCAN_S, 0.1 + count * (scan // 40 % 2))
    assert not watch.left_rest


def test_lost_readings_are_passed_over() -> None:
    watch = MotionWatch(NOISE_M)
    now = at_rest(watch, 300)
    for scan in range(50):
        watch.update(now + scan * SCAN_S, float("nan"))
    at_rest(watch, 300, start_s=now + 1.0)
    assert not watch.left_rest


def test_speed_moving_and_settled_follow_the_stem() -> None:
    watch = MotionWatch(NOISE_M)
    now = at_rest(watch, 300)
    assert not watch.moving
    assert watch.settled(2.0, NOISE_M)
    assert not watch.settled(20.0, NOISE_M)  # not seen for so long yet
    noise = random.Random(7)
    for scan in range(100):
        watch.update(now + scan * SCAN_S, 0.1 + SPEED_M_PER_S * scan * SCAN_S + noise.gauss(0.0, NOISE_M))
    assert watch.moving
    assert watch.left_rest
    assert watch.speed_m_per_s == pytest.approx(SPEED_M_PER_S, rel=0.2)
    assert not watch.settled(2.0, NOISE_M)


def test_restart_takes_the_new_place_as_rest() -> None:
    watch = MotionWatch()
    now = at_rest(watch, 300)
    now = at_rest(watch, 300, start_s=now, place_m=0.12)
    assert watch.left_rest
    watch.restart()
    at_rest(watch, 300, start_s=now, place_m=0.12)
    assert not watch.left_rest
    assert watch.noise_m == pytest.approx(NOISE_M, rel=0.15)


def test_the_stop_is_seen_only_after_the_pressure_went_on() -> None:
    psi, per_pa = 6894.757, 0.05625 * 0.0254 / 6894.757
    watch = EndOfTravel(per_pa, over_pa=0.5 * psi, noise_m=NOISE_M)
    noise = random.Random(11)
    stop_pa = 30.0 * psi
    seen_pa = None
    for scan in range(2000):
        pressure = 20.0 * psi + scan * SCAN_S * psi
        place = per_pa * min(pressure, stop_pa) + noise.gauss(0.0, NOISE_M)
        if watch.update(scan * SCAN_S, place, pressure) and seen_pa is None:
            seen_pa = pressure
    assert seen_pa is not None
    assert stop_pa + 0.3 * psi < seen_pa < stop_pa + 0.9 * psi
