"""A file that only grows: every write reaches the system at once, or is kept until it does."""

import os
from pathlib import Path

from rig.record.problem import RecordLost, RecordProblem

# fdatasync brings the data to the disk without the access times; not every system has it.
_bring_to_disk = getattr(os, "fdatasync", os.fsync)
_write = os.write
_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)


class Appender:
    """Appends text to a new file, `rows_per_write` rows at a time.

    With one row per write a killed process loses nothing it was given. What the system does not take
    (disk full) stays in memory in order and is tried again with the next row, so that room made on the
    disk mends the file; each failing call raises RecordLost.
    """

    def __init__(self, path: Path, header: str, rows_per_write: int = 1) -> None:
        self.path = path
        self._rows_per_write = rows_per_write
        self._waiting: list[str] = []
        self._rest = b""
        try:
            self._handle = os.open(path, _FLAGS, 0o644)
        except OSError as error:
            raise RecordProblem(f"{path}: could not be made: {error.strerror or error}") from error
        self._written = 0
        self._synced = 0
        self.append(header)
        self.flush()

    def append(self, row: str) -> None:
        """Add one row, its line end included; raises RecordLost when the system does not take it."""
        self._waiting.append(row)
        if len(self._waiting) >= self._rows_per_write:
            self.flush()

    def flush(self) -> None:
        """Hand everything to the system; raises RecordLost when it does not take it."""
        rest = self._rest + "".join(self._waiting).encode() if self._waiting else self._rest
        self._waiting.clear()
        try:
            while rest:
                taken = _write(self._handle, rest)
                self._written += taken
                rest = rest[taken:]
        except OSError as error:
            reason = error.strerror or str(error)
            raise RecordLost(
                f"{self.path}: could not be written: {reason} ({len(rest)} bytes wait in memory)"
            ) from error
        finally:
            self._rest = rest

    def sync(self) -> None:
        """Bring what was written to the disk; may be called from another thread. Raises OSError."""
        written = self._written
        if written > self._synced:
            _bring_to_disk(self._handle)
            self._synced = written

    def close(self) -> None:
        """Flush, bring to the disk and close; raises RecordLost when anything could not be kept."""
        try:
            self.flush()
            self.sync()
        except OSError as error:
            reason = error.strerror or str(error)
            raise RecordLost(f"{self.path}: could not be brought to the disk: {reason}") from error
        finally:
            os.close(self._handle)
