"""The three clocks, the machine's time played by the test."""

import time

import pytest

from rig.stand.clock import MonotonicClock, PacedClock, VirtualClock, machine_s
from rig.stand.loop import ScanLoop
from rig.stand.outputs import Outputs
from rig.stand.scanner import Scanner
from safety.state import Mode, PersonEvent

from .stands import connected, healthy_mock, limits, stand


class FakeTime:
    """Stands in for the module `time`; sleeping takes `oversleep_s` longer than asked."""

    CLOCK_BOOTTIME = 7

    def __init__(self) -> None:
        self.now_s = 5000.0  # monotonic
        self.asleep_s = 0.0  # of the machine, which CLOCK_MONOTONIC leaves out
        self.oversleep_s = 0.0
        self.slept: list[float] = []

    def monotonic(self) -> float:
        return self.now_s

    def clock_gettime(self, clock: int) -> float:
        assert clock == self.CLOCK_BOOTTIME
        return self.now_s + self.asleep_s

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now_s += max(1e-6, seconds + self.oversleep_s)


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


def test_a_sleep_of_the_machine_counts_and_makes_the_slot_late(fake: FakeTime) -> None:
    clock = MonotonicClock()
    fake.asleep_s = 3600.0
    assert clock.now() == pytest.approx(3600.0)
    assert clock.wait_until(0.02) == pytest.approx(3599.98)
    assert fake.slept == []


def test_a_slot_is_waited_for_until_it_has_come(fake: FakeTime) -> None:
    clock = MonotonicClock()
    fake.oversleep_s = -0.008  # woken too soon
    assert clock.wait_until(0.02) >= 0.0
    assert clock.now() >= 0.02
    assert len(fake.slept) > 1


def test_the_guard_trips_when_the_machine_has_slept(fake: FakeTime) -> None:
    _, _, _, bus = connected(stand(), healthy_mock())
    clock = MonotonicClock()
    scanner, outputs = Scanner(stand(), {"bay": bus}, clock), Outputs(stand(), {"bay": bus}, clock)
    loop = ScanLoop(scanner, outputs, clock, limits())
    for _ in range(60):
        loop.step()
    assert loop.step(event=PersonEvent.ARM).mode == Mode.RAMPING.value, loop.state.refusals
    fake.asleep_s = 600.0
    loop.step()
    assert loop.state.mode is Mode.TRIPPED
    assert "scan gap" in {trip.code for trip in loop.state.trips}


@pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="the system has no such clock")
def test_the_machines_clock_is_the_one_that_runs_while_it_sleeps() -> None:
    before_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    now_s = machine_s()
    assert before_s <= now_s <= time.clock_gettime(time.CLOCK_BOOTTIME)


def test_where_the_system_has_no_such_clock_it_is_the_monotonic_one(
    fake: FakeTime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr(FakeTime, "CLOCK_BOOTTIME")
    fake.asleep_s = 3600.0
    assert machine_s() == 5000.0


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
