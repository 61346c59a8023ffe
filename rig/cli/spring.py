"""`stemrig spring [PROFILE]`: the adjuster set on the valve, connected, step by step; then a full check."""

import argparse
import json
from datetime import datetime
from typing import TYPE_CHECKING

from rig.cli.exits import FAIL, STOPPED
from rig.cli.options import add_guided

if TYPE_CHECKING:
    from rig.cli.bench import Bench
    from rig.procedure.set_spring import SetSpring, SpringSetting
    from simulator import SimulatedStand

HELP = "set the spring on the valve, step by step, until lift-off is within tolerance; then a full check"
NAME = "Setting the spring"
SETTING_FILE = "spring.json"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_guided(parser, hands="the adjuster is turned")
    parser.add_argument(
        "--found",
        metavar="PRESSURE",
        default="1.9 psi",
        help="on the built-in stand: how much too high the spring is found (default: '1.9 psi')",
    )
    parser.add_argument("--cycles", type=int, default=3, metavar="N", help="of the check that follows")
    parser.add_argument("--no-check", action="store_true", help="leave out the full check that follows")


def run(args: argparse.Namespace) -> int:
    from rig.cli.guided import guided_command

    return guided_command(args, "setting the spring", "turns the adjuster", _set_and_check)


def _set_and_check(bench: "Bench") -> int:
    from rig.cli.bench import run_bench
    from rig.cli.guided import came_to_an_end, opener, resumed, run_guided, unanswered
    from rig.procedure.set_spring import SetSpring
    from rig.record.atomic import save_text
    from rig.record.reader import sensors_of
    from rig.report.spring_words import setting_lines, setting_record

    args = bench.args
    guided = SetSpring(
        profile=bench.profile,
        sensors=sensors_of(bench.stand),
        highest_pa=bench.highest_pa,
        units=bench.units,
    )
    machine = _machine(bench) if bench.stand.built_in else None
    opened = opener(bench, machine, bench.limits)
    start = resumed(bench, NAME, guided)
    done = run_guided(
        bench,
        NAME,
        guided,
        guided.run(start),
        opened,
        datetime.now().astimezone(),
        work=_hands(guided, machine),
        simulated_person=args.simulated_person,
    )
    setting: SpringSetting | None = done.ended.value
    if unanswered(guided, done):
        return STOPPED
    if not came_to_an_end(done, "the spring was not set") or setting is None:
        return STOPPED
    kept = setting_record(setting)
    save_text(done.folder / SETTING_FILE, json.dumps(kept, indent=2, ensure_ascii=False) + "\n")
    print("\n".join(setting_lines(setting, bench.units)))
    print(f"{'SET' if setting.within else 'NOT SET'}  {bench.profile.title}\nRecord: {done.folder}")
    if not setting.within or args.no_check:
        return 0 if setting.within else FAIL
    return run_bench(bench, datetime.now().astimezone(), opened, {"spring setting": kept})


def _machine(bench: "Bench") -> "SimulatedStand":
    """The built-in stand with a valve whose spring is off as `--found` says. Raises BadRequest."""
    from dataclasses import replace

    from rig.cli.bench import BadRequest
    from rig.cli.session import demo_actuator
    from rig.units import Dimension, UnitError, parse
    from simulator import SimulatedStand

    try:
        off_pa = parse(bench.args.found, Dimension.PRESSURE)
    except UnitError as error:
        raise BadRequest(f"--found: {error}") from None
    actuator = demo_actuator(bench.profile)
    if bench.profile.adjuster_pitch_m is not None:
        actuator = replace(actuator, adjuster_pitch_m=bench.profile.adjuster_pitch_m)
    per_turn_pa = actuator.spring_rate_n_per_m * actuator.adjuster_pitch_m / actuator.area_m2
    return SimulatedStand(bench.stand, actuator.turned(off_pa / per_turn_pa))


def _hands(guided: "SetSpring", machine: "SimulatedStand | None"):  # type: ignore[no-untyped-def]
    from rig.procedure.guided import Prompt
    from rig.procedure.spring_words import DONE

    if machine is None:
        return None

    def work(prompt: Prompt, key: str) -> None:
        if key == DONE and prompt.title.startswith("Turn the adjuster"):
            machine.turn_adjuster(guided.asked_turns)

    return work
