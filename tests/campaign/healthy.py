"""Healthy stands under the guard: any trip is a false one. python -m tests.campaign.healthy 0 200

Actuators are the shipped ones and random ones, every other of these sticking; I/P errors, transmitter noise,
rates and pressures are drawn for each. Prints every trip with its seed, and how near the rides came.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass, replace
from random import Random

from rig.cli.session import demo_actuator
from rig.profile.load import load_profile, shipped_profiles
from rig.profile.model import Profile
from rig.stand.clock import VirtualClock
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.outputs import Outputs
from rig.stand.run import run_inline
from rig.stand.scanner import Scanner
from safety.limits import Limits, built_in
from safety.signals import Demand, Reading
from safety.state import Trip
from simulator import SimulatedStand
from simulator.actuator import Actuator
from simulator.hopping import HoppingPlant
from simulator.plant import Converter
from simulator.transmitters import Errors
from tests.campaign.physical import healthy, sticky

PSI = 6894.757293168361
MOST_NOISE = 0.0025  # share of the transmitter's 100 psi
SKEW = 0.005  # of the read-back, share of 100 psi
HOPPING_RATE = 2.0 * PSI
CAP_ABOVE = 6.0 * PSI  # a person's cap above the rated range, in half of the rides


@dataclass(frozen=True)
class Ride:
    seed: int
    what: str
    trips: tuple[Trip, ...]
    scans: int


def drawn(random: Random, seed: int, supply_pa: float) -> tuple[str, Profile, Actuator, Converter]:
    if seed % 3 == 0:
        name = random.choice(sorted(shipped_profiles()))
        profile = load_profile(name)
        return name, profile, demo_actuator(profile), Converter(supply_pa=supply_pa)
    case = (healthy if seed % 3 == 1 else sticky)(random)
    name = "random" if seed % 3 == 1 else "random and sticking"
    return name, case.profile, case.actuator, replace(case.converter, supply_pa=supply_pa)


def procedure(
    random: Random, top_pa: float, fastest: float, vents: float
) -> Generator[Demand, Reading, None]:
    """Up and down between random pressures at random rates, with holds and vents in between; ends high."""
    reading = yield Demand(0.0, PSI, "rest")
    for leg in range(random.randrange(3, 7)):
        target = random.choice((0.0, top_pa, random.uniform(0.0, top_pa)))
        rate = random.choice((fastest, fastest, random.uniform(0.3 * PSI, fastest)))
        until_s = reading.time_s + min(40.0, top_pa / rate) + random.uniform(0.0, 4.0)
        vent = target == 0.0 and random.random() < vents
        while reading.time_s < until_s:
            reading = yield Demand(target, rate, f"leg {leg}", vent=vent)


def ride(seed: int, tighter: float = 1.0) -> Ride:
    """`tighter`: factor on the two limits that find an I/P full on."""
    random = Random(f"healthy {seed}")
    stand = load_stand("simulated")
    what, profile, actuator, converter = drawn(random, seed, stand.supply_pressure_pa)
    converter = replace(
        converter,
        zero_error_pa=random.uniform(-0.4, 0.4) * PSI,
        span_error=random.uniform(-0.01, 0.01),
        hysteresis_pa=random.uniform(0.0, 0.3) * PSI,
        full_scale_pa=stand.demand_output.scale.span,
    )
    cap_pa = profile.bench_upper_pa + CAP_ABOVE if seed % 2 else None
    limits: Limits = limits_for(profile, stand, cap_pa if cap_pa and cap_pa < 75 * PSI else None)
    limits = replace(
        limits,
        ahead_pa=built_in(tighter * limits.ahead_pa.value),
        rise_pa=built_in(tighter * limits.rise_pa.value),
    )
    noise = random.choice((1e-4, MOST_NOISE))
    hops = what.endswith("sticking") and random.random() < 0.5
    machine = SimulatedStand(
        stand,
        actuator,
        seed=seed,
        converter=converter,
        plant=HoppingPlant(actuator, converter, seed=seed) if hops else None,
        errors={
            "casing_pressure": Errors(noise_share=noise),
            "stem_position": Errors(noise_share=1e-3),
        },
    )
    # The simulated module knows its own output as a number; others measure it like any current.
    readback = Errors(noise_share=noise, zero_share=SKEW * random.uniform(-1.0, 1.0))
    machine._transmitters["demand_readback"].errors = readback
    clock = VirtualClock(lambda passed_s: machine.advance(machine.time_s + passed_s))
    buses = {link: InProcessBus(machine) for link in stand.links}
    scanner = Scanner(stand, buses, clock)
    scanner.connect()
    top_pa = random.uniform(0.7, 1.0) * min(limits.demand_max_pa, profile.supply_pa)
    fastest, vents = limits.rate_max_pa_per_s.value, 0.5
    if hops:  # without mass a stem is no stem any more where the air goes at once
        fastest, vents = HOPPING_RATE, 0.0
        limits = replace(limits, stop_rate_pa_per_s=built_in(HOPPING_RATE / 2.0))
    loop = ScanLoop(scanner, Outputs(stand, buses, clock), clock, limits)
    scans = Counter[str]()
    steps = procedure(random, top_pa, fastest, vents)
    ended = run_inline(loop, steps, lambda sample: scans.update([sample.mode]))
    what += ", hopping" * hops
    return Ride(seed, f"{what}, noise {noise:g}, top {top_pa / PSI:.1f} psi", ended.trips, scans.total())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=int)
    parser.add_argument("last", type=int)
    parser.add_argument("--tighter", type=float, default=1.0, help="factor on the early signs' limits")
    given = parser.parse_args()
    rides = [ride(seed, given.tighter) for seed in range(given.first, given.last)]
    for one in rides:
        if one.trips:
            print(f"FALSE TRIP seed {one.seed} ({one.what}): {'; '.join(trip.code for trip in one.trips)}")
    false = sum(bool(one.trips) for one in rides)
    print(f"{len(rides)} healthy rides, {sum(one.scans for one in rides)} scans, {false} tripped")
    return 1 if false else 0


if __name__ == "__main__":
    sys.exit(main())
