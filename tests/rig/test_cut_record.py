"""A record whose run did not come to its end never passes, however good its numbers are."""

from pathlib import Path

import pytest

from rig.cli.exits import PASS, STOPPED
from rig.cli.main import main
from rig.record.reader import read_record
from rig.record.writer import FAILED, RecordWriter
from rig.report.words import CUT_OFF


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
