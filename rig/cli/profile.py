"""`stemrig profile FILE`: check a valve profile and say what it says."""

import argparse

from rig.cli.exits import PASS
from rig.cli.options import add_profile, add_units

HELP = "check a valve profile and explain it in people's words"


def arguments(parser: argparse.ArgumentParser) -> None:
    add_profile(parser)
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from rig.profile.explain import explain
    from rig.profile.load import load_profile
    from rig.units import UNIT_SETS

    print(explain(load_profile(args.profile), UNIT_SETS[args.units]))
    return PASS
