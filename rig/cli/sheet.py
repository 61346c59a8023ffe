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
    from rig.cli.outcome import read_check, result_of
    from rig.report.sheet import write_sheet
    from rig.units import UNIT_SETS

    record = read_check(args.record)
    path = args.output or args.record / "sheet.html"
    units = UNIT_SETS[args.units]
    write_sheet(record, result_of(record, units), path, units)
    print(path)
    return PASS
