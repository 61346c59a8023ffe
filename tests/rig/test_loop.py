"""The scan loop: order of a scan, slots, lost scans, what a failed write leaves behind."""

from dataclasses import replace

import pytest

from rig.stand.loop import ScanLoop
from rig.stand.model import Table
from rig.stand.notice import ASTRAY, LINK, MODE, REFUSED, TRIP, WRITE, Teller
from rig.stand.outputs import Outputs
from rig.stand.scanner import Scanner
from safety.limits import Role, expect
from safety.signals import SAFE_COMMAND, Demand
from safety.state import Mode, PersonEvent

from .stands import PSI, connected, healthy_mock, limits, loop_on, stand, with_module


class LateClock:
    """A clock whose waits return late by what the test lined up."""

    def __init__(self, *lateness_s: float) -> None:
        self._now_s = 0.0
        self._lateness_s = list(lateness_s)

    def now(self) -> float:
        return self._now_s

    def wait_until(self, time_s: float) -> float:
        late_s = self._lateness_s.pop(0) if self._lateness_s else 0.0
        self._now_s = max(self._now_s, time_s) + late_s
        return max(0.0, self._now_s - time_s)


def with_clock(clock: LateClock) -> ScanLoop:
    _, _, _, bus = connected(stand(), healthy_mock())
    scanner, outputs = Scanner(stand(), {"bay": bus}, clock), Outputs(stand(), {"bay": bus}, clock)
    return ScanLoop(scanner, outputs, clock, limits())


def test_scans_come_one_per_period_from_the_start() -> None:
    loop = loop_on(stand(), healthy_mock())
    samples = [loop.step() for _ in range(5)]
    assert [s.reading.time_s for s in samples] == pytest.approx([0.0, 0.02, 0.04, 0.06, 0.08])
    assert [s.reading.scan for s in samples] == [0, 1, 2, 3, 4]
    assert {s.lost_scans for s in samples} == {0}


def test_each_scan_reads_before_it_writes() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    reading = loop.read()
    assert mock.asked
    assert mock.written == []
    sample = loop.act(reading, None)
    assert sample.command == SAFE_COMMAND
    assert mock.written


def test_a_little_late_is_said_and_nothing_is_lost() -> None:
    loop = with_clock(LateClock(0.0, 0.019))
    loop.step()
    sample = loop.step()
    assert (sample.late_s, sample.lost_scans, sample.reading.scan) == (pytest.approx(0.019), 0, 1)


@pytest.mark.parametrize(("late_s", "lost"), [(0.0201, 2), (0.0399, 2), (0.05, 3), (1.001, 51)])
def test_missed_slots_are_counted_and_left_out_and_the_next_one_ahead_is_taken(
    late_s: float, lost: int
) -> None:
    loop = with_clock(LateClock(0.0, late_s))
    loop.step()
    sample = loop.step()
    assert sample.lost_scans == lost
    assert sample.reading.scan == 1 + lost
    assert sample.late_s == 0.0
    assert sample.reading.time_s == pytest.approx(0.02 * (1 + lost))


def test_a_clock_that_was_set_back_is_not_waited_for_and_the_guard_sees_it_at_once() -> None:
    clock = LateClock()
    loop = with_clock(clock)
    for _ in range(60):
        loop.step()
    clock._now_s -= 1.0
    before_s = clock.now()
    sample = loop.step()
    assert clock.now() - before_s <= 0.02
    assert sample.mode == Mode.TRIPPED.value
    assert [trip.code for trip in loop.state.trips] == ["time wrong"]
    numbers = [loop.step().reading.scan for _ in range(3)]
    assert numbers == [sample.reading.scan + k for k in (1, 2, 3)]
    assert loop.lost_scans == 0


def test_the_slots_stay_on_the_grid_after_a_loss() -> None:
    loop = with_clock(LateClock(0.0, 0.05))
    times = [loop.step().reading.time_s for _ in range(4)]
    assert [round(t / 0.02, 6) for t in times] == [0, 4, 5, 6]


def test_a_failed_write_shows_in_the_sample_and_in_words() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    mock.refuses[1, Table.HOLDING, 0] = 4
    sample = loop.step()
    assert not sample.written
    assert any(n.kind == WRITE and "exception 4" in n.text for n in loop.take_notices())
    mock.refuses.clear()
    assert loop.step().written


def test_a_pressure_inferred_from_the_output_is_unknown_after_a_failed_write() -> None:
    mock = healthy_mock()
    loop = loop_on(replace(stand(), casing_pressure=None, demand_readback=None), mock)
    loop.step()
    assert loop.step().reading.pressure.good
    mock.put(1, Table.HOLDING, 40, 0)  # the module forgot: everything is written anew ...
    mock.refuses[1, Table.HOLDING, 0] = 4  # ... and it refuses
    seen = [loop.step() for _ in range(60)]
    assert not seen[-1].written
    assert not seen[-1].reading.pressure.good


def test_a_trouble_on_the_link_is_told_once_while_it_lasts() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    mock.silent.add(1)
    for _ in range(500):
        loop.step()
    told = [n for n in loop.take_notices() if n.kind == LINK]
    assert len(told) == 1


def test_one_that_comes_and_goes_quickly_is_told_once_in_five_seconds() -> None:
    teller = Teller()
    for scan in range(0, 500, 2):
        teller.tell(scan * 0.02, LINK, ["no answer"])
    assert len(teller.take()) == 1
    teller.tell(500 * 0.02 + 5.1, LINK, ["no answer"])
    assert len(teller.take()) == 1


def armed(loop: ScanLoop) -> None:
    for _ in range(60):
        loop.step()
    assert loop.step(event=PersonEvent.ARM).mode == Mode.RAMPING.value, loop.state.refusals


def test_a_demand_reaches_the_stand_through_the_guard_only() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    resting = [loop.step(Demand(10 * PSI, PSI, "rise", serial=n)) for n in range(10)]
    assert {s.command for s in resting} == {SAFE_COMMAND}
    armed(loop)
    sample = loop.step(Demand(10 * PSI, PSI, "rise", serial=20))
    assert 0.0 < sample.command.output_pa <= 0.02 * PSI * 1.001
    assert sample.command.supply_open
    assert mock.values[1, Table.COILS, 0] == 1


def test_a_trip_writes_safe_outputs_in_the_same_scan_and_is_told_with_its_cause() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    armed(loop)
    loop.step(Demand(10 * PSI, PSI, "rise", serial=1))
    loop.take_notices()
    mock.put(1, Table.DISCRETE, 0, 0)  # emergency stop pressed
    sample = loop.step(Demand(10 * PSI, PSI, "rise", serial=2))
    assert sample.mode == Mode.TRIPPED.value
    assert mock.values[1, Table.COILS, 0] == 0
    assert mock.values[1, Table.COILS, 1] == 0
    assert mock.values[1, Table.HOLDING, 0] == 4000
    notices = loop.take_notices()
    trips = [n.trip for n in notices if n.kind == TRIP]
    assert [trip.code for trip in trips if trip] == ["emergency stop"]
    assert [n.text for n in notices if n.kind == MODE] == ["ramping -> tripped"]


def test_refusals_to_arm_are_told() -> None:
    mock = healthy_mock()
    mock.put(1, Table.DISCRETE, 1, 0)  # guard open
    loop = loop_on(stand(), mock)
    for _ in range(60):
        loop.step()
    loop.step(event=PersonEvent.ARM)
    assert "The guard is open." in [n.text for n in loop.take_notices() if n.kind == REFUSED]


def test_a_module_that_lost_its_memory_is_armed_again() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock, limits(signals=expect(Role.PRESSURE, Role.POSITION)))
    loop.step()
    mock.put(1, Table.HOLDING, 40, 0)
    mock.put(1, Table.HOLDING, 0, 0)
    for _ in range(60):
        loop.step()
    assert mock.values[1, Table.HOLDING, 40] == 500
    assert mock.values[1, Table.HOLDING, 0] == 4000


def test_the_last_thing_done_is_safe_outputs() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    armed(loop)
    loop.step(Demand(10 * PSI, PSI, "rise", serial=1))
    loop.make_safe()
    assert mock.values[1, Table.COILS, 1] == 0
    assert mock.values[1, Table.HOLDING, 0] == 4000


def test_safe_outputs_that_read_back_otherwise_are_written_again_though_nothing_changed() -> None:
    mock = healthy_mock()
    loop = loop_on(with_module(stand(), watchdog=None), mock)
    loop.step()
    loop.step()
    said = len(mock.written)
    mock.put(1, Table.DISCRETE, 2, 1)  # the supply valve reads back open: another program has written
    loop.step()
    assert [write[:3] for write in mock.written[said:]] == [
        (1, Table.COILS, 1),
        (1, Table.COILS, 0),
        (1, Table.HOLDING, 0),
    ]
    mock.put(1, Table.DISCRETE, 2, 0)
    loop.step()
    assert len(mock.written) == said + 3


def test_an_output_that_reads_back_higher_than_told_is_told_again_though_it_did_not_change() -> None:
    mock = healthy_mock()
    loop = loop_on(with_module(stand(), watchdog=None), mock)
    armed(loop)
    for serial in range(1, 12):  # as far as the mock's unmoved read-back is still near enough
        loop.step(Demand(0.3 * PSI, 6 * PSI, "hold", serial=serial))
    assert loop.state.command.output_pa == pytest.approx(0.3 * PSI)
    said = len(mock.written)
    mock.put(1, Table.INPUT, 3, 4800)  # 5 psi: another program has written
    loop.step(Demand(0.3 * PSI, 6 * PSI, "hold", serial=12))
    assert (1, Table.HOLDING, 0, (4080,)) in mock.written[said:]
    assert [notice.kind for notice in loop.take_notices() if notice.kind in (ASTRAY, TRIP)] == [ASTRAY]
    assert loop.state.mode is Mode.RAMPING  # once is told, not tripped


def test_an_output_that_reads_back_above_the_cap_trips_at_once() -> None:
    mock = healthy_mock()
    loop = loop_on(with_module(stand(), watchdog=None), mock)
    armed(loop)
    loop.step(Demand(0.3 * PSI, 6 * PSI, "hold", serial=1))
    mock.put(1, Table.INPUT, 3, 20000)  # full scale: another program has written
    sample = loop.step(Demand(0.3 * PSI, 6 * PSI, "hold", serial=2))
    assert sample.command.vent_open
    assert loop.state.first_cause is not None
    assert loop.state.first_cause.code == "output disagrees"
