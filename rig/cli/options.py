"""Options that several commands share."""

import argparse

UNIT_SET_NAMES = ("psi", "bar", "kPa")
DEFAULT_PROFILE, DEFAULT_STAND = "brine-letdown", "simulated"


def add_units(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--units",
        choices=UNIT_SET_NAMES,
        default="psi",
        help="units to speak in: psi with inches and lbf, bar or kPa with mm and N (default: psi)",
    )


def add_profile(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "profile",
        metavar="PROFILE",
        nargs="?",
        default=DEFAULT_PROFILE,
        help=f"valve profile: a file, or the name of a shipped one (default: {DEFAULT_PROFILE})",
    )


def add_stand(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--stand",
        metavar="STAND",
        default=DEFAULT_STAND,
        help=f"stand file, or the name of a shipped one (default: {DEFAULT_STAND}, the built-in one)",
    )
