"""`stemrig stand FILE`: check a stand file and say what it says."""

import argparse
from datetime import date

from rig.cli.exits import PASS
from rig.cli.options import DEFAULT_STAND, add_units

HELP = "check a stand file and explain it in people's words"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "stand",
        metavar="STAND",
        nargs="?",
        default=DEFAULT_STAND,
        help=f"stand file, or the name of a shipped one (default: {DEFAULT_STAND})",
    )
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from rig.stand.explain import explain
    from rig.stand.file import load_stand
    from rig.units import UNIT_SETS

    print(explain(load_stand(args.stand), UNIT_SETS[args.units], date.today()))
    return PASS
