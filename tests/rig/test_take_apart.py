"""Taking apart: never undone under load, and told when it is still loaded."""

from dataclasses import replace

import pytest

from rig.procedure.guided import resume_at
from rig.procedure.take_apart import Apart, TakeApart
from rig.profile.model import Action
from rig.stand.limits import limits_for_coupling
from rig.stand.run import How
from safety.state import Mode
from simulator import Actuator, Fault, Installation, SimulatedStand
from tests.rig.coupling_bench import INCH, PSI, actuator, profile
from tests.rig.guided_bench import Line, Ride, Script, guided_limits, machine_for, ride
from tests.rig.stands import stand
from tests.rig.synthetic import SENSORS

OPEN, CLOSE = Action.AIR_TO_OPEN, Action.AIR_TO_CLOSE


def connected(action: Action) -> Actuator:
    return replace(actuator(profile(action)), coupled=True)


def apart(action: Action, script: Script, each=lambda sample: None) -> Ride:  # type: ignore[no-untyped-def]
    given = profile(action)
    guided = TakeApart(profile=given, sensors=SENSORS, highest_pa=44 * PSI)
    yoke = Installation(position_zero_m=0.3 * INCH)
    machine = machine_for(stand(), connected(action), installation=yoke)
    limits = limits_for_coupling(guided_limits(given, stand()), given)
    return ride(machine, given, guided, guided.run(), script, limits=limits, each=each)


def test_undone_only_with_the_plug_off_its_seat_and_no_force_on_it() -> None:
    seat_n, off_m = [], []

    def undo(machine: SimulatedStand) -> None:
        seat_n.append(machine.outputs.seat_n)
        off_m.append(machine.outputs.stem_m)
        machine.uncouple()

    done = apart(OPEN, Script([Line("Undo the connector", act=undo)]))
    result: Apart = done.ended.value
    assert done.ended.how is How.FINISHED
    assert not done.ended.trips, done.texts()
    assert result.undone, done.texts()
    assert seat_n == [0.0]
    assert off_m[0] == pytest.approx(INCH / 16, abs=0.02 * INCH)
    assert result.dropped_m == pytest.approx(connected(OPEN).slack_m, abs=0.01 * INCH)
    hands = [s.command.output_pa for s in done.samples if s.mode == Mode.HANDS_IN.value]
    assert len(hands) > 50
    assert len(set(hands)) == 1


def test_where_air_closes_it_is_undone_without_air() -> None:
    pressures = []

    def undo(machine: SimulatedStand) -> None:
        pressures.append(machine.outputs.casing_pa)
        machine.uncouple()

    done = apart(CLOSE, Script([Line("Undo the connector", act=undo)]))
    assert done.ended.value.undone
    assert max(pressures) < 0.3 * PSI


def test_a_stem_that_does_not_leave_the_seat_is_not_undone() -> None:
    """It jams before lift-off: no prompt for the wrench opens."""
    script = Script([Line("Make ready", act=lambda m: m.faults.add(Fault("stem jams")))])
    done = apart(OPEN, script)
    assert "Undo the connector" not in done.prompts()
    assert done.ended.value is None or not done.ended.value.undone


def test_said_undone_but_still_holding_is_noticed() -> None:
    done = apart(OPEN, Script([]))
    assert any("still holds" in text for text in done.ended.value.remarks)


def test_it_cannot_be_undone_says_that_the_load_is_still_there() -> None:
    done = apart(OPEN, Script([Line("Undo the connector", key="n")]))
    assert not done.ended.value.undone
    assert "still carries the load" in done.ended.value.why
    assert done.ended.vented


@pytest.mark.parametrize("action", [OPEN, CLOSE])
def test_an_interrupted_run_begins_again_at_a_step_that_there_is(action: Action) -> None:
    guided = TakeApart(profile=profile(action), sensors=SENSORS, highest_pa=44 * PSI)
    names = [step.name for step in guided.steps()]
    assert all(resume_at(guided.steps(), name) in names for name in names)
    assert resume_at(guided.steps(), "undo the connector") == names[1]


def test_not_connected_nothing_is_moved() -> None:
    done = apart(OPEN, Script([Line("Make ready", key="n")]))
    assert "nothing was moved" in done.ended.value.why
    assert max(s.command.output_pa for s in done.samples) == 0.0
