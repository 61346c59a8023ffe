"""The README tells what is there: every test it names exists, every survivor it explains is a mutant."""

import re
from pathlib import Path

from safety.state import Mode

README = (Path(__file__).parents[2] / "safety" / "README.md").read_text(encoding="utf-8")
TESTS = "\n".join(path.read_text(encoding="utf-8") for path in Path(__file__).parents[1].rglob("test_*.py"))


def hazards() -> list[list[str]]:
    table = README.split("## Hazards")[1].split("\n## ")[0]
    rows = [line for line in table.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows[2:]]


def test_every_test_that_the_hazard_table_names_exists() -> None:
    named = set(re.findall(r"`(test_[a-z0-9_]+)`", README))
    assert len(named) > 40
    missing = [name for name in named if f"def {name}(" not in TESTS]
    assert missing == []


def test_every_hazard_has_an_interlock_and_a_test_or_says_that_it_has_none() -> None:
    rows = hazards()
    assert len(rows) >= 30
    for row in rows:
        assert len(row) == 4, row
        hazard, interlock, test, _ = row
        assert interlock, hazard
        assert test or interlock.startswith("none"), hazard


def test_every_mode_is_in_the_table_of_modes() -> None:
    for mode in Mode:
        assert f"| {mode.name} |" in README


def test_it_is_said_first_that_this_is_not_a_certified_safety_function() -> None:
    assert README.split("\n\n")[1].startswith("**This is not a certified safety function.**")
