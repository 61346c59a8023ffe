"""`stemrig simulate`: serve a scenario of the simulated stand to any Modbus client, until Ctrl-C."""

import argparse
import sys
from typing import TYPE_CHECKING

from rig.cli.exits import PASS, WRONG_INPUT
from rig.cli.options import add_stand

if TYPE_CHECKING:
    from simulator.scenario import Scenario

HELP = "serve a scenario of the simulated stand over Modbus TCP or a serial device, for any client"
DEFAULT_SCENARIO, DEFAULT_PORT = "healthy-brine-letdown", 5020


def arguments(parser: argparse.ArgumentParser) -> None:
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "scenario",
        metavar="SCENARIO",
        nargs="?",
        default=DEFAULT_SCENARIO,
        help=f"a file, or the name of one of --list (default: {DEFAULT_SCENARIO})",
    )
    what.add_argument("--profile", metavar="PROFILE", help="a healthy valve of this profile instead")
    what.add_argument(
        "--list", action="store_true", help="tell the scenarios that come with stemrig, and end"
    )
    add_stand(parser)
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--tcp",
        type=int,
        metavar="PORT",
        default=DEFAULT_PORT,
        help=f"loopback port, 0 for a free one (default: {DEFAULT_PORT})",
    )
    where.add_argument("--serial", metavar="DEVICE", help="serial device or pseudo-terminal")
    parser.add_argument("--speed", type=float, default=1.0, metavar="N", help="times life speed (default: 1)")


def run(args: argparse.Namespace) -> int:
    from rig.stand.file import load_stand
    from simulator.scenario import ScenarioProblem

    try:
        if args.list:
            print(_list())
            return PASS
        wrong = _wrong(args)
        if wrong:
            print(wrong, file=sys.stderr)
            return WRONG_INPUT
        stand = load_stand(args.stand)
        scenario = _of_profile(args.profile) if args.profile else _load(args.scenario)
    except ScenarioProblem as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    try:
        from simulator.serve import serve

        serve(scenario, stand, args.tcp, args.serial, args.speed)
    except OSError as problem:
        where = args.serial or f"127.0.0.1 port {args.tcp}"
        print(f"{where} cannot be had: {problem}", file=sys.stderr)
        return WRONG_INPUT
    return PASS


def _wrong(args: argparse.Namespace) -> str | None:
    if not 0.0 < args.speed < float("inf"):
        return f"--speed {args.speed:g}: must be a number above zero, 1 for life speed"
    if not 0 <= args.tcp <= 65535:
        return f"--tcp {args.tcp}: a port lies between 1 and 65535; 0 takes a free one"
    if args.serial and sys.platform == "win32":
        return "--serial: the simulated stand answers on a serial device of Linux or macOS only; use --tcp"
    return None


def _list() -> str:
    from simulator.scenario import load, names

    width = max(len(name) for name in names())
    return "\n".join(f"{name:{width}}  {load(name).title}" for name in names())


def _load(name: str) -> "Scenario":
    from simulator.scenario import load

    return load(name)


def _of_profile(name: str) -> "Scenario":
    from rig.cli.session import demo_actuator
    from rig.profile.load import load_profile
    from simulator.scenario import Scenario

    profile = load_profile(name)
    return Scenario(
        name=profile.model, title=f"{profile.title}, healthy", actuator=demo_actuator(profile), conclusion=""
    )
