"""`stemrig profile FILE` explains one, `profile new` asks for one, `profile from RECORD` proposes one."""

import argparse
from pathlib import Path

from rig.cli.exits import PASS
from rig.cli.options import DEFAULT_PROFILE, add_units

HELP = "check and explain a valve profile; 'new' asks for one, 'from RECORD' proposes one"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "profile",
        metavar="PROFILE|new|from",
        nargs="?",
        default=DEFAULT_PROFILE,
        help=f"a file or a shipped profile's name (default: {DEFAULT_PROFILE}); 'new': be asked for what is "
        "on the tag; 'from': propose one from a measured stroke (a file of that name: ./new, ./from)",
    )
    parser.add_argument("record", metavar="RECORD", nargs="?", type=Path, help="with 'from': a record folder")
    parser.add_argument("--area", metavar="AREA", help="with 'from': effective area, e.g. '105 in2'")
    parser.add_argument(
        "--model", metavar="NAME", help="with 'from': name of the model (default: the record's)"
    )
    parser.add_argument(
        "--output", metavar="FILE", type=Path, help="with 'new' and 'from': where to write; never over a file"
    )
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    if args.profile == "new":
        from rig.cli.profile_new import ask_for_one

        return ask_for_one(args.output, args.units)
    if args.profile == "from":
        from rig.cli.profile_from import propose_one

        return propose_one(args.record, args.area, args.model, args.output, args.units)
    return explain_one(args.profile, args.units)


def explain_one(name: str, units_name: str) -> int:
    """What the profile says, and what its own forces say against it."""
    from rig.forces.balance import balance_of
    from rig.profile.explain import explain
    from rig.profile.load import load_profile
    from rig.report.forces_words import first_out_text, short_texts
    from rig.units import UNIT_SETS

    profile, units = load_profile(name), UNIT_SETS[units_name]
    balance = balance_of(profile)
    for text in short_texts(balance, units):
        print(f"Short: {text}")
    print(explain(profile, units))
    print(f"\nForces, line by line in 'stemrig forces'\n  {first_out_text(balance, units)}")
    return PASS
