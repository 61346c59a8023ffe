"""Faults at random moments, in virtual time: python -m tests.campaign.faults --runs 6 --seed 0

Prints one row a kind, then every run that went wrong with its seed. The same seeds give the same runs.
A long campaign is split: `--scores FILE` adds each run to a file as it ends, `--table FILE...` sums files up.
"""

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path

from rig.stand.run import How
from tests.campaign.fault_bench import Score, ride
from tests.campaign.fault_kinds import KINDS, PSI, Kind

HEAD = (
    "| fault | runs | worst over the cap, psi | scans to the vent command: worst (stated) "
    "| called vented at, psi: worst | ends | wrong |\n"
    "| --- | --- | --- | --- | --- | --- | --- |"
)


def campaign(kinds: Iterable[Kind], seeds: Iterable[int], kept: Path | None = None) -> list[Score]:
    """Seed by seed through all kinds, each run added to the file `kept` if there is one."""
    kinds, scores = list(kinds), []
    for seed in seeds:
        for kind in kinds:
            with tempfile.TemporaryDirectory() as folder:
                score = ride(kind, seed, Path(folder) / "record")
            scores.append(score)
            if kept is not None:
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(score)) + "\n")
    return scores


def read_scores(files: Iterable[Path]) -> list[Score]:
    """Of all files, each run once, in the order of the kinds and seeds."""
    order = {kind.name: number for number, kind in enumerate(KINDS)}
    lines = (line for file in files for line in file.read_text(encoding="utf-8").splitlines())
    found = {
        (order[score.kind], score.seed): score for score in (Score(**json.loads(line)) for line in lines)
    }
    return [found[key] for key in sorted(found)]


def row(scores: list[Score]) -> str:
    """One kind's line of the table; a vent command that only the procedure's end brought is no answer."""
    over = max(score.over_cap_pa for score in scores) / PSI
    answered = [score for score in scores if score.end != How.FINISHED]
    scans = [score.vent_scans for score in answered if score.vent_scans is not None]
    gone = max(score.called_gone_pa for score in scores) / PSI
    stated = [score.bound_scans for score in scores if score.bound_scans is not None]
    waited = (str(max(scans)) if scans else "-") + (f" ({max(stated)})" if stated else "")
    ends = ", ".join(f"{end} {count}" for end, count in Counter(s.end for s in scores).most_common())
    wrong = sum(bool(score.wrong) for score in scores)
    name = scores[0].kind + (" *" if next(k for k in KINDS if k.name == scores[0].kind).over_psi else "")
    return f"| {name} | {len(scores)} | {over:+.2f} | {waited} | {gone:.2f} | {ends} | {wrong or '-'} |"


def table(scores: list[Score]) -> str:
    names = [kind.name for kind in KINDS if any(score.kind == kind.name for score in scores)]
    return "\n".join([HEAD, *(row([s for s in scores if s.kind == name]) for name in names)])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=6, help="moments for each kind (default: 6)")
    parser.add_argument("--seed", type=int, default=0, help="first seed (default: 0)")
    parser.add_argument("--kind", default="", help="only kinds with this in their name")
    parser.add_argument("--scores", type=Path, help="add every run to this file")
    parser.add_argument("--table", type=Path, nargs="+", help="run nothing, sum up these files")
    args = parser.parse_args()
    if args.table:
        scores = read_scores(args.table)
    else:
        kinds = [kind for kind in KINDS if args.kind in kind.name]
        scores = campaign(kinds, range(args.seed, args.seed + args.runs), args.scores)
    seeds = sorted({score.seed for score in scores})
    names = {score.kind for score in scores}
    print(f"{len(names)} kinds, {len(scores)} runs, seeds {seeds[0]} to {seeds[-1]}")
    print(table(scores))
    wrong = [score for score in scores if score.wrong]
    for score in wrong:
        print(
            f"WRONG {score.kind}, seed {score.seed}, at {score.moment_s:.2f} s while {score.mode}: "
            f"{'; '.join(score.wrong)} (end: {score.end}, first cause: {score.first_cause or 'none'}, "
            f"over the cap {score.over_cap_pa / PSI:+.2f} psi, left {score.left_pa / PSI:.2f} psi)"
        )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
