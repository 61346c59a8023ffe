"""`stemrig steps [PROFILE] [--stand STAND]`: step and settle, for hysteresis, dead band and the like."""

import argparse
import sys
from datetime import date, datetime

from rig.cli.exits import STOPPED, UNREACHABLE, WRONG_INPUT
from rig.cli.options import add_pace, add_profile, add_run, add_stand, add_units

HELP = "step a valve through stated pressures, up and down: hysteresis, dead band, linearity, repeatability"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_profile(parser)
    add_stand(parser)
    add_units(parser)
    add_pace(parser)
    parser.add_argument("--cycles", type=int, default=3, metavar="N", help="up and down (default: 3)")
    parser.add_argument(
        "--points",
        default="0 25 50 75 100",
        metavar="PERCENTS",
        help="of the bench range, where to stop (default: '0 25 50 75 100')",
    )
    parser.add_argument(
        "--dead-band",
        metavar="PERCENTS",
        help="points at which to turn back and forth, or none (default: the middle one)",
    )
    add_run(parser)


def run(args: argparse.Namespace) -> int:
    from rig.cli.bench import BadRequest, prepare, refuse_overdue
    from rig.cli.confirm import confirmed
    from rig.cli.steps_run import run_steps, stops_of
    from rig.stand.link import LinkFault

    try:
        bench = prepare(args, date.today())
        stops = stops_of(bench)
        refuse_overdue(bench)
        if not (bench.stand.built_in or args.yes or confirmed(bench.question())):
            print("not confirmed: nothing was moved", file=sys.stderr)
            return STOPPED
        return run_steps(bench, stops, datetime.now().astimezone())
    except BadRequest as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    except (LinkFault, OSError) as fault:
        print(f"stand '{args.stand}' cannot be reached: {fault}", file=sys.stderr)
        return UNREACHABLE
