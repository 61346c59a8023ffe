"""Couplings done right on the whole simulated stand, under the guard: it must not stop any of them.

Run: python -m tests.campaign.couple_guarded 0 30
"""

import sys
from dataclasses import replace

from rig.procedure.couple import Couple
from rig.record.reader import sensors_of
from rig.stand.file import load_stand
from rig.stand.limits import limits_for_coupling
from simulator import Installation, SimulatedStand
from simulator.plant import Converter
from tests.campaign.couple import INCH, PSI, Job, draw
from tests.rig.guided_bench import Line, Ride, Script, guided_limits, machine_for, ride

HIGHEST_PA = 95 * PSI


def run(job: Job) -> Ride:
    """Done right, whatever mistake was drawn."""
    stand = replace(load_stand("simulated"), maximum_pressure_pa=HIGHEST_PA)
    guided = Couple(
        profile=job.profile, sensors=sensors_of(stand), highest_pa=job.supply_pa - PSI, way=job.way
    )
    machine = machine_for(
        stand,
        job.actuator,
        seed=job.seed,
        installation=Installation(position_zero_m=job.actuator.slack_m + 0.3 * INCH),
        converter=Converter(supply_pa=job.supply_pa, full_scale_pa=stand.demand_output.scale.span),
    )

    def couple(at: SimulatedStand) -> None:
        at.couple(guided.lift_m)

    limits = limits_for_coupling(guided_limits(job.profile, stand), job.profile)
    script = Script([Line("Make the connector", act=couple)])
    return ride(machine, job.profile, guided, guided.run(), script, limits=limits, keep_samples=False)


def told(job: Job, done: Ride) -> str:
    coupling, trips = done.ended.value, ", ".join(trip.code for trip in done.ended.trips)
    said = "no result" if coupling is None else coupling.why or "right"
    return f"seed {job.seed}: {job.profile.action.value}, {job.way.value}: {said}; trips: {trips or 'none'}"


if __name__ == "__main__":
    first, last = (int(sys.argv[1]), int(sys.argv[2])) if len(sys.argv) > 2 else (0, 30)
    jobs = [draw(seed) for seed in range(first, last)]
    rides = [(job, run(job)) for job in jobs]
    print("\n".join(told(job, done) for job, done in rides))
    right = sum(done.ended.value is not None and done.ended.value.right for _, done in rides)
    print(
        f"{right} of {len(rides)} right, {sum(bool(done.ended.trips) for _, done in rides)} stopped by a trip"
    )
