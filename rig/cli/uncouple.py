"""`stemrig uncouple [PROFILE]`: stem and plug taken apart with the plug off its seat and nothing stored."""

import argparse
import json
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from rig.cli.exits import FAIL, STOPPED
from rig.cli.options import add_guided

if TYPE_CHECKING:
    from rig.cli.bench import Bench
    from rig.procedure.guided import Prompt
    from rig.procedure.take_apart import Apart
    from simulator import SimulatedStand

HELP = "take stem and plug apart: the plug lifted off its seat first, so that the connector carries no load"
NAME = "Taking apart"
APART_FILE = "apart.json"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_guided(parser, hands="the connector is undone")


def run(args: argparse.Namespace) -> int:
    from rig.cli.guided import guided_command

    return guided_command(args, "taking apart", "undoes the connector", _take_apart)


def _take_apart(bench: "Bench") -> int:
    from rig.cli.couple import in_the_yoke
    from rig.cli.guided import came_to_an_end, opener, resumed, run_guided, unanswered
    from rig.procedure.take_apart import TakeApart
    from rig.record.atomic import save_text
    from rig.record.reader import sensors_of
    from rig.stand.explain import missing_against_movement
    from rig.stand.limits import limits_for_coupling

    guided = TakeApart(
        profile=bench.profile,
        sensors=sensors_of(bench.stand),
        highest_pa=bench.highest_pa,
        units=bench.units,
        isolating_valve=bench.stand.hands_in.isolating_valve,
        missing=tuple(lacking for lacking, _ in missing_against_movement(bench.stand)),
    )
    machine = in_the_yoke(bench) if bench.stand.built_in else None
    start = resumed(bench, NAME, guided)
    done = run_guided(
        bench,
        NAME,
        guided,
        guided.run(start),
        opener(bench, machine, limits_for_coupling(bench.limits, bench.profile)),
        datetime.now().astimezone(),
        work=_hands(machine),
        simulated_person=bench.args.simulated_person,
    )
    apart: Apart | None = done.ended.value
    if unanswered(guided, done):
        return STOPPED
    if not came_to_an_end(done, "it was not taken apart") or apart is None:
        return STOPPED
    kept = json.dumps(asdict(apart), indent=2, ensure_ascii=False)
    save_text(done.folder / APART_FILE, kept + "\n")
    print("\n".join([*apart.remarks, *([apart.why] if apart.why else [])]))
    print(f"{'APART' if apart.undone else 'NOT APART'}  {bench.profile.title}\nRecord: {done.folder}")
    return 0 if apart.undone else FAIL


def _hands(machine: "SimulatedStand | None") -> "Callable[[Prompt, str], None] | None":
    from rig.procedure.couple_words import DONE

    if machine is None:
        return None

    def work(prompt: "Prompt", key: str) -> None:
        if key == DONE and prompt.title == "Undo the connector":
            machine.uncouple()

    return work
