"""`stemrig`: one thin file per command; this one finds it and keeps tracebacks from people."""

import argparse
import sys
from collections.abc import Sequence

from rig import __version__
from rig.cli.exits import STOPPED, WRONG_INPUT

COMMANDS = (
    "check",
    "steps",
    "couple",
    "uncouple",
    "spring",
    "profile",
    "forces",
    "stand",
    "vent",
    "sheet",
    "redo",
    "simulate",
)


def parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(
        prog="stemrig",
        description="Bench checks of sliding-stem control valves with spring-and-diaphragm actuators.",
        epilog="An operating aid, not a certified safety function. Local codes, lockout/tagout rules "
        "and licensed practice come first.",
    )
    top.add_argument("--version", action="version", version=f"stemrig {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in COMMANDS:
        module = _module(name)
        sub = commands.add_parser(name, help=module.HELP, description=module.HELP)
        module.arguments(sub)
        sub.set_defaults(run=module.run, usage_error=sub.error)
    return top


def _module(name: str):  # type: ignore[no-untyped-def]
    from importlib import import_module

    return import_module(f"rig.cli.{name}")


def main(argv: Sequence[str] | None = None) -> int:
    from rig.files import FileProblems
    from rig.record.problem import RecordLost, RecordProblem

    args, unknown = parser().parse_known_args(argv)
    if unknown:  # by the command itself: its usage tells what there is
        args.usage_error(f"unrecognized arguments: {' '.join(unknown)}")
    try:
        return int(args.run(args))
    except RecordLost as problem:
        print(f"Stopped, the record could not be kept: {problem}", file=sys.stderr)
        print("Make sure that the casing is without pressure before going near the valve.", file=sys.stderr)
        return STOPPED
    except (FileProblems, RecordProblem) as problems:
        print(problems, file=sys.stderr)
        return WRONG_INPUT
    except BrokenPipeError:
        return WRONG_INPUT
