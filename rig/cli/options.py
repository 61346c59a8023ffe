"""Options that several commands share."""

import argparse
from pathlib import Path

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


def add_guided(parser: argparse.ArgumentParser, hands: str) -> None:
    """What every guided procedure takes; `hands`: what the simulated person does beside answering."""
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
        help=f"on the built-in stand: prompts are answered and {hands} by a simulated person",
    )
    parser.add_argument("--cap", metavar="PRESSURE", help="never exceed this casing pressure, e.g. '40 psi'")
    parser.add_argument("--serial-number", default="", metavar="TEXT", help="of the valve on the stand")
    parser.add_argument("--by", default="", metavar="NAME", help="who does it; goes on the record")
    parser.add_argument(
        "--yes", action="store_true", help="the valve on the stand is this profile's, and hands are clear"
    )
    parser.add_argument(
        "--calibration-overdue",
        action="store_true",
        help="go on with a transmitter past its due date, or without one",
    )
    parser.add_argument(
        "--resume",
        type=Path,
        metavar="RECORD",
        help="go on where the run of this record was interrupted, after the stand was made safe",
    )
    parser.add_argument(
        "--records", type=Path, default=Path("records"), metavar="FOLDER", help="where records go (./records)"
    )


def add_pace(parser: argparse.ArgumentParser) -> None:
    """How fast the built-in stand lives."""
    pace = parser.add_mutually_exclusive_group()
    pace.add_argument("--real-time", action="store_true", help="built-in stand at life speed, not ten times")
    pace.add_argument("--instant", action="store_true", help="built-in stand in virtual time, no sockets")


def add_run(parser: argparse.ArgumentParser) -> None:
    """What every run that moves a valve by itself can be told."""
    parser.add_argument("--cap", metavar="PRESSURE", help="never exceed this casing pressure, e.g. '40 psi'")
    parser.add_argument("--serial-number", default="", metavar="TEXT", help="of the valve on the stand")
    parser.add_argument("--by", default="", metavar="NAME", help="who does it; goes on the sheet")
    parser.add_argument(
        "--yes", action="store_true", help="the valve on the stand is this profile's, and hands are clear"
    )
    parser.add_argument(
        "--calibration-overdue",
        action="store_true",
        help="go on with a transmitter past its due date, or without one; recorded",
    )
    parser.add_argument(
        "--records", type=Path, default=Path("records"), metavar="FOLDER", help="where records go (./records)"
    )
    parser.add_argument("--json", action="store_true", help="print the result object alone on stdout")
