"""Whole files that are either there complete or not there at all."""

import os
from pathlib import Path

from rig.record.problem import RecordProblem


def save_text(path: Path, text: str) -> None:
    """Write beside `path`, bring it to the disk, then rename; raises RecordProblem."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with open(beside, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
        sync_folder(path.parent)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise RecordProblem(f"{path}: could not be written: {error.strerror or error}") from error


def sync_folder(folder: Path) -> None:
    """Bring a folder's own entries to the disk, where the system can (Windows cannot open folders)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
