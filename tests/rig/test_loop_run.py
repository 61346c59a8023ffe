"""A procedure's run in virtual time on the simulated stand: armed, ridden, ended in every way, vented."""

from collections.abc import Callable, Generator
from dataclasses import replace

import pytest

from rig.stand.clock import VirtualClock
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.model import Stand
from rig.stand.outputs import Outputs
from rig.stand.run import Ended, How, run_inline
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.limits import Limits, Role, expect
from safety.signals import Demand, Reading
from safety.state import Mode, PersonEvent
from simulator import Actuator, Fault, SimulatedStand

from .stands import PSI, limits, stand

Steps = Generator[Demand, Reading, str]

LIFTS_AT_10_PSI = Actuator(
    area_m2=0.0445,
    rated_travel_m=0.0286,
    stroke_m=0.035,
    travel_m=0.0286,
    preload_n=0.0445 * 10 * PSI,
    spring_rate_n_per_m=0.0445 * 20 * PSI / 0.0286,
    slack_m=0.006,
)


def built(given: Stand | None = None, with_limits: Limits | None = None) -> tuple[ScanLoop, SimulatedStand]:
    given = given or stand()
    simulated = SimulatedStand(given, LIFTS_AT_10_PSI, seed=7)
    clock = VirtualClock(lambda passed_s: simulated.advance(simulated.time_s + passed_s))
    buses = {name: InProcessBus(simulated) for name in given.links}
    loop = ScanLoop(
        Scanner(given, buses, clock),
        Outputs(given, buses, clock),
        clock,
        with_limits or limits(signals=expect(Role.PRESSURE, Role.POSITION)),
    )
    return loop, simulated


def hold(psi: float, seconds: float = 4.0) -> Steps:
    """Ramp up, hold until `seconds` have passed, vent."""
    reading = yield Demand(psi * PSI, 3 * PSI, "rise")
    end_s = reading.time_s + seconds
    while reading.time_s < end_s:
        reading = yield Demand(psi * PSI, 3 * PSI, "rise")
    for _ in range(50):
        reading = yield Demand(0.0, 0.0, "vent", vent=True)
    return "done"


def ride(
    steps: Steps,
    loop: ScanLoop,
    person: Callable[[], PersonEvent | None] = lambda: None,
    each: Callable[[Sample], None] = lambda sample: None,
) -> tuple[Ended[str], list[Sample]]:
    samples: list[Sample] = []

    def keep(sample: Sample) -> None:
        samples.append(sample)
        each(sample)

    return run_inline(loop, steps, keep, person=person), samples


def at(time_s: float, event: PersonEvent, loop: ScanLoop) -> Callable[[], PersonEvent | None]:
    """A person who does one thing at one time."""
    left = [event]

    def person() -> PersonEvent | None:
        return left.pop() if left and loop.state.time_s >= time_s else None

    return person


def test_a_procedure_is_armed_ridden_to_its_end_and_vented() -> None:
    loop, simulated = built()
    ended, samples = ride(hold(8.0), loop)
    assert (ended.how, ended.value, ended.trips, ended.vented) == (How.FINISHED, "done", (), True)
    assert max(s.reading.pressure.value for s in samples) > 7 * PSI
    assert samples[-1].mode == Mode.RESTING.value
    assert simulated.outputs.casing_pa < 0.5 * PSI


def test_demands_are_numbered_so_that_the_guard_sees_them_fresh() -> None:
    loop, _ = built()
    _, samples = ride(hold(4.0, 2.0), loop)
    serials = [s.demand.serial for s in samples if s.demand is not None]
    assert serials == list(range(1, len(serials) + 1))


def test_a_guard_left_open_is_told_and_nothing_moves() -> None:
    loop, simulated = built()
    simulated.open_guard()
    ended, samples = ride(hold(8.0), loop)
    assert ended.how is How.REFUSED
    assert ended.refusals == ("The guard is open.",)
    assert ended.value is None
    assert all(s.command.vent_open for s in samples)
    assert samples[-1].reading.time_s < 6.0


def test_a_guard_closed_within_two_seconds_is_forgiven() -> None:
    loop, simulated = built()
    simulated.open_guard()

    def close(sample: Sample) -> None:
        if sample.reading.time_s > 2.5:
            simulated.close_guard()

    ended, _ = ride(hold(4.0, 2.0), loop, each=close)
    assert ended.how is How.FINISHED


def test_an_emergency_stop_ends_the_run_vented_with_its_cause() -> None:
    loop, simulated = built()

    def press(sample: Sample) -> None:
        if sample.reading.pressure.value > 5 * PSI:
            simulated.press_emergency_stop()

    ended, samples = ride(hold(8.0), loop, each=press)
    assert ended.how is How.TRIPPED
    assert ended.trips[0].code == "emergency stop"
    assert ended.vented
    assert samples[-1].mode == Mode.TRIPPED.value
    assert simulated.outputs.casing_pa < 0.6 * PSI


def test_the_procedure_is_closed_as_soon_as_the_guard_trips() -> None:
    loop, simulated = built()
    closed_at: list[float] = []

    def watched() -> Steps:
        try:
            return (yield from hold(8.0))
        finally:
            closed_at.append(loop.state.time_s)

    pressed_at: list[float] = []

    def press(sample: Sample) -> None:
        if sample.reading.pressure.value > 5 * PSI and not pressed_at:
            simulated.press_emergency_stop()
            pressed_at.append(sample.reading.time_s)

    ride(watched(), loop, each=press)
    assert closed_at[0] - pressed_at[0] < 0.05


def test_stop_walks_the_pressure_down_in_order() -> None:
    loop, simulated = built()
    ended, samples = ride(hold(8.0, 60.0), loop, at(6.0, PersonEvent.STOP, loop))
    assert (ended.how, ended.trips, ended.vented) == (How.STOPPED, (), True)
    venting = [s for s in samples if s.mode == Mode.VENTING.value]
    assert venting[0].command.output_pa > 5 * PSI
    assert not venting[0].command.vent_open
    assert simulated.outputs.casing_pa < 0.6 * PSI


def test_safe_now_opens_the_vent_in_the_same_scan() -> None:
    loop, _ = built()
    ended, samples = ride(hold(8.0, 60.0), loop, at(6.0, PersonEvent.SAFE_NOW, loop))
    assert ended.how is How.STOPPED
    assert ended.trips[0].code == "ordered safe"
    first = next(s for s in samples if s.reading.time_s > 6.0)
    assert first.command.vent_open


def test_stop_before_anything_moved_just_ends() -> None:
    loop, _ = built()
    ended, samples = ride(hold(8.0), loop, at(0.3, PersonEvent.STOP, loop))
    assert ended.how is How.STOPPED
    assert samples[-1].reading.time_s < 1.0


def test_a_demand_above_the_cap_is_refused_and_told() -> None:
    loop, simulated = built()
    ended, _ = ride(hold(90.0, 3.0), loop)
    assert ended.how is How.TRIPPED
    assert any("above the cap" in text for text in ended.refusals)
    assert simulated.outputs.casing_pa < PSI


def test_an_error_in_whoever_records_vents_the_stand_before_it_goes_on() -> None:
    loop, simulated = built()

    def fail(sample: Sample) -> None:
        if sample.reading.pressure.value > 5 * PSI:
            raise OSError("the disk is full")

    with pytest.raises(OSError, match="the disk is full"):
        ride(hold(8.0), loop, each=fail)
    assert loop.state.vented
    assert simulated.outputs.casing_pa < 0.6 * PSI


def test_an_error_in_the_procedure_vents_the_stand_before_it_goes_on() -> None:
    def broken() -> Steps:
        reading = yield from hold_until_up()
        raise RuntimeError(f"lost at {reading.time_s}")

    def hold_until_up() -> Generator[Demand, Reading, Reading]:
        reading = yield Demand(8 * PSI, 3 * PSI, "rise")
        while reading.pressure.value < 5 * PSI:
            reading = yield Demand(8 * PSI, 3 * PSI, "rise")
        return reading

    loop, simulated = built()
    with pytest.raises(RuntimeError, match="lost at"):
        ride(broken(), loop)
    assert loop.state.vented
    assert simulated.outputs.casing_pa < 0.6 * PSI


def hands(loop: ScanLoop) -> Callable[[], PersonEvent | None]:
    """Hands in at 12 s, out at 20 s."""
    due = [(20.0, PersonEvent.HANDS_OUT), (12.0, PersonEvent.HANDS_IN)]

    def person() -> PersonEvent | None:
        return due.pop()[1] if due and loop.state.time_s >= due[-1][0] else None

    return person


def test_hands_in_freezes_the_output_and_the_procedure_goes_on_afterwards() -> None:
    loop, _ = built(with_limits=limits(isolate_supply_hands_in=False))
    ended, samples = ride(hold(6.0, 25.0), loop, hands(loop))
    inside = [s for s in samples if s.mode == Mode.HANDS_IN.value]
    assert len({s.command.output_pa for s in inside}) == 1
    assert ended.how is How.FINISHED


def test_a_trip_with_hands_in_waits_for_the_hands_and_then_ends_the_run() -> None:
    loop, _ = built()  # the supply is shut with hands in, and this I/P bleeds the casing down
    ended, samples = ride(hold(6.0, 25.0), loop, hands(loop))
    inside = [s for s in samples if s.mode == Mode.HANDS_IN.value]
    assert inside[-1].reading.time_s == pytest.approx(20.0, abs=0.05)
    assert not any(s.command.vent_open for s in inside)
    assert ended.how is How.TRIPPED
    assert ended.trips[0].code == "held pressure drifting"
    assert ended.vented


def test_virtual_time_gives_the_same_run_twice() -> None:
    def once() -> list[tuple[float, float, float]]:
        loop, _ = built()
        _, samples = ride(hold(8.0), loop)
        return [(s.reading.time_s, s.reading.pressure.value, s.reading.position.value) for s in samples]

    assert once() == once()


def test_a_stand_without_casing_transmitter_runs_on_its_inferred_pressure() -> None:
    given = replace(stand(), casing_pressure=None)
    loop, _ = built(given)
    ended, samples = ride(hold(8.0), loop)
    assert ended.how is How.FINISHED, ended
    assert all(s.reading.pressure_is_inferred for s in samples)


@pytest.mark.parametrize("event", [PersonEvent.STOP, PersonEvent.SAFE_NOW])
def test_a_person_who_presses_after_a_trip_does_not_make_it_a_persons_stop(event: PersonEvent) -> None:
    loop, simulated = built()
    tripped: list[Sample] = []

    def lose_the_signal(sample: Sample) -> None:
        if sample.reading.pressure.value > 5 * PSI:
            simulated.faults.add(Fault("transmitter fails low", where="stem_position"))
        if sample.mode == Mode.TRIPPED.value:
            tripped.append(sample)

    pressed = iter([event])

    def person() -> PersonEvent | None:
        return next(pressed, None) if len(tripped) > 2 else None

    ended, _ = ride(hold(8.0), loop, person, lose_the_signal)
    assert ended.how is How.TRIPPED
    assert ended.trips
