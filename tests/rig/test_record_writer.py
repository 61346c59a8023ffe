"""Writing a record: complete, in order, safe against a kill, and loud when the disk does not take it."""

import csv
import errno
import json
import os
import subprocess
import sys
import threading
import time
from datetime import datetime
from pathlib import Path

import pytest

from rig.profile.model import Action
from rig.record import appender
from rig.record.columns import SAMPLE_COLUMNS
from rig.record.problem import RecordProblem
from rig.record.writer import CLOSED, RecordWriter, new_record_folder

from .made_up import run_of

WHEN = datetime(2026, 11, 25, 14, 15, 3)
SAMPLES = run_of(Action.AIR_TO_OPEN, 1)[:300]


def writer(folder: Path, rows_per_write: int = 1, sync_every_s: float | None = None) -> RecordWriter:
    return RecordWriter(
        folder,
        "valve: 1\n",
        "stand: 1\n",
        {"person": "shift B"},
        rows_per_write=rows_per_write,
        sync_every_s=sync_every_s,
    )


def rows_on_disk(folder: Path) -> list[dict[str, str]]:
    with open(folder / "samples.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_record_folder_is_named_for_time_and_valve_and_never_reused(tmp_path: Path) -> None:
    names = [new_record_folder(tmp_path / "records", "Brine letdown.yaml", WHEN).name for _ in range(3)]
    first = "2026-11-25_141503_brine-letdown"
    assert names == [first, f"{first}_2", f"{first}_3"]


def test_a_folder_that_holds_a_record_is_refused(tmp_path: Path) -> None:
    writer(tmp_path).close()
    with pytest.raises(RecordProblem, match="never written over"):
        writer(tmp_path)


def test_a_place_that_cannot_hold_records_is_told(tmp_path: Path) -> None:
    (tmp_path / "records").write_text("a file, not a folder")
    with pytest.raises(RecordProblem, match="no record folder could be made"):
        new_record_folder(tmp_path / "records", "valve", WHEN)


def test_profile_stand_and_run_are_kept_as_given(tmp_path: Path) -> None:
    texts = "# caf\u00e9\r\nvalve: 1\n", "stand: 1\n"
    RecordWriter(tmp_path, *texts, {"person": "shift B"}, sync_every_s=None).close()
    assert (tmp_path / "profile.yaml").read_bytes() == texts[0].encode()
    assert (tmp_path / "stand.yaml").read_bytes() == texts[1].encode()
    assert json.loads((tmp_path / "run.json").read_text())["person"] == "shift B"


def test_samples_have_units_in_the_header_and_one_row_a_scan(tmp_path: Path) -> None:
    with writer(tmp_path) as record:
        for sample in SAMPLES:
            record.sample(sample)
    rows = rows_on_disk(tmp_path)
    assert tuple(rows[0]) == SAMPLE_COLUMNS
    assert len(rows) == len(SAMPLES)
    row, sample = rows[250], SAMPLES[250]
    assert sample.demand is not None
    assert float(row["casing pressure (Pa)"]) == pytest.approx(sample.reading.pressure.value, abs=0.006)
    assert float(row["position (m)"]) == pytest.approx(sample.reading.position.value, abs=6e-9)
    assert float(row["pressure age (s)"]) == pytest.approx(0.002)
    assert (row["stage"], row["mode"], row["pressure health"]) == (sample.demand.stage, "ramping", "good")
    assert (row["emergency stop healthy"], row["watchdog armed"]) == ("yes", "")


def test_events_keep_commas_quotes_and_line_ends(tmp_path: Path) -> None:
    with writer(tmp_path) as record:
        record.event(1.5, "remark", 'said "stop", twice\nand left')
    with open(tmp_path / "events.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert rows[1] == ["1.500000", "remark", 'said "stop", twice and left']
    assert rows[2][1] == CLOSED


def test_every_row_is_with_the_system_before_the_next_is_asked_for(tmp_path: Path) -> None:
    record = writer(tmp_path)
    for count, sample in enumerate(SAMPLES[:20], start=1):
        record.sample(sample)
        assert len(rows_on_disk(tmp_path)) == count
    record.close()


def test_rows_in_batches_are_all_there_after_an_event_and_after_closing(tmp_path: Path) -> None:
    record = writer(tmp_path, rows_per_write=64)
    for sample in SAMPLES[:100]:
        record.sample(sample)
    assert len(rows_on_disk(tmp_path)) == 64
    record.event(2.0, "trip", "Emergency stop")
    assert len(rows_on_disk(tmp_path)) == 100
    for sample in SAMPLES[100:110]:
        record.sample(sample)
    record.close()
    assert len(rows_on_disk(tmp_path)) == 110


KILLED = """
import os, signal
from pathlib import Path
from tests.rig.test_record_writer import SAMPLES, writer
record = writer(Path({folder!r}), sync_every_s=1.0)
for sample in SAMPLES[:150]:
    record.sample(sample)
print("shown", flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is not known there")
def test_a_kill_loses_nothing_that_was_shown(tmp_path: Path) -> None:
    root = Path(__file__).parents[2]
    code = KILLED.format(folder=str(tmp_path / "run"))
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, timeout=60)
    assert done.stdout == "shown\n", done.stderr
    assert done.returncode < 0
    assert len(rows_on_disk(tmp_path / "run")) == 150


class FullDisk:
    """os.write of a disk that takes `room` bytes more."""

    def __init__(self, room: int) -> None:
        self.room = room

    def write(self, handle: int, data: bytes) -> int:
        if self.room <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        taken = os.write(handle, data[: self.room])
        self.room -= taken
        return taken


def test_a_full_disk_is_told_and_room_made_on_it_mends_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = writer(tmp_path)
    disk = FullDisk(room=1234)
    monkeypatch.setattr(appender, "_write", disk.write)
    told = []
    for sample in SAMPLES[:20]:
        try:
            record.sample(sample)
        except RecordProblem as problem:
            told.append(str(problem))
    assert len(told) > 10
    assert all("samples.csv" in words and "No space left" in words for words in told)
    disk.room = 10**9
    for sample in SAMPLES[20:30]:
        record.sample(sample)
    record.close()
    rows = rows_on_disk(tmp_path)
    assert [row["scan"] for row in rows] == [str(sample.reading.scan) for sample in SAMPLES[:30]]


def test_closing_on_a_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = writer(tmp_path, rows_per_write=64)
    record.sample(SAMPLES[0])
    monkeypatch.setattr(appender, "_write", FullDisk(room=0).write)
    with pytest.raises(RecordProblem, match=r"samples\.csv"):
        record.close()
    record.close()  # the second time there is nothing left to do


def test_a_disk_that_fails_behind_the_cache_is_told_by_a_later_call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(handle: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    record = writer(tmp_path, sync_every_s=0.001)
    monkeypatch.setattr(appender, "_bring_to_disk", broken)
    deadline = time.monotonic() + 10.0

    def go_on() -> None:
        while time.monotonic() < deadline:
            record.sample(SAMPLES[0])

    with pytest.raises(RecordProblem, match="could not be brought to the disk"):
        go_on()
    with pytest.raises(RecordProblem, match="disk"):
        record.close()


def test_the_helper_thread_brings_rows_to_the_disk_and_ends_with_the_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced = threading.Event()
    monkeypatch.setattr(appender, "_bring_to_disk", lambda handle: synced.set())
    before = threading.active_count()
    record = writer(tmp_path, sync_every_s=0.001)
    record.sample(SAMPLES[0])
    assert synced.wait(10.0)
    record.close()
    assert threading.active_count() == before
