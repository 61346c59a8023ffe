"""What looking after every cycle does to the risk: false accepts of actuators that lie at a limit.

    python -m tests.campaign.looks --runs 400 [--first 0] [--accuracy 0.06]

Each random actuator is put at the edge: the limit is its true value, once as a lower and once as an upper
one, so that every pass is as wrong as it can be. Told are the shares that pass after all three cycles, and
with a look after the second: the check ends there if it is certain. `--accuracy`: half width [psi] of the
pressure transmitter's error, drawn once a run and in the budget; 0: readings alone, the harder case.
"""

import argparse
import random
from dataclasses import replace
from functools import partial
from math import inf
from multiprocessing import Pool

from rig.analysis.check import analyse
from rig.analysis.decision import decide
from rig.analysis.result import CheckResult, Outcome
from rig.analysis.samples import Samples
from tests.campaign.measurement import ride
from tests.campaign.physical import PSI, SENSORS, healthy, seen, true_values

KEYS = ("lift_off", "full_travel", "travel", "spring_only_lower", "spring_only_upper", "seat_load")


def up_to(samples: Samples, cycles: int) -> Samples:
    """The record as it was after so many measured cycles."""
    part = samples.cycle <= cycles
    return Samples(
        samples.time_s[part],
        samples.pressure_pa[part],
        samples.position_m[part],
        samples.output_pa[part],
        samples.supply_pa[part],
        samples.cycle[part],
        samples.stage[part],
    )


def verdict(result: CheckResult, key: str, limits: tuple[float, float]) -> Outcome:
    quantity = result.quantities[key]
    if quantity.value is None or quantity.standard_uncertainty is None:
        return Outcome.NOT_MEASURED
    return decide(quantity.value, quantity.standard_uncertainty, limits, quantity.degrees_of_freedom).outcome


def at_the_edge(accuracy_psi: float, seed: int) -> dict[str, tuple[bool, bool, bool]]:
    """By quantity and side: passes after two cycles, after three, and with a look after two."""
    case = healthy(random.Random(f"edge {seed}"))
    sensors = replace(SENSORS, pressure_accuracy_pa=accuracy_psi * PSI)
    samples = seen(ride(case, "planned", seed), seed=seed)
    off_pa = random.Random(f"transmitter {seed}").uniform(-1.0, 1.0) * accuracy_psi * PSI
    rising = replace(samples, pressure_pa=samples.pressure_pa + off_pa * (samples.pressure_pa > PSI))
    two, three = (analyse(up_to(rising, n), case.profile, sensors) for n in (2, 3))
    true, told = true_values(case), {}
    for key in KEYS:
        for side, limits in (("low", (true[key], inf)), ("high", (-inf, true[key]))):
            first, last = verdict(two, key, limits), verdict(three, key, limits)
            ended = first in (Outcome.PASS, Outcome.FAIL)
            sequential = first if ended else last
            passes = (first is Outcome.PASS, last is Outcome.PASS, sequential is Outcome.PASS)
            told[f"{key}, {side}"] = passes
    return told


def table(runs: int, first: int, accuracy_psi: float) -> str:
    with Pool() as pool:
        rows = pool.map(partial(at_the_edge, accuracy_psi), range(first, first + runs), 4)
    lines = [f"{'limit':26s}{'after two':>10s}{'after three':>12s}{'with a look':>12s}"]
    for name in rows[0]:
        shares = [sum(row[name][at] for row in rows) / runs for at in range(3)]
        lines.append(f"{name:26s}{shares[0]:10.3f}{shares[1]:12.3f}{shares[2]:12.3f}")
    means = [sum(row[name][at] for row in rows for name in row) / runs / len(rows[0]) for at in range(3)]
    lines.append(f"{'mean':26s}{means[0]:10.3f}{means[1]:12.3f}{means[2]:12.3f}")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="seed of the first actuator")
    parser.add_argument("--accuracy", type=float, default=0.0, help="of the pressure transmitter [psi]")
    args = parser.parse_args()
    print(table(args.runs, args.first, args.accuracy))


if __name__ == "__main__":
    main()
