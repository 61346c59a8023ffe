"""Monte-Carlo campaigns of the measurement, long form. Tables on stdout.

    python -m tests.campaign.measurement ideal --runs 1000
    python -m tests.campaign.measurement healthy --runs 1000 [--first 1000] [--ramp planned]
    python -m tests.campaign.measurement sticking --runs 300
    python -m tests.campaign.measurement hops --runs 300
    python -m tests.campaign.measurement motion --runs 1000000

The short form runs in the suite (test_measurement.py).
"""

import argparse
import random
from functools import partial
from math import nan
from multiprocessing import Pool

import numpy as np

from rig.analysis.check import analyse
from rig.analysis.result import CheckResult
from rig.procedure.planner import Planner
from tests.campaign import ideal, ideal_hops, moves
from tests.campaign.hops import Told, told
from tests.campaign.physical import (
    PSI,
    SENSORS,
    Case,
    March,
    healthy,
    march,
    seen,
    single_rate,
    sticky,
    true_values,
)
from tests.campaign.score import Board

RATE_PA_PER_S = 1.0 * PSI
WANTED_PA = 0.012 * PSI  # of a planned ramp: standard uncertainty of a corner, with two cycles
STICKING_RATE_PA_PER_S = 0.5 * PSI


def ride(case: Case, ramp: str, seed: int, wanted_pa: float = WANTED_PA) -> March:
    highest = case.profile.supply_pa - 1.0 * PSI
    if ramp == "single":
        return march(case, single_rate(case.profile, RATE_PA_PER_S, highest), seed=seed)
    planner = planner_for(case, highest, wanted_pa)
    return march(case, planner.plan(), planner=planner, seed=seed)


def planner_for(case: Case, highest_pa: float, wanted_pa: float) -> Planner:
    """The product's own, for corners that are wanted to a standard uncertainty [Pa]."""
    return Planner(case.profile, highest_pa, sensors=SENSORS, wanted_u_pa=wanted_pa)


def one_healthy(ramp: str, noise: float, seed: int) -> tuple[CheckResult, dict[str, float], float, bool]:
    case = healthy(random.Random(f"healthy {seed}"))
    result = analyse(seen(ride(case, ramp, seed), noise, seed=seed), case.profile, SENSORS)
    flagged = any("sticks" in line for line in result.advice)
    return result, true_values(case), case.profile.area_m2, flagged


def one_sticking(noise: float, seed: int) -> Told:
    case = sticky(random.Random(f"sticky {seed}"))
    plan = single_rate(case.profile, STICKING_RATE_PA_PER_S, case.profile.supply_pa - 1.0 * PSI)
    return told(march(case, plan, seed=seed), noise, seed)


def report_healthy(runs: int, ramp: str, noise: float, first: int = 0) -> str:
    board, flags = Board(), 0
    with Pool() as pool:
        work = partial(one_healthy, ramp, noise)
        for result, true, area, flagged in pool.imap_unordered(work, range(first, first + runs), 4):
            board.add(result, true, area)
            flags += flagged
    return f"{board.table()}\ncalled sticking: {flags} of {runs}"


def report_sticking(runs: int, noise: float) -> str:
    with Pool() as pool:
        rows = pool.map(partial(one_sticking, noise), range(runs), 4)
    hopping = [row for row in rows if row.hops]
    seen_hopping = [row for row in hopping if row.flagged and row.error == row.error]
    errors = np.array([row.error for row in seen_hopping]) / PSI if seen_hopping else np.array([nan])
    covered = sum(row.covered for row in seen_hopping) / max(len(seen_hopping), 1)
    return (
        f"{len(hopping)} of {runs} truly leave their rest by a hop; flagged {len(seen_hopping)} of these\n"
        f"break-away RMSE {np.sqrt(np.mean(errors**2)):.4f} psi, bias {errors.mean():+.4f}, "
        f"cover95 {covered:.3f}"
    )


def report_ideal(runs: int) -> str:
    with Pool() as pool:
        return ideal.table(pool.map(partial(ideal.score, runs=runs), list(ideal.settings()), 1))


def report_hops(runs: int) -> str:
    with Pool() as pool:
        rows = pool.map(partial(ideal_hops.row, runs=runs), ideal_hops.HOPS, 1)
    return "\n".join((ideal_hops.HEADING, *rows))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("campaign", choices=("ideal", "hops", "healthy", "sticking", "motion"))
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="seed of the first healthy actuator")
    parser.add_argument("--ramp", choices=("single", "planned"), default="single")
    parser.add_argument("--noise", type=float, default=1e-3, help="share of span")
    args = parser.parse_args()
    if args.campaign == "ideal":
        print(report_ideal(args.runs))
    elif args.campaign == "hops":
        print(report_hops(args.runs))
    elif args.campaign == "healthy":
        print(report_healthy(args.runs, args.ramp, args.noise, args.first))
    elif args.campaign == "sticking":
        print(report_sticking(args.runs, args.noise))
    else:
        print(moves.report(args.runs))


if __name__ == "__main__":
    main()
