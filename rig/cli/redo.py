"""`stemrig redo RECORD`: make the result again from the record alone, by this version's analysis."""

import argparse
from pathlib import Path

from rig.cli.options import add_units

HELP = "make result and sheet again from a record folder alone"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("record", metavar="RECORD", type=Path, help="a record folder")
    parser.add_argument("--json", action="store_true", help="print the result object alone")
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from rig.cli.outcome import check_of, conclude
    from rig.cli.steps_outcome import conclude_steps, is_steps
    from rig.record.reader import read_record

    record = read_record(args.record)
    if is_steps(record):
        return conclude_steps(record, args.units, args.json)
    return conclude(check_of(record), args.units, args.json)
