"""`stemrig check [PROFILE] [--stand STAND]`: a complete bench check, from permissives to sheet."""

import argparse
import sys
from datetime import date, datetime

from rig.cli.exits import STOPPED, UNREACHABLE, WRONG_INPUT
from rig.cli.options import add_pace, add_profile, add_run, add_stand, add_units

HELP = "run a complete bench check of a valve and leave a record with a sheet"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_profile(parser)
    add_stand(parser)
    add_units(parser)
    add_pace(parser)
    parser.add_argument(
        "--cycles", type=int, default=3, metavar="N", help="at most so many measured cycles (default: 3)"
    )
    parser.add_argument(
        "--all-cycles", action="store_true", help="run them all, even where two are enough to be certain"
    )
    parser.add_argument(
        "--uncertainty",
        metavar="PRESSURE",
        help="wanted of lift-off and full travel, as the sheet tells it (95 %%), e.g. '0.12 psi'",
    )
    parser.add_argument("--plan", action="store_true", help="only tell what would be done; nothing moves")
    parser.add_argument(
        "--coarse",
        action="store_true",
        help="go on where a tolerance is too narrow for this stand: it can fail then, but not pass",
    )
    add_run(parser)


def run(args: argparse.Namespace) -> int:
    from rig.cli.bench import BadRequest, overdue_words, prepare, refuse_overdue, run_bench
    from rig.cli.check_plan import check_can_pass, told_plan
    from rig.cli.confirm import confirmed
    from rig.stand.link import LinkFault

    try:
        bench = prepare(args, date.today())
        if args.plan:
            print("\n".join(told_plan(bench)))
            for line in overdue_words(bench.stand, date.today()) if not args.calibration_overdue else ():
                print(f"Before it: {line}")
        check_can_pass(bench)
        if args.plan:
            return 0
        refuse_overdue(bench)
        if not (bench.stand.built_in or args.yes or confirmed(bench.question())):
            print("not confirmed: nothing was moved", file=sys.stderr)
            return STOPPED
        return run_bench(bench, datetime.now().astimezone())
    except BadRequest as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    except (LinkFault, OSError) as fault:
        print(f"stand '{args.stand}' cannot be reached: {fault}", file=sys.stderr)
        return UNREACHABLE
