"""The mutation runner can tell a noticed change from an unnoticed one; a small sample of the real ones.

All of them: `python -m tests.safety.mutation`.
"""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from .mutants import modules, mutants, text_of
from .mutation import README, explained

PROJECT = Path(__file__).parents[2]
forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="the runner needs a system that can fork")


def run(*options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tests.safety.mutation", "--workers", "2", *options]
    return subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, timeout=300, check=False)


@pytest.mark.parametrize("module", modules())
def test_every_mutant_differs_from_the_module_and_has_a_name_of_its_own(module: str) -> None:
    made = mutants(module)
    assert len(made) >= 20
    assert len({mutant.name for mutant in made}) == len(made)
    for mutant in made[:: max(1, len(made) // 10)]:
        compile(mutant.source, mutant.name, "exec")
        assert mutant.source != ast.unparse(ast.parse(text_of(module)))


def test_the_changes_are_those_that_hands_make() -> None:
    names = {mutant.name for mutant in mutants("checks")}
    assert "checks.over_travel: `moved > limit` becomes `moved >= limit`" in names
    assert "checks.over_travel: `moved > limit` becomes `moved <= limit`" in names
    assert any("`yield from" in name or "`yield Finding" in name for name in names)


def test_every_explained_survivor_is_a_mutant_and_every_explanation_is_read() -> None:
    names = {mutant.name for module in modules() for mutant in mutants(module)}
    known = explained()
    assert known - names == set()
    listed = README.read_text("utf-8").split("### Mutants that survive, and why")[1]
    assert len(known) == sum(line.startswith("* ") for line in listed.splitlines())


@forks
def test_a_change_that_matters_is_noticed_and_none_is_not() -> None:
    """In a process of its own: forking is not for a test runner's worker."""
    code = (
        "import tests.safety.mutation as m\n"
        "m.TESTS = ('limits',)\n"
        "source = m.text_of('limits')\n"
        "assert not m.noticed('limits', source)\n"
        "assert m.noticed('limits', source.replace('min(caps', 'max(caps'))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=PROJECT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@forks
def test_a_sample_of_mutants_is_noticed_or_explained() -> None:
    done = run("--sample", "3", "--seed", "1", "--trust")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("3 of ")
