"""How far a guided procedure has come: enough to resume it later, with the stand made safe between."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.record.atomic import save_text
from rig.record.problem import RecordProblem

PROGRESS_FILE = "progress.json"


@dataclass(frozen=True, slots=True)
class Progress:
    procedure: str
    model: str
    step: str  # begun and not left; empty when the procedure came to its end
    kept: dict[str, Any]  # what the steps before it have found, as the procedure keeps it


def save_progress(folder: Path, progress: Progress) -> None:
    """Whole or not at all; raises RecordProblem."""
    told = {
        "procedure": progress.procedure,
        "model": progress.model,
        "step": progress.step,
        "kept": progress.kept,
    }
    save_text(folder / PROGRESS_FILE, json.dumps(told, indent=2, ensure_ascii=False) + "\n")


def read_progress(folder: Path) -> Progress:
    """Raises RecordProblem where the folder holds none that can be read."""
    path = folder / PROGRESS_FILE
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Progress(str(told["procedure"]), str(told["model"]), str(told["step"]), dict(told["kept"]))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise RecordProblem(f"{path}: holds no progress of a guided procedure: {error}") from error
