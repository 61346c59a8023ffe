"""The truth block of scenario files, from their actuators.

`python -m simulator.scenario_truth [FILE ...]` renews it, in all shipped files if none is named;
with `--check` it changes nothing and names the files whose block is another (exit code 1).
"""

import argparse
import re
import sys
from collections.abc import Sequence
from pathlib import Path

from rig.units import UNIT_SETS, Dimension
from simulator.scenario import FOLDER, Scenario, load
from simulator.scenario_fields import TRUTH

DIGITS = {
    Dimension.PRESSURE: 3,
    Dimension.LENGTH: 4,
    Dimension.FORCE: 1,
    Dimension.SPRING_RATE: 1,
}


def truth_block(scenario: Scenario) -> str:
    """The lines of the block, in psi, in and lbf."""
    units, true = UNIT_SETS["psi"], scenario.truth()
    lines = ["truth:"]
    for key, dimension in TRUTH.items():
        text = units.text(dimension, getattr(true, key), decimals=DIGITS[dimension])
        lines.append(f"  {key}: {text}")
    return "\n".join(lines) + "\n"


def renewed(path: Path) -> str:
    """The file with its block replaced or appended; everything else as it is. Raises ScenarioProblem."""
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"^truth:\n(?:  .*\n)*", "", text, flags=re.MULTILINE).rstrip("\n") + "\n"
    return text + truth_block(load(path))


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m simulator.scenario_truth", description=__doc__)
    parser.add_argument("files", metavar="FILE", nargs="*", type=Path)
    parser.add_argument(
        "--check", action="store_true", help="change nothing, name the files that are not true"
    )
    args = parser.parse_args(argv)
    paths = args.files or sorted(FOLDER.glob("*.yaml"))
    stale = [path for path in paths if renewed(path) != path.read_text(encoding="utf-8")]
    for path in stale:
        print(path)
        if not args.check:
            path.write_text(renewed(path), encoding="utf-8")
    return 1 if stale and args.check else 0


if __name__ == "__main__":
    sys.exit(main())
