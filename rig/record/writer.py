"""Writing a record as it happens: a folder per run, open text and CSV, safe against a kill at any moment."""

import json
import re
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from rig.record.appender import Appender
from rig.record.atomic import save_text, sync_folder
from rig.record.columns import EVENT_HEADER, SAMPLE_HEADER, event_row, sample_row
from rig.record.fingerprint import FINGERPRINT_FILE, fingerprint
from rig.record.problem import RecordLost, RecordProblem
from rig.stand.sample import Sample

CLOSED = "record closed"  # kind of the last event of a record that was ended in order
FAILED = "The program failed in the middle of the run"  # an event of kind "stop"


def new_record_folder(base: Path, profile_name: str, when: datetime) -> Path:
    """Make `base/2026-11-25_141503_brine-letdown`, or the same with _2, _3 ... where that is taken."""
    slug = re.sub(r"[^a-z0-9]+", "-", Path(profile_name).stem.lower()).strip("-") or "valve"
    name = f"{when:%Y-%m-%d_%H%M%S}_{slug}"
    try:
        base.mkdir(parents=True, exist_ok=True)
        for number in count(1):
            folder = base / (name if number == 1 else f"{name}_{number}")
            try:
                folder.mkdir()
            except FileExistsError:
                continue
            return folder
    except OSError as error:
        raise RecordProblem(
            f"{base}: no record folder could be made: {error.strerror or error}\n"
            "    is the folder yours to write in, and is there room on the disk?"
        ) from error
    raise AssertionError("count() never ends")


class RecordWriter:
    """The files of one run. Rows reach the system `rows_per_write` at a time.

    `sync_every_s` is how often a helper thread brings the rows to the disk, so that a power cut costs
    no more than that; None leaves it to `close` (virtual time: the whole run is over within seconds).
    Every failure raises RecordLost from the call that met it, or, for the helper thread, from the
    next call; rows not taken stay in memory and are tried again.
    """

    def __init__(
        self,
        folder: Path,
        profile_text: str,
        stand_text: str,
        run: Mapping[str, Any],
        *,
        rows_per_write: int = 1,
        sync_every_s: float | None = 1.0,
    ) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordProblem(f"{folder}: could not be made: {error.strerror or error}") from error
        if (folder / "samples.csv").exists():
            raise RecordProblem(f"{folder}: holds a record already; a record is never written over")
        save_text(folder / "profile.yaml", profile_text)
        save_text(folder / "stand.yaml", stand_text)
        save_text(folder / "run.json", json.dumps(run, indent=2, ensure_ascii=False) + "\n")
        self._samples = Appender(folder / "samples.csv", SAMPLE_HEADER, rows_per_write)
        self._events = Appender(folder / "events.csv", EVENT_HEADER)
        sync_folder(folder)
        self.last_s = 0.0  # time of the last sample
        self._closed = False
        self._sync_error: OSError | None = None
        self._stop = threading.Event()
        self._helper: threading.Thread | None = None
        if sync_every_s is not None:
            self._helper = threading.Thread(target=self._keep_syncing, args=(sync_every_s,), daemon=True)
            self._helper.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """A run that an exception ended is no finished one: the record says so before it is closed."""
        if error is not None:
            words = str(error) if isinstance(error, RecordLost) else f"{type(error).__name__}: {error}"
            with suppress(RecordLost):  # `close` tells it
                self._events.append(event_row(self.last_s, "stop", f"{FAILED}: {words}"))
        self.close()

    def sample(self, sample: Sample) -> None:
        """Append one scan; raises RecordLost."""
        self.last_s = sample.reading.time_s
        self._samples.append(sample_row(sample))
        self._raise_sync_error()

    def event(self, time_s: float, kind: str, text: str) -> None:
        """Append one event, after the samples that came before it; raises RecordLost."""
        self._samples.flush()
        self._events.append(event_row(time_s, kind, text))
        self._raise_sync_error()

    def close(self) -> None:
        """End the record in order and bring all of it to the disk; raises RecordLost. Twice is once.

        It is only called closed where every sample was kept.
        """
        if self._closed:
            return
        self._closed = True
        self._stop.set()
        if self._helper is not None:
            self._helper.join()
        problems: list[RecordProblem] = []
        steps: tuple[Callable[[], None], ...] = (
            self._samples.close,
            lambda: None if problems else self._events.append(event_row(self.last_s, CLOSED, "")),
            self._events.close,
            self._raise_sync_error,
        )
        for step in steps:
            try:
                step()
            except RecordProblem as problem:
                problems.append(problem)
        if not problems:
            save_text(self.folder / FINGERPRINT_FILE, fingerprint(self.folder) + "\n")
        else:
            raise RecordLost("\n".join(str(problem) for problem in problems))

    def _keep_syncing(self, every_s: float) -> None:
        while not self._stop.wait(every_s):
            try:
                self._samples.sync()
                self._events.sync()
            except OSError as error:
                self._sync_error = error

    def _raise_sync_error(self) -> None:
        error, self._sync_error = self._sync_error, None
        if error is not None:
            raise RecordLost(
                f"{self.folder}: the record could not be brought to the disk: {error.strerror or error}"
            ) from error
