"""Faults at random moments in real processes, over real Modbus: python -m tests.campaign.sockets --runs 200

Stand, check and scan are processes of their own; over TCP, and over a serial line that is a pseudo-terminal.
Kinds and wires take turns; the seed of a run is printed. Moments are random; real time does the rest.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from tests.campaign.fault_kinds import PSI
from tests.campaign.socket_kinds import ALL_KINDS
from tests.campaign.socket_ride import TIMES_LIFE, EndedBefore, Hangs, Ride
from tests.campaign.socket_score import Score, score_of

TRIES = 3
HEAD = (
    "| fault | wire | runs | worst over the cap, psi | scans to the vent command: worst (stated) "
    "| the same, s | ends | wrong |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- |"
)


def planned(
    runs: int, seed: int, named: str = "", wires: tuple[str, ...] = ("tcp", "rtu")
) -> Iterator[tuple]:  # type: ignore[type-arg]
    """Kind, wire and seed of every run: all kinds on all wires, then again with other seeds."""
    every = [
        (kind, wire)
        for kind in ALL_KINDS
        if named in kind.name
        for wire in wires
        if wire in getattr(kind, "wires", wires)
    ]
    for number in range(runs if every else 0):
        kind, wire = every[number % len(every)]
        yield kind, wire, seed + number // len(every)


def run_one(kind: object, wire: str, seed: int, folder: Path) -> Score:
    """One run and its score. Where it was over before the fault was planted it is begun anew, and said so."""
    for tried in range(TRIES):
        ride = Ride(kind, seed, wire, folder / str(tried))
        try:
            ride.go()
        except EndedBefore as problem:
            words = f"over before the fault, {tried + 1} times: {problem}"
        except Hangs as problem:
            words = str(problem)
            break
        else:
            return replace(score_of(ride), again=tried)
    score = Score(ride.kind.name, wire, seed, ride.moment_s, end="hangs", again=TRIES - 1)
    score.wrong.append(words)
    return score


def row(scores: list[Score]) -> str:
    """One kind on one wire; a vent command that only a person's Ctrl-C brought is no answer to the fault."""
    answered = [s for s in scores if s.end != "stopped" or s.bound_scans is not None]
    scans = [s.vent_scans for s in answered if s.vent_scans is not None]
    seconds = [s.vent_s for s in answered if s.vent_s is not None]
    stated = [s.bound_scans for s in scores if s.bound_scans is not None]
    waited = (str(max(scans)) if scans else "-") + (f" ({max(stated)})" if stated else "")
    ends = ", ".join(f"{end} {count}" for end, count in Counter(s.end for s in scores).most_common())
    over = max(s.over_cap_pa for s in scores) / PSI
    wrong = sum(bool(s.wrong) for s in scores)
    name = scores[0].kind + (" *" if next(k for k in ALL_KINDS if k.name == scores[0].kind).over_psi else "")
    took = f"{max(seconds):.2f}" if seconds else "-"
    return (
        f"| {name} | {scores[0].wire.upper()} | {len(scores)} | {over:+.2f} | {waited} | {took} | {ends} "
        f"| {wrong or '-'} |"
    )


def table(scores: list[Score]) -> str:
    groups = dict.fromkeys((score.kind, score.wire) for score in scores)
    return "\n".join([HEAD, *(row([s for s in scores if (s.kind, s.wire) == group]) for group in groups)])


def told(score: Score) -> str:
    return (
        f"{score.kind}, {score.wire}, seed {score.seed}, at {score.moment_s:.2f} s while {score.mode}: "
        f"{score.end}, vent after {score.vent_scans} scans, over the cap {score.over_cap_pa / PSI:+.2f} psi, "
        f"left {score.left_pa / PSI:.2f} psi, first cause: {score.first_cause or 'none'}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200, help="how many (default: 200)")
    parser.add_argument("--seed", type=int, default=0, help="first seed (default: 0)")
    parser.add_argument("--kind", default="", help="only kinds with this in their name")
    parser.add_argument("--wire", choices=("tcp", "rtu"), help="only this one")
    parser.add_argument("--jobs", type=int, default=1, help="runs at the same time (default: 1)")
    args = parser.parse_args()
    scores = []
    began_s = time.monotonic()
    wires = (args.wire,) if args.wire else ("tcp", "rtu")
    with tempfile.TemporaryDirectory() as base, ThreadPoolExecutor(args.jobs) as jobs:
        plan = [
            (*one, Path(base) / str(number))
            for number, one in enumerate(planned(args.runs, args.seed, args.kind, wires))
        ]
        for number, score in enumerate(jobs.map(lambda one: run_one(*one), plan), 1):
            scores.append(score)
            wrong = f" WRONG: {'; '.join(score.wrong)}" if score.wrong else ""
            print(f"{number:4d} {told(score)}{wrong}", flush=True)
    again = sum(score.again for score in scores)
    minutes = (time.monotonic() - began_s) / 60.0
    print(f"\n{len(scores)} runs in {minutes:.0f} minutes, {TIMES_LIFE:g} times life")
    print(f"{again} begun anew, as they were over before the fault")
    print(table(scores))
    return 1 if any(score.wrong for score in scores) else 0


if __name__ == "__main__":
    sys.exit(main())
