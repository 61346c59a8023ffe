"""Bench checks of random healthy actuators on the simulated plant, with the truth beside each record.

The procedure drives an I/P, the I/P fills a casing, the stem moves against LuGre friction; so the pressure
bends at every corner, as it does on a stand. Noise is added when a record is taken (`seen`), so one march
serves several kinds of transmitter.
"""

from dataclasses import dataclass, replace
from math import exp
from random import Random

import numpy as np

from rig.analysis.samples import Floats, Samples, Sensors
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import Planner, plan_ramp
from rig.procedure.ramp import RampPlan
from rig.profile.model import Action, Basis, Profile, Tolerance
from safety.signals import Demand, Health, Reading, Signal
from simulator.actuator import Actuator, actuator_for
from simulator.air import conductance_si
from simulator.plant import Converter, Inputs, Plant
from simulator.truth import truth

PSI, INCH = 6894.757293168361, 0.0254
PRESSURE_SPAN, POSITION_SPAN = 60 * PSI, 2 * INCH


@dataclass(frozen=True)
class Case:
    """One actuator with its profile and the air it is tested with."""

    actuator: Actuator
    profile: Profile
    converter: Converter


def healthy(random: Random) -> Case:
    """30 to 220 in2, 1/2 to 3 in, springs of 10 to 25 psi from 3 to 12 psi, soft and metal seats."""
    area = random.uniform(30, 220) * INCH**2
    travel = random.choice([0.5, 0.75, 1.0, 1.125, 1.5, 2.0, 3.0]) * INCH
    lower = random.uniform(3, 12) * PSI
    span = random.uniform(10, 25) * PSI
    half_band = random.uniform(0.2, 1.5) * PSI
    action = random.choice(list(Action))
    base = actuator_for(
        area_m2=area,
        rated_travel_m=travel,
        lower_pa=max(lower, half_band + 2.2 * PSI),
        upper_pa=max(lower, half_band + 2.2 * PSI) + span,
        friction_fraction=half_band / span,
        basis_friction_included=False,
        action=action.value,
        travel_surplus_m=random.uniform(0.0, 0.6) * 1e-3,
    )
    coulomb = base.friction.coulomb_n
    # Pre-sliding of 10 to 70 um until the friction has reversed.
    bristle = coulomb / random.uniform(10e-6, 70e-6)
    # Drag of c / k = 1 to 40 ms: half to twice the usual, in two valves of three within 0.7 to 1.5 times.
    drag = base.friction.viscous_n_s_per_m * exp(random.gauss(0.0, 0.4))
    friction = replace(base.friction, bristle_n_per_m=bristle, viscous_n_s_per_m=drag)
    soft = random.random() < 0.4
    actuator = replace(
        base,
        friction=friction,
        moving_mass_kg=base.moving_mass_kg * random.uniform(0.5, 1.5),
        casing_volume_m3=base.casing_volume_m3 * random.uniform(0.7, 1.5),
        tubing_conductance=conductance_si(random.uniform(0.6, 2.0)),
        seat_stiffness_n_per_m=10 ** random.uniform(7.0, 7.7) if soft else 10 ** random.uniform(7.9, 8.5),
        seat_rounding_m=random.uniform(0.0, 50e-6) if soft else 0.0,
    )
    flow = conductance_si(random.uniform(0.8, 1.6) * (0.6 + area / 0.1))
    converter = Converter(
        lag_s=random.uniform(0.1, 0.25),
        fill_conductance=flow,
        exhaust_conductance=flow * random.uniform(0.8, 1.2),
        supply_pa=actuator.preload_n / area + span + 12 * PSI,
    )
    return Case(actuator, profile_of(actuator, converter.supply_pa), converter)


def sticky(random: Random) -> Case:
    """The same population with static friction 1.15 to 1.6 times sliding friction."""
    case = healthy(random)
    friction = replace(
        case.actuator.friction,
        static_ratio=random.uniform(1.15, 1.6),
        stribeck_m_per_s=random.uniform(3e-4, 2e-3),
    )
    return replace(case, actuator=replace(case.actuator, friction=friction))


def profile_of(actuator: Actuator, supply_pa: float) -> Profile:
    """Rated as the actuator truly is, friction included."""
    true = truth(actuator, supply_pa)
    band = actuator.friction.coulomb_n / actuator.area_m2
    return Profile(
        model="campaign",
        title="random actuator",
        action=Action(actuator.action),
        area_m2=actuator.area_m2,
        rated_travel_m=actuator.rated_travel_m,
        travel_surplus_m=INCH / 32,
        bench_lower_pa=true.spring_only_lower + band,
        bench_upper_pa=true.spring_only_upper + band,
        lower_tolerance=Tolerance(0.5 * PSI, 0.5 * PSI),
        upper_tolerance=Tolerance(1.5 * PSI, 1.5 * PSI),
        basis=Basis.FRICTION_INCLUDED,
        casing_maximum_pa=supply_pa,
        supply_pa=supply_pa,
        area_relative_uncertainty=0.0,
    )


def single_rate(profile: Profile, rate_pa_per_s: float, highest_pa: float) -> RampPlan:
    """One rate throughout, as the goals are stated."""
    plan = plan_ramp(profile, highest_pa)
    return replace(
        plan,
        slow_pa_per_s=rate_pa_per_s,
        fast_pa_per_s=rate_pa_per_s,
        first_pa_per_s=rate_pa_per_s,
        lift_pa_per_s=rate_pa_per_s,
        second_pa_per_s=rate_pa_per_s,
        past_stop_pa=2 * PSI,
    )


@dataclass(frozen=True)
class March:
    """What truly happened, scan by scan."""

    case: Case
    time: Floats
    pressure: Floats
    travel: Floats
    stage: "np.ndarray[tuple[int, ...], np.dtype[np.str_]]"
    cycle: "np.ndarray[tuple[int, ...], np.dtype[np.int64]]"
    remarks: tuple[str, ...]


def march(
    case: Case,
    plan: RampPlan,
    *,
    planner: Planner | None = None,
    cycles: int = 3,
    scans_per_s: float = 50.0,
    noise_share: float = 1e-3,
    seed: int = 1,
) -> March:
    """Run the bench check on the plant; the procedure sees noisy readings, the march keeps the truth.

    `planner`: a conditioning stroke first, and the ramp anew after each cycle.
    """
    random = Random(f"march {seed}")
    plant = Plant(case.actuator, case.converter)
    check = BenchCheck(case.profile, plan, cycles=cycles, planner=planner)
    steps = check.run()
    demand: Demand | None = next(steps)
    inputs = Inputs(supply_open=True, vent_open=True)
    step = 1.0 / scans_per_s
    rows: list[tuple[float, float, float, str, int]] = []
    output, scan = 0.0, 0
    while demand is not None and scan < 200_000:
        scan += 1
        change = demand.rate_pa_per_s * step
        output = 0.0 if demand.vent else output + max(-change, min(change, demand.pressure_pa - output))
        inputs.demand_pa, inputs.vent_open, inputs.supply_open = output, demand.vent, not demand.vent
        now = scan * step
        out = plant.update(now, inputs)
        rows.append((now, out.casing_pa, out.stem_m, demand.stage, demand.cycle))
        seen_pa = out.casing_pa + random.gauss(0.0, noise_share * PRESSURE_SPAN)
        seen_m = out.stem_m + random.gauss(0.0, noise_share * POSITION_SPAN)
        reading = Reading(scan, now, Signal(seen_pa, Health.GOOD, now), Signal(seen_m, Health.GOOD, now))
        try:
            demand = steps.send(reading)
        except StopIteration:
            demand = None
    time, pressure, travel, stage, cycle = zip(*rows, strict=True)
    return March(
        case,
        np.array(time),
        np.array(pressure),
        np.array(travel),
        np.array(stage),
        np.array(cycle, dtype=np.int64),
        tuple(check.remarks),
    )


SENSORS = Sensors(
    pressure_accuracy_pa=0.0,  # scored against the readings alone: calibration is not in the truth
    position_accuracy_m=0.0,
    pressure_resolution_pa=PRESSURE_SPAN / 4096,
    position_resolution_m=POSITION_SPAN / 4096,
    pressure_span_pa=PRESSURE_SPAN,
    position_span_m=POSITION_SPAN,
)


def seen(marched: March, noise_share: float = 1e-3, bits: int = 12, seed: int = 1) -> Samples:
    """A record of the march by noisy, counting transmitters."""
    random = np.random.default_rng(seed)
    n = len(marched.time)

    def counted(values: Floats, span: float) -> Floats:
        count = span / 2**bits
        noisy = values + noise_share * span * random.normal(size=n)
        return np.asarray(np.round(noisy / count) * count, dtype=np.float64)

    return Samples(
        marched.time,
        counted(marched.pressure, PRESSURE_SPAN),
        counted(marched.travel, POSITION_SPAN),
        marched.pressure,
        np.full(n, marched.case.converter.supply_pa),
        marched.cycle,
        marched.stage,
    )


def true_values(case: Case) -> dict[str, float]:
    """What a perfect measurement finds, by the definitions of rig/analysis/README.md.

    Full travel of an air-to-open valve is where the stem passes rated travel, if its stop is beyond that.
    The seat's contact line crosses the sliding line half its rounding beyond the first touch.
    """
    actuator, profile = case.actuator, case.profile
    true = truth(actuator, profile.supply_pa)
    values = {name: float(getattr(true, name)) for name in true.__dataclass_fields__}
    slope = true.spring_rate / profile.area_m2
    foot = 0.5 * actuator.seat_rounding_m
    values["travel"] += foot
    if profile.action is Action.AIR_TO_OPEN:
        for key in ("lift_off", "sliding_intercept", "reseat", "spring_only_lower", "spring_only_upper"):
            values[key] -= slope * foot
        values["seat_load"] = profile.area_m2 * values["reseat"]
        values["full_travel"] -= slope * max(0.0, values["travel"] - profile.rated_travel_m)
        # Rated travel counts from the crossing; a stop that comes first is met where it is.
    else:
        values["full_travel"] += slope * foot
        values["return_start"] += slope * foot
        values["seat_load"] = profile.area_m2 * (profile.supply_pa - values["full_travel"])
    return values
