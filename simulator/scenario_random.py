"""Random scenarios for campaigns: an actuator, what is wrong with it, its air and transmitters, from a seed.

Ranges are those of everyday control valves (common practice, no single source):

    area 30 .. 220 in2, logarithmic        travel 1/2 .. 4 in in everyday steps, larger with the area
    lower 3 .. 15 psi, span 10 .. 30 psi   friction half band 1 .. 8 % of the span
    slack 1/8 .. 3/8 in                    mass with the area, +-30 %
    static over sliding 1.0 .. 1.3         pre-sliding length Fc/s0 10 .. 70 um
    seat 2e7 .. 3e8 N/m metal (two of three), 5e6 .. 3e7 N/m soft
    supply 5 .. 20 psi above the upper end; tubing and converter 0.3 .. 2 dm3/(s bar)

Correlated: larger area with longer travel, more mass, more volume and wider tubing; stiffer seat with less
rounding. Half of the scenarios are healthy; the others have one condition or one fault each.
"""

from collections.abc import Callable
from dataclasses import replace
from math import exp, log
from random import Random

from rig.units import INCH_M, PSI_PA
from simulator.actuator import AIR_TO_CLOSE, AIR_TO_OPEN, Actuator, actuator_for
from simulator.air import conductance_si
from simulator.contacts import Installation
from simulator.faults import Fault, Trigger
from simulator.faults.kinds import KINDS
from simulator.scenario import Scenario
from simulator.scenario_fields import CONDITION
from simulator.transmitters import Errors

TRAVELS_IN = (0.5, 0.75, 1.0, 1.125, 1.5, 2.0, 3.0, 4.0)
# finding -> (key of the condition, how to draw its value)
CONDITIONS: dict[str, tuple[str, Callable[[Random], object]]] = {
    "packing too tight": ("friction_factor", lambda r: r.uniform(2.0, 6.0)),
    "sticky plug or packing": ("static_ratio", lambda r: r.uniform(1.4, 1.8)),
    "bent stem": ("stem_bent", lambda r: r.uniform(0.5, 3.0)),
    "galling": ("galled", lambda r: r.uniform(0.6, 3.0)),
    "wrong spring": ("spring_rate_factor", lambda r: r.choice([r.uniform(0.7, 0.95), r.uniform(1.05, 1.4)])),
    "adjuster off": ("adjuster_off", lambda r: r.choice([-1, 1]) * r.uniform(0.5, 2.0) * PSI_PA),
    "short travel": ("short_by", lambda r: r.uniform(1 / 64, 1 / 8) * INCH_M),
    "plug not seated when coupled": ("not_seated_by", lambda r: r.uniform(1 / 32, 1 / 8) * INCH_M),
    "slack left in": ("slack_left_in", lambda r: r.choice(["set right", "as coupled"])),
    "loose connector": ("connector_play", lambda r: r.uniform(1 / 64, 1 / 16) * INCH_M),
    "diaphragm or casing leak": ("leak_dm3_per_s_bar", lambda r: exp(r.uniform(log(0.002), log(0.1)))),
    "soft seat": ("seat_stiffness", lambda r: exp(r.uniform(log(1e6), log(5e6)))),
}


def random_scenario(seed: int, healthy_share: float = 0.5, fault_share: float = 0.25) -> Scenario:
    """The scenario of that seed; the same on every machine."""
    r = Random(f"scenario {seed}")
    actuator, supply_pa = _actuator(r)
    finding = "healthy"
    faults: tuple[Fault, ...] = ()
    drawn = r.random()
    if drawn >= healthy_share + fault_share:
        finding = r.choice(sorted(CONDITIONS))
        key, draw = CONDITIONS[finding]
        actuator = CONDITION[key].change(actuator, draw(r))
    elif drawn >= healthy_share:
        faults = (_fault(r, actuator),)
        finding = faults[0].kind
    return Scenario(
        name=f"random-{seed}",
        title=f"Random valve {seed}: {finding}",
        actuator=actuator,
        conclusion=f"The finding is: {finding}.",
        finding=finding,
        faults=faults,
        seed=seed,
        air=_air(r, actuator, supply_pa),
        installation=_installation(r, actuator),
        errors={"": Errors(noise_share=exp(r.uniform(log(2e-5), log(1e-3))))},
    )


def _actuator(r: Random) -> tuple[Actuator, float]:
    """A healthy one, and the supply it needs [Pa]."""
    share = r.random()
    area_in2 = 30.0 * (220.0 / 30.0) ** share
    longest = max(1, round((0.3 + 0.7 * share) * len(TRAVELS_IN)))
    travel = r.choice(TRAVELS_IN[:longest]) * INCH_M
    span_pa = r.uniform(10.0, 30.0) * PSI_PA
    friction = r.uniform(0.01, 0.08)
    lower_pa = max(r.uniform(3.0, 15.0) * PSI_PA, 2.5 * friction * span_pa)
    base = actuator_for(
        area_m2=area_in2 * INCH_M**2,
        rated_travel_m=travel,
        lower_pa=lower_pa,
        upper_pa=lower_pa + span_pa,
        stroke_m=travel + r.uniform(1 / 8, 3 / 8) * INCH_M,
        friction_fraction=friction,
        basis_friction_included=r.random() < 0.7,
        action=AIR_TO_OPEN if r.random() < 0.7 else AIR_TO_CLOSE,
        travel_surplus_m=r.uniform(0.0, 0.6e-3),
    )
    soft = r.random() < 1 / 3
    seat = exp(r.uniform(log(5e6), log(3e7)) if soft else r.uniform(log(2e7), log(3e8)))
    rubbing = replace(
        base.friction,
        static_ratio=r.uniform(1.0, 1.3),
        bristle_n_per_m=base.friction.coulomb_n / r.uniform(10e-6, 70e-6),
        viscous_n_s_per_m=r.uniform(500.0, 4000.0),
        scatter=r.uniform(0.0, 0.1),
    )
    actuator = replace(
        base,
        friction=rubbing,
        seat_stiffness_n_per_m=seat,
        seat_rounding_m=r.uniform(20e-6, 200e-6) if soft else r.uniform(0.0, 10e-6),
        moving_mass_kg=base.moving_mass_kg * r.uniform(0.7, 1.3),
        mounting=r.choice(["on its side", "on its side", "upright"]),
        tubing_conductance=conductance_si(r.uniform(0.3, 0.8) * (1.0 + 1.5 * share)),
        casing_volume_m3=base.casing_volume_m3 * r.uniform(0.7, 1.5),
    )
    return actuator, lower_pa + span_pa + (5.0 + 15.0 * r.random()) * PSI_PA


def _air(r: Random, actuator: Actuator, supply_pa: float) -> dict[str, float]:
    wide = actuator.tubing_conductance
    return {
        "supply_pa": supply_pa,
        "lag_s": r.uniform(0.05, 0.4),
        "zero_error_pa": r.gauss(0.0, 0.15) * PSI_PA,
        "span_error": r.gauss(0.0, 0.005),
        "hysteresis_pa": r.uniform(0.0, 0.1) * PSI_PA,
        "fill_conductance": wide * r.uniform(0.7, 2.0),
        "exhaust_conductance": wide * r.uniform(0.5, 1.5),
    }


def _installation(r: Random, actuator: Actuator) -> Installation:
    if r.random() < 0.5:
        return Installation(position_zero_m=r.uniform(0.05, 0.3) * INCH_M)
    above = actuator.stroke_m + r.uniform(0.05, 0.3) * INCH_M
    return Installation(position_reversed=True, position_zero_m=above)


def _fault(r: Random, actuator: Actuator) -> Fault:
    """One fault of any kind, starting at some travel of the first stroke or at some time."""
    sizes = {
        "answers late": 0.3, "exception answers": 6.0, "exhaust blocked": 0.0, "supply low": 0.5,
        "friction rises": 4.0, "spring breaks": 0.5, "connector slips": 2e-3, "diaphragm tears": 1.0,
        "something in the seat": 1e-3, "transmitter drifts": 50.0, "transmitter intermittent": 0.05,
        "transmitter jumps": 2 * PSI_PA, "transmitter spikes": 3e-3, "wrong range": 0.5,
    }  # fmt: skip
    name = r.choice(sorted(KINDS))
    where = ""
    if KINDS[name].room == "transmitter":
        where = "stem_position" if name == "transmitter spikes" else "casing_pressure"
    if r.random() < 0.6:
        start = Trigger(travel_m=r.uniform(0.1, 0.9) * actuator.travel_m)
    else:
        start = Trigger(time_s=r.uniform(5.0, 60.0))
    return Fault(name, sizes.get(name, 1.0), where, start)
