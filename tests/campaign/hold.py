"""The controlled hold on random actuators with event-driven friction: python -m tests.campaign.hold 300"""

import sys
from dataclasses import dataclass, replace
from random import Random
from statistics import median

from rig.procedure.hold import Held, Hold, HoldPlan
from rig.procedure.watch import Stroke
from safety.signals import Demand, Health, Reading, Signal
from simulator.actuator import Actuator, actuator_for
from tests.rig.break_away import BreakAway

PSI, INCH = 6894.757293168361, 0.0254
SCANS_PER_S = 50.0
TRAVEL_NOISE_M, PRESSURE_NOISE_PA = 0.0005 * INCH, 0.03 * PSI


@dataclass(frozen=True)
class Case:
    actuator: Actuator
    band_psi: float
    ratio: float
    target_m: float
    seed: int


@dataclass(frozen=True)
class Outcome:
    case: Case
    held: Held
    stayed: bool  # within tolerance for all of the five minutes, judged on the true travel
    worst_m: float


def draw(seed: int, band_psi: float | None = None, ratio: float | None = None) -> Case:
    """A random actuator: 30 to 220 in2, 1/2 to 3 in, bands of 0.5 to 3 psi, Fs/Fc of 1.0 to 1.5."""
    random = Random(f"hold {seed}")
    area = random.uniform(30, 220) * INCH**2
    travel = random.choice([0.5, 0.75, 1.0, 1.125, 1.5, 2.0, 3.0]) * INCH
    lower, span = random.uniform(5, 12) * PSI, random.uniform(10, 25) * PSI
    band = random.uniform(0.5, 3.0) if band_psi is None else band_psi
    smooth = random.random() < 0.25
    static = (1.0 if smooth else random.uniform(1.0, 1.5)) if ratio is None else ratio
    base = actuator_for(
        area_m2=area,
        rated_travel_m=travel,
        lower_pa=lower,
        upper_pa=lower + span,
        friction_fraction=0.5 * band * PSI / span,
        basis_friction_included=False,
    )
    friction = replace(
        base.friction,
        static_ratio=static,
        bristle_n_per_m=base.friction.coulomb_n / random.uniform(10e-6, 40e-6),
        healing_per_decade=0.0 if static == 1.0 else random.uniform(0.0, 0.03),
        scatter=0.0 if static == 1.0 else random.uniform(0.0, 0.05),
    )
    target = random.uniform(0.12, 0.85) * travel
    return Case(replace(base, friction=friction), band, static, target, seed)


def run(case: Case, hold_s: float = 300.0, wander_psi: float = 0.1) -> Outcome:
    a = case.actuator
    random = Random(f"noise {case.seed}")
    plant = BreakAway(
        a, lag_s=random.uniform(0.1, 0.2), fill_s=random.uniform(0.4, 1.0),
        error_pa=random.uniform(-0.3, 0.3) * PSI, seed=case.seed,
    )  # fmt: skip
    stroke = Stroke(a.rated_travel_m)
    stroke.rest_m, stroke.sense = 0.0, 1
    hold = Hold(stroke, plan_of(case, random))
    steps = hold.reach()
    demand: Demand = next(steps)
    plant.inputs.supply_open, plant.inputs.vent_open = True, False
    scan, output, held = 0, 0.0, None
    while held is None:
        scan += 1
        output = walked(output, demand)
        try:
            demand = steps.send(reading(plant, scan, output, random))
        except StopIteration as stop:
            held = stop.value
    plant.wander_pa = wander_psi * PSI
    worst = 0.0
    for _ in range(round(hold_s * SCANS_PER_S)):
        scan += 1
        hold.see(reading(plant, scan, output, random))
        worst = max(worst, abs(plant.x_m - case.target_m))
    return Outcome(case, held, worst <= hold.plan.tolerance_m, worst)


def plan_of(case: Case, random: Random) -> HoldPlan:
    """What a quick look would have found: gain and band to a few per cent."""
    a, f = case.actuator, case.actuator.friction
    half = 0.5 * case.band_psi * PSI
    return HoldPlan(
        target_m=case.target_m,
        gain_m_per_pa=a.area_m2 / a.slope_n_per_m * random.uniform(0.95, 1.05),
        half_band_pa=half * random.uniform(0.95, 1.1) * (0.5 + 0.5 * f.static_ratio),
        lift_off_pa=(a.rest_force_n + f.coulomb_n * f.static_ratio) / a.area_m2,
        highest_pa=60 * PSI,
    )


def walked(output: float, demand: Demand) -> float:
    change = demand.rate_pa_per_s / SCANS_PER_S
    return output + max(-change, min(change, demand.pressure_pa - output))


def reading(plant: BreakAway, scan: int, output: float, random: Random) -> Reading:
    plant.inputs.demand_pa = output
    now = scan / SCANS_PER_S
    plant.advance(now)
    pressure = plant.casing_pa + random.gauss(0.0, PRESSURE_NOISE_PA)
    position = plant.x_m + random.gauss(0.0, TRAVEL_NOISE_M)
    return Reading(scan, now, Signal(pressure, Health.GOOD, now), Signal(position, Health.GOOD, now))


def told(outcomes: list[Outcome]) -> str:
    smooth = [o for o in outcomes if o.case.ratio == 1.0]
    lines = ["                 cases  reached  stayed 5 min  median s  slowest s"]
    groups = [("all", outcomes), ("smooth packing", smooth)]
    for low, high in ((1.0001, 1.2), (1.2, 1.35), (1.35, 1.5001)):
        groups.append((f"Fs/Fc {low:.2f}-{high:.2f}", [o for o in outcomes if low <= o.case.ratio < high]))
    for name, group in groups:
        if not group:
            continue
        reached = [o for o in group if o.held.reached]
        seconds = sorted(o.held.seconds for o in reached) or [float("nan")]
        lines.append(
            f"{name:16s} {len(group):5d}  {len(reached) / len(group):6.1%}  "
            f"{sum(o.stayed for o in reached) / len(group):11.1%}  {median(seconds):8.1f}  {seconds[-1]:9.1f}"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    print(told([run(draw(seed)) for seed in range(runs)]))
