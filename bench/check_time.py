"""How long a check of each shipped model takes on the built-in stand, against the fastest strokes there are.

    python bench/check_time.py

Virtual time. The fill-limited minimum is four strokes from nothing to 2 psi past full travel and back to
1 psi with the I/P fully open, no faster than the stand's highest rate; "by air" is without that rate. The
goal is twice the minimum and 20 s, for one conditioning and three measured cycles (`--all-cycles`).
Further rows are random actuators of the campaigns, with their own I/P.
"""

import argparse
import random
import sys
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from rig.analysis.check import analyse
from rig.analysis.samples import Samples
from rig.analysis.sequential import is_certain
from rig.cli.session import demo_actuator, open_in_process
from rig.procedure.bench_check import BenchCheck, Judge
from rig.procedure.planner import Planner
from rig.profile.load import load_profile, shipped_profiles
from rig.record.reader import sensors_of
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.run import How
from rig.stand.sample import Sample
from simulator import SimulatedStand
from tests.campaign.fill_limited import fill_limited_s
from tests.campaign.physical import PSI, SENSORS, healthy, march

STROKES = 4


@dataclass(frozen=True)
class Row:
    name: str
    air_s: float  # four strokes by air alone
    fastest_s: float  # ... and no faster than the stand may
    all_s: float  # one conditioning and three measured cycles
    usual_s: float | None = None  # as many as it takes to be certain

    def told(self) -> str:
        usual = f"{self.usual_s:8.0f}" if self.usual_s is not None else f"{'':8s}"
        goal, by_air = 2.0 * self.fastest_s + 20.0, 2.0 * self.air_s + 20.0
        return (
            f"{self.name:24s}{self.fastest_s:9.0f}{goal:7.0f}{by_air:13.0f}{self.all_s:11.0f}"
            f"{self.all_s / goal:9.2f}{usual}"
        )


def on_the_stand(name: str) -> Row:
    profile, stand = load_profile(name), load_stand("simulated")
    actuator, limits, sensors = demo_actuator(profile), limits_for(profile, stand), sensors_of(stand)
    highest = min(limits.demand_max_pa, profile.supply_pa)
    rate = limits.rate_max_pa_per_s.value
    planner = Planner(profile, highest, rate, sensors, stand.scans_per_s)

    def certain(samples: Samples, cycles: int) -> str:
        return "certain" if is_certain(analyse(samples, profile, sensors)) else ""

    def took_s(judge: Judge | None) -> float:
        machine, last = SimulatedStand(stand, actuator), [0.0]

        def see(sample: Sample) -> None:
            last[0] = sample.reading.time_s

        check = BenchCheck(profile, planner.plan(), cycles=3, planner=planner, judge=judge)
        with open_in_process(machine, limits, speed=None) as runner:
            ended = runner(check.run(), see, lambda notice: None, lambda: None)
        assert ended.how is How.FINISHED, ended
        return last[0]

    converter = SimulatedStand(stand, actuator).converter
    air, fastest = (STROKES * fill_limited_s(actuator, converter, highest, r) for r in (1e9, rate))
    return Row(name, air, fastest, took_s(None), took_s(certain))


def drawn(seed: int) -> Row:
    case = healthy(random.Random(f"time {seed}"))
    highest = case.profile.supply_pa - 1.0 * PSI
    planner = Planner(case.profile, highest, sensors=SENSORS, wanted_u_pa=0.02 * PSI)
    marched = march(case, planner.plan(), planner=planner, seed=seed)
    rates = (1e9, planner.fastest_pa_per_s)
    air, fastest = (STROKES * fill_limited_s(case.actuator, case.converter, highest, r) for r in rates)
    name = f"{case.profile.area_m2 / 0.0254**2:.0f} in2, {case.profile.rated_travel_m / 0.0254:g} in"
    return Row(name, air, fastest, float(marched.time[-1]))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drawn", type=int, default=6, help="random actuators beside the shipped models")
    args = parser.parse_args()
    print(
        f"{'seconds':24s}{'fastest':>9s}{'goal':>7s}{'goal by air':>13s}{'1 + 3':>11s}{'of goal':>9s}"
        f"{'usual':>8s}"
    )
    for name in sorted(shipped_profiles()):
        print(on_the_stand(name).told(), flush=True)
    for seed in range(args.drawn):
        print(drawn(seed).told(), flush=True)


if __name__ == "__main__":
    main()
