"""Faults while hands are in the mechanism, in virtual time: python -m tests.campaign.hands --runs 6 --seed 0

The stem is lifted and held, a person's hands go in, a fault strikes, some seconds later the hands come out.
The stand has no isolating valve and no mechanical stop: what the air does is seen in the stem. The guard
cannot hold a stem whose air is gone; it must not bring it back up, open the vent, or raise the output.
"""

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass
from math import inf
from pathlib import Path

from safety.signals import Demand, Reading
from safety.state import Mode, PersonEvent
from simulator import Fault, Trigger
from tests.campaign.fault_bench import RATE, SETTLE_S, Bench, Score, ride_on
from tests.campaign.fault_kinds import INCH, KINDS, PSI, Kind, faults

STRIKES_S, OUT_S = 3.0, 6.0  # at most from hands in to the fault; from there to hands out
GIVES_UP_S = 60.0  # where the guard lets no hands in
LEFT_M, BACK_M = 0.05 * INCH, 0.05 * INCH  # fallen so far from where it was held; come up again by so much
PROGRAMS = (
    "main process", "scan process", "disk full", "procedure", "Ctrl-C", "clock stands still",
)  # fmt: skip
OTHERS = ("second program", "transmitter", "signal", "range wrong", "upside down", "exchanged", "stem jams")


def lasting(kind: str, where: str = "", seconds: float = 3.0) -> Fault:
    return Fault(kind, where=where, end=Trigger(after_s=seconds))


# What the programs do with hands in is in the tests of the processes; here is what the stand does.
HANDS_KINDS = (
    *(kind for kind in KINDS if not kind.name.startswith(PROGRAMS)),
    Kind("connection drops for 3 s", faults(lasting("connection drops"))),
    Kind("power cut for 3 s", faults(lasting("power cut"))),
    Kind("output module silent for 3 s", faults(lasting("module silent", "outputs"))),
    Kind("I/P gives nothing for 3 s", faults(lasting("converter full off"))),
    Kind("I/P full on for 3 s", faults(lasting("converter full on"))),
)


@dataclass
class Seen:
    """With hands in."""

    was_in: bool = False
    alarmed: bool = False
    vent_opened: bool = False
    output_raised: bool = False
    moved_m: float = 0.0  # furthest from where it was held, true
    back_m: float = 0.0  # come up again after it had fallen, true


class HandsBench(Bench):
    def __init__(self, kind: Kind, seed: int, valve: str = "") -> None:
        super().__init__(kind, seed, valve)
        profile, random = self.profile, self.random
        lift = random.uniform(0.15, 0.85) * (profile.bench_upper_pa - profile.bench_lower_pa)
        self.top_pa = min(self.highest_pa, profile.bench_lower_pa + lift)
        self.up_s = SETTLE_S + self.top_pa / RATE
        self.moment_s, self._strikes_s = inf, random.uniform(0.3, STRIKES_S)
        self.seen = Seen()
        self._held_m = self._lowest_m = 0.0
        self._output_pa = 0.0
        self._asked_s = 0.0

    def procedure(self) -> Generator[Demand, Reading, str]:
        reading = yield Demand(0.0, RATE, "rest")
        began_s = reading.time_s
        while not self._is_over(reading.time_s - began_s):
            self._person(reading.time_s)
            reading = yield Demand(self.top_pa, RATE, "hold")
        return "done"

    @property
    def _inside(self) -> bool:
        return self.loop.state.mode is Mode.HANDS_IN

    def _is_over(self, passed_s: float) -> bool:
        return not self._inside and (self.seen.was_in or passed_s > self.up_s + GIVES_UP_S)

    def _person(self, now_s: float) -> None:
        """Asks again while the guard refuses."""
        if abs(now_s - self._asked_s) < 0.5:
            return
        out = self._inside and self.machine.time_s >= self.moment_s + OUT_S
        if out or (not self.seen.was_in and self.machine.time_s > self.up_s):
            self.orders.append(PersonEvent.HANDS_OUT if out else PersonEvent.HANDS_IN)
            self._asked_s = now_s

    def _advance(self, to_s: float) -> None:
        super()._advance(to_s)
        if not hasattr(self, "seen"):
            return
        state, stem_m = self.loop.state, self.machine.outputs.stem_m
        if state.mode is not Mode.HANDS_IN:
            return
        seen, command = self.seen, state.command
        if not seen.was_in:
            seen.was_in, self._held_m, self._lowest_m = True, stem_m, stem_m
            self._output_pa = command.output_pa
            self.moment_s = self.clock.now() + self._strikes_s
        seen.alarmed |= bool(state.trips)
        seen.vent_opened |= command.vent_open
        seen.output_raised |= command.output_pa > self._output_pa
        self._output_pa = command.output_pa
        seen.moved_m = max(seen.moved_m, abs(stem_m - self._held_m))
        self._lowest_m = min(self._lowest_m, stem_m)
        if self._held_m - self._lowest_m > LEFT_M:
            seen.back_m = max(seen.back_m, stem_m - self._lowest_m)


def ride(kind: Kind, seed: int, folder: Path) -> tuple[Score, Seen]:
    bench = HandsBench(kind, seed)
    score = ride_on(bench, folder)
    seen = bench.seen
    # With hands in no vent command is due, and the cap cannot be held against an I/P that is full on.
    score.wrong = [
        w for w in score.wrong if not w.startswith(("vent command", "the procedure ended", "above"))
    ]
    if seen.vent_opened:
        score.wrong.append("vent opened with hands in")
    if seen.output_raised:
        score.wrong.append("output raised with hands in")
    if seen.back_m > BACK_M and not any(word in kind.name for word in OTHERS):
        score.wrong.append(f"the stem came up again by {seen.back_m / INCH:.2f} in with hands in")
    return score, seen


def row(name: str, rides: list[tuple[Score, Seen]]) -> str:
    inside = [(score, seen) for score, seen in rides if seen.was_in]
    moved = max((seen.moved_m for _, seen in inside), default=0.0) / INCH
    back = max((seen.back_m for _, seen in inside), default=0.0) / INCH
    over = max(score.over_cap_pa for score, _ in rides) / PSI
    alarmed = sum(seen.alarmed for _, seen in inside)
    ends = ", ".join(f"{end} {n}" for end, n in Counter(score.end for score, _ in rides).most_common())
    wrong = sum(bool(score.wrong) for score, _ in rides)
    return (
        f"| {name} | {len(rides)} ({len(inside)}) | {alarmed} | {moved:.3f} | {back:.3f} | {over:+.2f} "
        f"| {ends} | {wrong or '-'} |"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=6, help="rides for each kind (default: 6)")
    parser.add_argument("--seed", type=int, default=0, help="first seed (default: 0)")
    parser.add_argument("--kind", default="", help="only kinds with this in their name")
    args = parser.parse_args()
    wrong: list[str] = []
    print(
        "| fault | runs (with hands in) | alarmed | stem moved, in: worst | came up again, in: worst ", end=""
    )
    print("| worst over the cap, psi | ends | wrong |\n" + "| --- " * 8 + "|")
    for kind in HANDS_KINDS:
        if args.kind not in kind.name:
            continue
        rides = []
        for seed in range(args.seed, args.seed + args.runs):
            with tempfile.TemporaryDirectory() as folder:
                score, seen = ride(kind, seed, Path(folder) / "record")
            rides.append((score, seen))
            wrong += [f"WRONG {kind.name}, seed {seed}: {'; '.join(score.wrong)}"] if score.wrong else []
        print(row(kind.name, rides), flush=True)
    print("\n".join(wrong))
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
