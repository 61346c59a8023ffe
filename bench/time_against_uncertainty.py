"""How long a check takes against how sure its corners are: planned, and achieved on simulated actuators.

    python bench/time_against_uncertainty.py --svg docs/time-against-uncertainty.svg [--runs 100]

Random healthy actuators as in tests/campaign (0.1 % noise, 12 bit, 50 scans/s, no transmitter error), each
checked with one conditioning and three measured cycles for every wanted uncertainty. Achieved is the root
mean square error of the four corners; time is the stand's, virtual. One speed throughout for comparison.
"""

import argparse
import random
import sys
from dataclasses import dataclass
from math import sqrt
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from rig.analysis.check import analyse
from rig.procedure.planner import Planner
from rig.procedure.ramp import RampPlan
from rig.report.svg import Axis, box, curve, dot, drawing, line, text, ticks
from tests.campaign.physical import PSI, SENSORS, Case, healthy, march, seen, single_rate, true_values

WANTED_PSI = (0.008, 0.010, 0.012, 0.014, 0.017, 0.020, 0.025, 0.035)
SINGLE_PSI_PER_S = (0.5, 1.0, 2.0)
CORNERS = ("lift_off", "full_travel", "return_start", "reseat")
STYLE = (
    "<style>text{font:11px sans-serif;fill:#222}.axis{font-weight:bold}.frame{fill:none;stroke:#444}"
    ".tick,.grid{stroke:#ccc}.planned{fill:none;stroke:#888;stroke-width:1.5;stroke-dasharray:5 3}"
    ".achieved{fill:none;stroke:#0b5cad;stroke-width:2}.at{fill:#0b5cad}.single{fill:#b3261e}"
    ".word{fill:#b3261e}</style>"
)


@dataclass(frozen=True)
class Point:
    """Means over all actuators: time [s], planned and achieved standard uncertainty of a corner [psi]."""

    name: str
    time_s: float
    planned: float
    achieved: float


class Watched(Planner):
    """A planner that remembers its last plan: the one for the last cycle."""

    last: RampPlan

    def plan(self, *args: object) -> RampPlan:
        plan = super().plan(*args)  # type: ignore[arg-type]
        object.__setattr__(self, "last", plan)
        return plan


def one(
    case: Case, seed: int, wanted_pa: float | None, single_pa_per_s: float
) -> tuple[float, float, list[float]]:
    """Time [s], planned u [Pa] and the errors of the four corners [Pa] of one check."""
    highest = case.profile.supply_pa - 1.0 * PSI
    planned = 0.0
    if wanted_pa is None:
        marched = march(case, single_rate(case.profile, single_pa_per_s, highest), seed=seed)
    else:
        planner = Watched(case.profile, highest, sensors=SENSORS, wanted_u_pa=wanted_pa, cycles=3)
        marched = march(case, planner.plan(), planner=planner, seed=seed)
        planned = planner.last.corner_u_pa
    result, true = analyse(seen(marched, seed=seed), case.profile, SENSORS), true_values(case)
    values = ((result.quantities[key].value, true[key]) for key in CORNERS)
    return float(marched.time[-1]), planned, [value - truth for value, truth in values if value is not None]


def score(name: str, runs: int, wanted_pa: float | None, single_pa_per_s: float = 0.0) -> Point:
    times, planned, errors = 0.0, 0.0, []
    for seed in range(runs):
        case = healthy(random.Random(f"curve {seed}"))
        took_s, u_pa, off_pa = one(case, seed, wanted_pa, single_pa_per_s)
        times, planned, errors = times + took_s, planned + u_pa**2, errors + off_pa
    achieved = sqrt(sum(error**2 for error in errors) / len(errors))
    return Point(name, times / runs, sqrt(planned / runs) / PSI, achieved / PSI)


def picture(planned: list[Point], single: list[Point]) -> str:
    points = planned + single
    x = Axis(0.0, 1.05 * max(p.time_s for p in points), 56.0, 590.0)
    y = Axis(0.0, 1.1 * max(max(p.planned, p.achieved) for p in points), 330.0, 20.0)
    parts = [STYLE, box(x.start, y.start, x.end, y.end, "frame")]
    for mark in ticks(0.0, y.high, 6):
        parts += [
            line(x.start, y.at(mark), x.end, y.at(mark), "grid"),
            text(50.0, y.at(mark) + 4.0, f"{mark:g}", "end"),
        ]
    for mark in ticks(0.0, x.high, 8):
        parts += [
            line(x.at(mark), y.start, x.at(mark), y.start + 4.0, "tick"),
            text(x.at(mark), 346.0, f"{mark:g}", "middle"),
        ]
    times = [x.at(p.time_s) for p in planned]
    parts.append(curve(times, [y.at(p.planned) for p in planned], "planned"))
    parts.append(curve(times, [y.at(p.achieved) for p in planned], "achieved"))
    parts += [dot(x.at(p.time_s), y.at(p.achieved), "at") for p in planned]
    for p in single:
        parts.append(dot(x.at(p.time_s), y.at(p.achieved), "single"))
        parts.append(text(x.at(p.time_s), y.at(p.achieved) - 8.0, p.name, "middle", "word"))
    parts.append(
        text(320.0, 364.0, "Time of a check, one conditioning and three measured cycles, s", "middle", "axis")
    )
    parts.append(text(56.0, 14.0, "Standard uncertainty of a corner, psi", kind="axis"))
    for row, (kind, words) in enumerate(
        (("planned", "planned"), ("achieved", "achieved: root mean square error"))
    ):
        at = 40.0 + 18.0 * row
        parts += [curve([360.0, 390.0], [at, at], kind), text(396.0, at + 4.0, words)]
    parts += [dot(375.0, 76.0, "single"), text(396.0, 80.0, "achieved at one speed throughout")]
    return drawing(610.0, 374.0, "Time of a check against uncertainty of its corners", parts)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=100, help="actuators")
    parser.add_argument("--svg", type=Path, help="where the picture goes")
    args = parser.parse_args()
    planned = [score(f"{wanted:.3f} psi", args.runs, wanted * PSI) for wanted in WANTED_PSI]
    single = [score(f"{rate:g} psi/s", args.runs, None, rate * PSI) for rate in SINGLE_PSI_PER_S]
    print(f"{'wanted or speed':16s}{'time, s':>9s}{'planned, psi':>14s}{'achieved, psi':>15s}")
    for point in planned + single:
        shown = f"{point.planned:14.4f}" if point.planned else f"{'':14s}"
        print(f"{point.name:16s}{point.time_s:9.0f}{shown}{point.achieved:15.4f}")
    if args.svg is not None:
        args.svg.write_text(picture(planned, single) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
