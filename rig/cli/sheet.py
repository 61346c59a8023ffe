"""`stemrig sheet RECORD`: make the sheet again from the record alone."""

import argparse
from pathlib import Path

from rig.cli.exits import PASS
from rig.cli.options import add_units

HELP = "make the printable sheet again from a record folder alone"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("record", metavar="RECORD", type=Path, help="a record folder")
    parser.add_argument("--output", metavar="FILE", type=Path, help="default: sheet.html in RECORD")
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from rig.cli.outcome import check_of, result_of
    from rig.cli.steps_outcome import is_steps, steps_sheet
    from rig.record.reader import read_record
    from rig.report.sheet import write_sheet
    from rig.units import UNIT_SETS

    record = read_record(args.record)
    path = args.output or args.record / "sheet.html"
    units = UNIT_SETS[args.units]
    if is_steps(record):
        steps_sheet(record, path, units)
    else:
        write_sheet(check_of(record), result_of(record, units), path, units)
    print(path)
    return PASS
