"""An I/P that goes full on in a long hold at the highest output, the worst moment there is.

    python -m tests.campaign.full_on

One row a shipped valve: how far the true casing pressure passes a person's cap that the output stands 1 psi
below, and how far it stays below the casing's own maximum where no person set a cap.
"""

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from rig.profile.load import load_profile, shipped_profiles
from tests.campaign.fault_bench import RATE, SETTLE_S, Bench, Score, ride_on
from tests.campaign.fault_kinds import KINDS, PSI

FULL_ON = next(kind for kind in KINDS if kind.name == "I/P full on")
PHASES_S = (0.0, 0.007, 0.014)  # within the scan
LONG_S = 60.0  # the biggest casing has caught up with its output
SQUARE_INCH = 0.0254**2


@dataclass(frozen=True)
class Row:
    valve: str
    scores: tuple[tuple[Score, ...], tuple[Score, ...]]  # with a person's cap, without

    def worst_psi(self, capped: bool) -> float:
        return max(score.over_cap_pa for score in self.scores[not capped]) / PSI

    def scans(self) -> int:
        return max(score.vent_scans or 0 for score in self.scores[1])

    def __str__(self) -> str:
        area = load_profile(self.valve).area_m2 / SQUARE_INCH
        return (
            f"| {self.valve} | {area:.0f} | {self.worst_psi(True):+.2f} | {self.worst_psi(False):+.2f} "
            f"| {self.scans()} |"
        )


def row(valve: str) -> Row:
    both = []
    for seed in (0, 1):  # even: with a person's cap
        scores = []
        for phase_s in PHASES_S:
            bench = Bench(FULL_ON, seed, valve)
            bench.top_pa = bench.highest_pa
            bench.hold_s = LONG_S
            bench.moment_s = SETTLE_S + bench.top_pa / RATE + 0.8 * LONG_S + phase_s
            with tempfile.TemporaryDirectory() as folder:
                scores.append(ride_on(bench, Path(folder) / "record"))
        both.append(tuple(scores))
    return Row(valve, (both[0], both[1]))


def main() -> int:
    print("| valve | in² | above a person's cap, psi | above the casing's maximum, psi | scans, no cap |")
    print("| --- | --- | --- | --- | --- |")
    rows = []
    for valve in sorted(shipped_profiles()):
        rows.append(row(valve))
        print(rows[-1], flush=True)
    wrong = {word for row in rows for scores in row.scores for score in scores for word in score.wrong}
    print("wrong:", ", ".join(sorted(wrong)) or "nothing")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
