"""The truth block of a scenario file, from its actuator: `python -m simulator.scenario_truth FILE ...`."""

import re
import sys
from pathlib import Path

from rig.units import UNIT_SETS, Dimension
from simulator.scenario import Scenario, load
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


def renew(path: Path) -> None:
    """Replace or append the block in a file; everything else stays as it is."""
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"^truth:\n(?:  .*\n)*", "", text, flags=re.MULTILINE).rstrip("\n") + "\n"
    path.write_text(text + truth_block(load(path)), encoding="utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:]:
        renew(Path(name))
