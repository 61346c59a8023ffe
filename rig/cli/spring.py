"""`stemrig spring [PROFILE]`: the adjuster set on the valve, connected, step by step; then a full check."""

import argparse
import json
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rig.cli.exits import FAIL, STOPPED, UNREACHABLE, WRONG_INPUT
from rig.cli.options import add_profile, add_stand, add_units

if TYPE_CHECKING:
    from rig.cli.bench import Bench
    from rig.cli.session import Runner
    from rig.procedure.set_spring import SetSpring, SpringSetting
    from simulator import SimulatedStand

HELP = "set the spring on the valve, step by step, until lift-off is within tolerance; then a full check"
NAME = "Setting the spring"
SETTING_FILE = "spring.json"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_profile(parser)
    add_stand(parser)
    add_units(parser)
    pace = parser.add_mutually_exclusive_group()
    pace.add_argument("--real-time", action="store_true", help="built-in stand at life speed, not ten times")
    pace.add_argument(
        "--instant", action="store_true", help="built-in stand in virtual time; needs --simulated-person"
    )
    parser.add_argument(
        "--simulated-person",
        action="store_true",
        help="on the built-in stand: prompts are answered and the adjuster is turned by a simulated person",
    )
    parser.add_argument(
        "--found",
        metavar="PRESSURE",
        default="1.9 psi",
        help="on the built-in stand: how much too high the spring is found (default: '1.9 psi')",
    )
    parser.add_argument("--cap", metavar="PRESSURE", help="never exceed this casing pressure, e.g. '40 psi'")
    parser.add_argument("--cycles", type=int, default=3, metavar="N", help="of the check that follows")
    parser.add_argument("--no-check", action="store_true", help="leave out the full check that follows")
    parser.add_argument("--serial-number", default="", metavar="TEXT", help="of the valve on the stand")
    parser.add_argument("--by", default="", metavar="NAME", help="who does it; goes on the record")
    parser.add_argument(
        "--yes", action="store_true", help="the valve on the stand is this profile's, and hands are clear"
    )
    parser.add_argument(
        "--calibration-overdue", action="store_true", help="go on with a transmitter past its due date"
    )
    parser.add_argument(
        "--records", type=Path, default=Path("records"), metavar="FOLDER", help="where records go (./records)"
    )


def run(args: argparse.Namespace) -> int:
    from rig.cli.bench import BadRequest, prepare
    from rig.cli.confirm import confirmed
    from rig.stand.link import LinkFault

    args.json = False
    try:
        bench = prepare(args, date.today())
        _check_request(bench)
        if not (bench.stand.built_in or args.yes or confirmed(bench.question())):
            print("not confirmed: nothing was moved", file=sys.stderr)
            return STOPPED
        return _set_and_check(bench)
    except BadRequest as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    except (LinkFault, OSError) as fault:
        print(f"stand '{args.stand}' cannot be reached: {fault}", file=sys.stderr)
        return UNREACHABLE


def _check_request(bench: "Bench") -> None:
    """Raises BadRequest."""
    from rig.cli.bench import BadRequest
    from rig.cli.guided import somebody_answers

    args = bench.args
    if args.simulated_person and not bench.stand.built_in:
        raise BadRequest(
            "--simulated-person is for the built-in stand: on a real one a person turns the adjuster"
        )
    if args.instant and not args.simulated_person:
        raise BadRequest("--instant leaves no time to answer: give --simulated-person with it")
    if not somebody_answers(args.simulated_person):
        raise BadRequest("setting the spring asks a person at a terminal; there is none here")


def _set_and_check(bench: "Bench") -> int:
    from rig.cli.bench import run_bench
    from rig.cli.guided import run_guided
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
    opened = _opener(bench, machine)
    done = run_guided(
        bench,
        NAME,
        guided,
        guided.run(),
        opened,
        datetime.now().astimezone(),
        work=_hands(guided, machine),
        simulated_person=args.simulated_person,
    )
    setting: SpringSetting | None = done.ended.value
    if setting is None or done.ended.trips:
        for trip in done.ended.trips:
            print(f"Stopped: {trip.text}", file=sys.stderr)
        print(f"STOPPED  the spring was not set\nRecord: {done.folder}")
        return STOPPED
    kept = setting_record(setting)
    save_text(done.folder / SETTING_FILE, json.dumps(kept, indent=2, ensure_ascii=False) + "\n")
    print("\n".join(setting_lines(setting, bench.units)))
    print(f"{'SET' if setting.within else 'NOT SET'}  {bench.profile.title}\nRecord: {done.folder}")
    if not setting.within or args.no_check:
        return 0 if setting.within else FAIL
    return run_bench(bench, datetime.now().astimezone(), opened, {"spring setting": kept})


def _opener(
    bench: "Bench", machine: "SimulatedStand | None"
) -> "Callable[[], AbstractContextManager[Runner]]":
    from rig.cli.session import DEMO_SPEED, open_in_process, open_stand

    speeds: dict[str, float | None] = {"instant": None, "real time": 1.0, "demo": DEMO_SPEED}
    if machine is None:
        return lambda: open_stand(bench.stand, bench.profile, bench.limits, bench.pace)
    return lambda: open_in_process(machine, bench.limits, speeds[bench.pace])


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
