"""A record whose run did not come to its end never passes, however good its numbers are."""

import errno
import os
from pathlib import Path

import pytest

from rig.cli.exits import PASS, STOPPED
from rig.cli.main import main
from rig.profile.model import Action
from rig.record.problem import RecordLost
from rig.record.reader import read_record
from rig.record.writer import FAILED, RecordWriter
from rig.report.words import CUT_OFF

from .made_up import run_of


def test_a_check_killed_before_its_end_is_told_as_stopped_though_all_its_cycles_are_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--instant", "--cycles", "1", "--records", str(tmp_path)]) == PASS
    folder = next(tmp_path.iterdir())
    events = folder / "events.csv"
    events.write_text("".join(events.read_text(encoding="utf-8").splitlines(True)[:-1]), encoding="utf-8")
    assert not read_record(folder).closed
    capsys.readouterr()
    assert main(["redo", str(folder)]) == STOPPED
    assert CUT_OFF[:40] in " ".join(capsys.readouterr().out.split())


def test_a_run_that_an_exception_ended_says_so_in_its_record(tmp_path: Path) -> None:
    def fail() -> None:
        with RecordWriter(tmp_path / "run", "", "", {}, sync_every_s=None):
            raise ZeroDivisionError("by nothing")

    with pytest.raises(ZeroDivisionError):
        fail()
    rows = (tmp_path / "run" / "events.csv").read_text(encoding="utf-8").splitlines()
    assert [row.split(",", 1)[1] for row in rows[1:]] == [
        f"stop,{FAILED}: ZeroDivisionError: by nothing",
        "record closed,",
    ]


def test_a_record_whose_samples_could_not_all_be_kept_is_not_closed_and_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk takes the few bytes of an event after it took no more samples."""
    sample, write = run_of(Action.AIR_TO_OPEN, 1)[0], os.write

    def full_for_samples(handle: int, data: bytes) -> int:
        if b"late (s)" not in data and data.count(b",") > 20:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(handle, data)

    monkeypatch.setattr("rig.record.appender._write", full_for_samples)
    with (
        pytest.raises(RecordLost),
        RecordWriter(tmp_path / "run", "", "", {}, sync_every_s=None) as record,
    ):
        record.sample(sample)
    rows = (tmp_path / "run" / "events.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 2
    assert f"stop,{FAILED}: " in rows[1]
    assert os.strerror(errno.ENOSPC) in rows[1]
