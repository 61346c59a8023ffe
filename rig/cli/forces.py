"""`stemrig forces [PROFILE] [--record RECORD]`: what this valve needs, and what runs out first."""

import argparse
import sys
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING

from rig.cli.exits import FAIL, PASS, UNDECIDED, WRONG_INPUT
from rig.cli.options import DEFAULT_PROFILE, add_units

if TYPE_CHECKING:
    from rig.forces.balance import Balance

HELP = "work out the force balance of a valve, its margins and what runs out first"
NARROWEST, WIDEST = 80, 110  # columns


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "profile",
        metavar="PROFILE",
        nargs="?",
        help=f"valve profile: a file or a shipped one's name (default: the record's, else {DEFAULT_PROFILE})",
    )
    parser.add_argument(
        "--record",
        metavar="RECORD",
        type=Path,
        help="take friction, spring rate and preload from this record's measured stroke",
    )
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from rig.record.problem import RecordProblem
    from rig.report.forces import balance_lines
    from rig.units import UNIT_SETS

    try:
        balance, remarks = _balance(args.profile, args.record)
    except RecordProblem as problem:
        print(problem, file=sys.stderr)
        return WRONG_INPUT
    width = min(WIDEST, max(NARROWEST, get_terminal_size((100, 24)).columns))
    print("\n".join(balance_lines(balance, UNIT_SETS[args.units], remarks, width)))
    return exit_code(balance)


def exit_code(balance: "Balance") -> int:
    """Fail where a margin is short, undecided where one cannot be computed."""
    if any(margin.short for margin in balance.margins):
        return FAIL
    return UNDECIDED if any(margin.factor is None for margin in balance.margins) else PASS


def _balance(profile_name: str | None, record_folder: Path | None) -> "tuple[Balance, list[str]]":
    """The balance, and what has to be said of where it comes from."""
    from rig.forces.balance import balance_of
    from rig.forces.knowns import measured_of
    from rig.profile.load import load_profile

    if record_folder is None:
        return balance_of(load_profile(profile_name or DEFAULT_PROFILE)), []
    from dataclasses import replace

    from rig.cli.outcome import read_check, result_of

    record = read_check(record_folder)
    profile = load_profile(profile_name) if profile_name else record.profile
    remarks = []
    if profile.model != record.profile.model:
        remarks.append(f"The record is of another model: {record.profile.model}, not {profile.model}.")
    measured = measured_of(result_of(replace(record, profile=profile)))
    for name, found in (
        ("friction", measured.friction),
        ("spring rate", measured.spring_rate),
        ("spring-only range", measured.spring_only_lower),
    ):
        if found is None:
            remarks.append(f"The record has no {name}: the profile's stands in its place.")
    return balance_of(profile, measured), remarks
