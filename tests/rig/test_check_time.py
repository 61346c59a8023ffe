"""A whole check takes at most twice as long as the fastest strokes there are, plus 20 s."""

import pytest

from rig.analysis.check import analyse
from rig.cli.session import demo_actuator, open_in_process
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import Planner
from rig.profile.load import load_profile
from rig.profile.model import Profile
from rig.record.reader import sensors_of
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.run import How
from rig.stand.sample import Sample
from simulator import SimulatedStand
from simulator.scenario import load
from tests.campaign.fill_limited import fill_limited_s
from tests.campaign.physical import PSI


def ran(machine: SimulatedStand, profile: Profile) -> tuple[BenchCheck, list[Sample]]:
    """A whole check with all its cycles, in virtual time."""
    stand, limits = machine.stand, limits_for(profile, machine.stand)
    highest, rate = min(limits.demand_max_pa, profile.supply_pa), limits.rate_max_pa_per_s.value
    planner = Planner(profile, highest, rate, sensors_of(stand), stand.scans_per_s)
    check = BenchCheck(profile, planner.plan(), cycles=3, planner=planner)
    seen: list[Sample] = []
    with open_in_process(machine, limits, speed=None) as runner:
        ended = runner(check.run(), seen.append, lambda notice: None, lambda: None)
    assert ended.how is How.FINISHED
    return check, seen


@pytest.mark.parametrize("name", ["permeate-flush", "brine-letdown"])
def test_one_conditioning_and_three_measured_cycles(name: str) -> None:
    profile, stand = load_profile(name), load_stand("simulated")
    actuator, limits = demo_actuator(profile), limits_for(profile, stand)
    highest, rate = min(limits.demand_max_pa, profile.supply_pa), limits.rate_max_pa_per_s.value
    machine = SimulatedStand(stand, actuator)
    fastest_s = 4 * fill_limited_s(actuator, machine.converter, highest, rate)
    _, seen = ran(machine, profile)
    assert {s.demand.cycle for s in seen if s.demand} == {0, 1, 2, 3}
    assert seen[-1].reading.time_s <= 2.0 * fastest_s + 20.0


def test_a_stem_that_sticks_is_not_ridden_so_fast_that_it_glides() -> None:
    """Lift-off of a sticking stem is where it lets go; at 2.5 psi/s this one shows its sliding friction."""
    scenario, profile = load("sticky-plug-gross"), load_profile("membrane-rinse")
    machine = scenario.make(load_stand("simulated"))
    check, _ = ran(machine, profile)
    result = analyse(check.rows.samples(), profile, sensors_of(machine.stand))
    lift_off = result.quantities["lift_off"]
    assert lift_off.value is not None
    assert lift_off.method == "pressure before the first hop"
    assert lift_off.value == pytest.approx(scenario.truth().lift_off, abs=0.12 * PSI)
    assert any("sticks" in line for line in result.advice)
