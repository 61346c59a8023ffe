"""F9, end to end: the published valve on the simulated stand, under the guard, checked and analysed.

The corners are those of the force balance with Coulomb friction (test_valve_set_analysis.py has the source):
what comes out of procedure, transmitters, scan loop and analysis must hold them within its uncertainty.
"""

from functools import cache

import pytest

from rig.analysis.check import analyse
from rig.analysis.result import CheckResult
from rig.cli.session import open_in_process
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import plan_ramp
from rig.procedure.rows import Rows
from rig.profile.model import Action, Basis, Profile, Tolerance
from rig.record.reader import sensors_of
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.run import How
from rig.stand.sample import Sample
from simulator import SimulatedStand
from tests.simulator.valve_set_a import COULOMB_A

from .test_valve_set_analysis import EXPECTED

PROFILE = Profile(
    model="set-a",
    title="published valve",
    action=Action.AIR_TO_OPEN,
    area_m2=COULOMB_A.area_m2,
    rated_travel_m=COULOMB_A.travel_m,
    travel_surplus_m=0.8e-3,
    bench_lower_pa=73e3,
    bench_upper_pa=210e3,
    lower_tolerance=Tolerance(3.5e3, 3.5e3),
    upper_tolerance=Tolerance(10e3, 10e3),
    basis=Basis.FRICTION_INCLUDED,
    casing_maximum_pa=350e3,
    supply_pa=300e3,
    area_relative_uncertainty=0.01,
)


@cache
def checked() -> CheckResult:
    stand, rows = load_stand("simulated"), Rows()
    limits = limits_for(PROFILE, stand)

    def keep(sample: Sample) -> None:
        if sample.demand is not None:
            rows.keep(sample.demand, sample.reading, sample.demand.cycle)

    check = BenchCheck(PROFILE, plan_ramp(PROFILE, PROFILE.supply_pa), cycles=2)
    with open_in_process(SimulatedStand(stand, COULOMB_A), limits, speed=None) as runner:
        ended = runner(check.run(), keep, lambda notice: None, lambda: None)
    assert ended.how is How.FINISHED
    return analyse(rows.samples(), PROFILE, sensors_of(stand))


@pytest.mark.parametrize("key", list(EXPECTED))
def test_the_force_balance_lies_within_the_uncertainty(key: str) -> None:
    found = checked().quantities[key]
    assert found.value is not None, found.why
    assert found.expanded_uncertainty is not None
    assert abs(found.value - EXPECTED[key]) <= found.expanded_uncertainty
    assert found.expanded_uncertainty < 0.08 * EXPECTED[key]  # an interval that says nothing holds everything
