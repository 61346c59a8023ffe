"""The three clocks, the machine's time played by the test."""

import pytest

from rig.stand.clock import MonotonicClock, PacedClock, VirtualClock


class FakeTime:
    """Stands in for the module `time`; sleeping takes `oversleep_s` longer than asked."""

    def __init__(self) -> None:
        self.now_s = 5000.0
        self.oversleep_s = 0.0
        self.slept: list[float] = []

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now_s += seconds + self.oversleep_s


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> FakeTime:
    time = FakeTime()
    monkeypatch.setattr("rig.stand.clock.time", time)
    return time


def test_the_machines_clock_starts_at_zero_and_tells_how_late_it_woke(fake: FakeTime) -> None:
    clock = MonotonicClock()
    assert clock.now() == 0.0
    fake.oversleep_s = 0.003
    assert clock.wait_until(0.02) == pytest.approx(0.003)
    assert clock.now() == pytest.approx(0.023)


def test_a_slot_that_has_passed_is_not_waited_for(fake: FakeTime) -> None:
    clock = MonotonicClock()
    fake.now_s += 0.05
    assert clock.wait_until(0.02) == pytest.approx(0.03)
    assert fake.slept == []


def test_virtual_time_takes_the_stand_along_and_is_never_late() -> None:
    passed: list[float] = []
    clock = VirtualClock(passed.append)
    assert clock.wait_until(0.02) == 0.0
    assert clock.wait_until(0.02) == 0.0
    assert clock.wait_until(0.06) == 0.0
    assert clock.now() == 0.06
    assert passed == pytest.approx([0.02, 0.04])


def test_paced_time_runs_at_most_so_many_times_as_fast(fake: FakeTime) -> None:
    clock = PacedClock(10.0)
    for slot in range(1, 51):
        assert clock.wait_until(slot * 0.02) == 0.0
    assert clock.now() == pytest.approx(1.0)
    assert fake.now_s - 5000.0 == pytest.approx(0.1)


def test_work_within_a_slot_counts_towards_its_pace(fake: FakeTime) -> None:
    clock = PacedClock(10.0)
    for slot in range(1, 51):
        clock.wait_until(slot * 0.02)
        fake.now_s += 0.0015
    assert fake.now_s - 5000.0 == pytest.approx(0.1015)


def test_a_stall_costs_no_virtual_time_and_is_not_caught_up(fake: FakeTime) -> None:
    clock = PacedClock(10.0)
    clock.wait_until(0.02)
    fake.now_s += 3.0
    assert clock.now() == 0.02
    assert clock.wait_until(0.04) == 0.0
    before = fake.now_s
    clock.wait_until(0.06)
    assert fake.now_s - before == pytest.approx(0.002)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_pace_that_is_none_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        PacedClock(speed)
