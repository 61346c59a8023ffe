"""simulator/README.md: its example runs, its list of faults is whole, the tests it names are there."""

import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from simulator import Fault, SimulatedStand, Trigger
from simulator.bay import PSI, full_stand
from simulator.faults.kinds import KINDS
from simulator.mock import MockStand
from simulator.scenario import read

if TYPE_CHECKING:
    from simulator.fixtures import OnRtu, OnTcp

pytest_plugins = ["simulator.fixtures"]
ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "simulator" / "README.md").read_text(encoding="utf-8")


def example() -> str:
    found = re.search(r"```python\n(.*?)```", README, re.DOTALL)
    assert found
    return found[1]


def run_example(text: str, folder: Path) -> subprocess.CompletedProcess[str]:
    file = folder / "test_mine.py"
    file.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=folder)


def test_the_example_runs_as_printed(tmp_path: Path) -> None:
    run = run_example(example(), tmp_path)
    assert "1 passed" in run.stdout, run.stdout + run.stderr


def test_the_example_can_fail(tmp_path: Path) -> None:
    run = run_example(example().replace("[14000]", "[6000]"), tmp_path)
    assert "1 failed" in run.stdout, run.stdout + run.stderr


def test_the_example_is_about_ten_lines() -> None:
    assert len([line for line in example().splitlines() if line.strip()]) <= 11


def test_the_scenario_in_it_is_read_and_runs() -> None:
    found = re.search(r"```yaml\n(.*?)```", README, re.DOTALL)
    assert found
    scenario = read(found[1], "mine")
    assert scenario.faults == (Fault("hose off", start=Trigger(stroke=2)),)
    assert scenario.truth().hysteresis / PSI == pytest.approx(2 * 2.5 * 0.03 * 22)
    scenario.make(full_stand()).advance(0.5)


def rows() -> dict[str, list[str]]:
    table = README[README.index("| fault | room |") :].split("\n\n")[0].splitlines()[2:]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in table]
    return {cell[0]: cell[1:] for cell in cells}


def test_every_kind_of_fault_is_listed_as_it_is() -> None:
    listed = {name: tuple(cells[:3]) for name, cells in rows().items()}
    assert listed == {name: (kind.room, kind.size, kind.what) for name, kind in KINDS.items()}


def test_each_fault_names_the_test_that_shows_it_and_that_test_exists() -> None:
    folder = Path(__file__).parent
    named = {fault: re.findall(r"`(\w+\.py)::([^`]+)`", cells[3]) for fault, cells in rows().items()}
    assert [fault for fault, tests in named.items() if not tests] == []
    files = sorted({str(folder / file) for tests in named.values() for file, _ in tests})
    there = collected(files)
    for fault, tests in named.items():
        for file, test in tests:
            assert f"{file}::{test}" in there, (fault, file, test)
            assert "[" not in test or test.endswith(f"[{fault}]"), (fault, test)


def collected(files: list[str]) -> set[str]:
    """`file.py::test` of all tests in those files, with their parameters and without."""
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider", *files]
    plain = ["-o", "addopts=--import-mode=importlib"]
    run = subprocess.run([*command, *plain], capture_output=True, text=True, timeout=120, cwd=ROOT)
    assert run.returncode == 0, run.stdout + run.stderr
    ids = {line.rsplit("/", 1)[-1] for line in run.stdout.splitlines() if "::" in line}
    return ids | {one.split("[")[0] for one in ids}


@pytest.mark.parametrize("where", re.findall(r"\(`(\w+\.py)`\)", README))
def test_a_listed_assumption_names_a_module(where: str) -> None:
    assert (ROOT / "simulator" / where).exists()


def test_every_assumption_of_a_module_is_listed() -> None:
    listed = set(re.findall(r"\*\*assumption\*\*.*\(`(\w+\.py)`\)", README))
    marked = {
        path.name
        for path in (ROOT / "simulator").glob("*.py")
        if re.search(r"assum", path.read_text(encoding="utf-8"))
    }
    assert marked <= listed


def test_the_fixtures_give_a_stand_in_process_on_tcp_on_rtu_and_a_mock(
    simulated_stand: SimulatedStand,
    simulated_stand_on_tcp: "OnTcp",
    simulated_stand_on_rtu: "OnRtu",
    mock_stand: MockStand,
) -> None:
    assert simulated_stand_on_tcp.stand is simulated_stand is simulated_stand_on_rtu.stand
    assert simulated_stand_on_tcp.port > 0
    assert mock_stand.stand == simulated_stand.stand
