"""Reading the CSV of a record back, whole or cut off at any byte."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rig.analysis.samples import Floats
from rig.record.problem import RecordProblem


@dataclass(frozen=True, slots=True)
class Table:
    """Complete rows by column name; `torn` says that a last, incomplete row was left out."""

    path: Path
    columns: dict[str, Sequence[str]]
    rows: int
    torn: bool

    def texts(self, name: str) -> Sequence[str]:
        """One column as written; raises RecordProblem when the file does not have it."""
        try:
            return self.columns[name]
        except KeyError:
            raise RecordProblem(f"{self.path}:1: has no column '{name}'") from None

    def floats(self, name: str) -> Floats:
        """One column as numbers, an empty field as nan; raises RecordProblem on anything else."""
        texts = self.texts(name)
        try:
            return np.array([float(text) if text else np.nan for text in texts], dtype=np.float64)
        except ValueError:
            row = next(index for index, text in enumerate(texts) if text and not _is_number(text))
            raise RecordProblem(f"{self.path}:{row + 2}: {name}: '{texts[row]}' is not a number") from None


def read_table(path: Path, columns: Sequence[str]) -> Table:
    """Read every complete row. A file cut inside its header has no rows; raises RecordProblem."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RecordProblem(f"{path}: could not be read: {error.strerror or error}") from error
    # After a power cut a file system may leave zeros where the last rows were to be.
    whole = data[: data.find(b"\0")] if b"\0" in data else data
    whole = whole[: whole.rfind(b"\n") + 1]
    torn = len(whole) < len(data) or not data
    rows = _rows(whole.decode("utf-8", errors="replace"))
    if not rows:
        return Table(path, dict.fromkeys(columns, ()), 0, torn)
    header, body = rows[0], rows[1:]
    for number, row in enumerate(body, start=2):
        if len(row) != len(header):
            raise RecordProblem(f"{path}:{number}: has {len(row)} fields where the header has {len(header)}")
    by_column = list(zip(*body, strict=True)) if body else [()] * len(header)
    return Table(path, dict(zip(header, by_column, strict=True)), len(body), torn)


def _rows(text: str) -> list[list[str]]:
    lines = text.replace("\r\n", "\n").split("\n")[:-1]  # a spreadsheet may have saved it with CR LF
    if '"' in text:
        return list(csv.reader(lines))
    return [line.split(",") for line in lines]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
