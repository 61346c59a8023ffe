"""The import contracts hold, and a planted violation is caught."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LINTER = Path(sys.executable).with_name("lint-imports")
needs_linter = pytest.mark.skipif(not LINTER.exists(), reason="import-linter is not installed (extra: dev)")


def contracts(root: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([LINTER, "--no-cache"], cwd=root, capture_output=True, text=True, check=False)


@pytest.fixture
def copy_of_source(tmp_path: Path) -> Path:
    for room in ("rig", "safety", "simulator"):
        shutil.copytree(ROOT / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


@needs_linter
def test_all_contracts_are_kept(copy_of_source: Path) -> None:
    run = contracts(copy_of_source)
    assert run.returncode == 0, run.stdout


@needs_linter
@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("safety/signals.py", "import numpy\n"),
        ("rig/procedure/ramp.py", "import time\n"),
        ("rig/procedure/ramp.py", "import rig.stand.model\n"),
        ("rig/analysis/result.py", "import rig.record.writer\n"),
        ("simulator/__init__.py", "import rig.analysis.result\n"),
        ("rig/report/__init__.py", "import simulator\n"),
        ("rig/units.py", "import rig.files\n"),
        ("rig/layout.py", "import rig.units\n"),
        ("rig/schema_parts.py", "import rig.profile.model\n"),
        ("rig/files.py", "import rig.schema_parts\n"),
        ("rig/new_room.py", ""),  # a room that nobody has given a layer
    ],
)
def test_a_planted_violation_is_caught(copy_of_source: Path, file: str, line: str) -> None:
    path = copy_of_source / file
    path.write_text(line + (path.read_text() if path.exists() else ""))
    run = contracts(copy_of_source)
    assert run.returncode == 1, run.stdout
    assert "BROKEN" in run.stdout
