"""Reading a record back: all of it, or all of it up to the byte where it was cut."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rig.profile.model import Action
from rig.record import reader
from rig.record.problem import RecordProblem
from rig.record.reader import read_record, sensors_of
from rig.record.writer import RecordWriter
from rig.stand.model import Number
from safety.signals import Health, Signal

from .made_up import INCH, PROFILE, PSI, STAND, columns, run_of

SAMPLES = run_of(Action.AIR_TO_OPEN, 1)[:400]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A record on disk; the files of profile and stand have tests of their own."""
    monkeypatch.setattr(reader, "load_profile_text", lambda text, source: PROFILE)
    monkeypatch.setattr(reader, "load_stand_text", lambda text, source: STAND)
    with RecordWriter(tmp_path / "run", "valve: 1\n", "stand: 1\n", {"person": "B"}, sync_every_s=None) as w:
        w.event(0.0, "start", "cap 45 psi, from the profile")
        for sample in SAMPLES:
            w.sample(sample)
    return tmp_path / "run"


def test_a_record_comes_back_as_it_was_written(folder: Path) -> None:
    record, wanted = read_record(folder), columns(SAMPLES)
    got = record.samples
    np.testing.assert_allclose(got.time_s, wanted.time_s, atol=1e-6)
    np.testing.assert_allclose(got.pressure_pa, wanted.pressure_pa, atol=0.006)
    np.testing.assert_allclose(got.position_m, wanted.position_m, atol=6e-9)
    np.testing.assert_allclose(got.supply_pa, wanted.supply_pa, atol=0.006)
    np.testing.assert_allclose(got.output_pa, wanted.output_pa, atol=0.006)
    assert (got.cycle == wanted.cycle).all()
    assert (got.stage == wanted.stage).all()
    assert record.run == {"person": "B"}
    assert (record.profile_text, record.stand_text) == ("valve: 1\n", "stand: 1\n")
    assert record.events[0].text == "cap 45 psi, from the profile"
    assert (record.torn, record.closed, record.pressure_is_inferred) == (False, True, False)


def test_values_that_were_not_good_come_back_as_nan(tmp_path: Path, folder: Path) -> None:
    first = SAMPLES[0]
    now = first.reading.time_s
    bad = replace(
        first.reading,
        pressure=Signal(99.0, Health.OUT_OF_RANGE, now),
        position=Signal(float("nan"), Health.UNKNOWN, now),
        pressure_is_inferred=True,
    )
    with RecordWriter(tmp_path / "bad", "", "", {}, sync_every_s=None) as writer:
        writer.sample(replace(first, reading=bad, demand=None, lost_scans=3, late_s=0.02))
    record = read_record(tmp_path / "bad")
    assert np.isnan(record.samples.pressure_pa[0])
    assert np.isnan(record.samples.position_m[0])
    assert (record.samples.cycle[0], record.samples.stage[0]) == (0, "")
    assert (record.pressure_is_inferred, record.lost_scans, record.longest_late_s) == (True, 3, 0.02)
    assert "99.00,out of range" in (tmp_path / "bad" / "samples.csv").read_text()


def cut(path: Path, keep: int) -> Callable[[], None]:
    """Cut a file; returns what puts it back."""
    whole = path.read_bytes()
    path.write_bytes(whole[:keep])
    return lambda: (path.write_bytes(whole), None)[1]


@pytest.mark.parametrize("name", ["samples.csv", "events.csv"])
def test_a_record_cut_at_any_byte_is_readable_up_to_there(folder: Path, name: str) -> None:
    path = folder / name
    whole = path.read_bytes()
    for keep in range(max(0, len(whole) - 300), len(whole)):
        put_back = cut(path, keep)
        record = read_record(folder)
        put_back()
        rows = max(0, whole[:keep].count(b"\n") - 1)
        assert len(record.samples.time_s if name == "samples.csv" else record.events) == rows, keep
        assert record.torn == (not whole[:keep].endswith(b"\n")), keep


@pytest.mark.parametrize("keep", [0, 1, 40])
def test_a_record_cut_in_its_header_has_no_samples_and_says_so(folder: Path, keep: int) -> None:
    cut(folder / "samples.csv", keep)
    record = read_record(folder)
    assert (record.samples.time_s.size, record.torn) == (0, True)


def test_zeros_that_a_file_system_left_at_the_end_are_not_data(folder: Path) -> None:
    path = folder / "samples.csv"
    whole = path.read_bytes()
    path.write_bytes(whole[:-30] + b"\0" * 4096)
    record = read_record(folder)
    assert (record.samples.time_s.size, record.torn) == (len(SAMPLES) - 1, True)


def test_a_run_that_was_not_ended_in_order_is_told_from_one_that_was(folder: Path) -> None:
    path = folder / "events.csv"
    path.write_bytes(path.read_bytes().splitlines(keepends=True)[0])
    assert not read_record(folder).closed


def test_columns_may_stand_in_another_order_and_be_more(folder: Path) -> None:
    path = folder / "samples.csv"
    rows = [line.split(",") for line in path.read_text().splitlines()]
    path.write_text("".join(",".join(["new", *reversed(row)]) + "\n" for row in rows))
    np.testing.assert_allclose(
        read_record(folder).samples.pressure_pa, columns(SAMPLES).pressure_pa, atol=0.006
    )


def test_a_spreadsheet_may_have_changed_the_line_ends(folder: Path) -> None:
    path = folder / "samples.csv"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    record = read_record(folder)
    assert (record.samples.time_s.size, record.torn) == (len(SAMPLES), False)


def test_a_field_that_is_no_number_is_told_with_line_and_column(folder: Path) -> None:
    path = folder / "samples.csv"
    lines = path.read_text().splitlines(keepends=True)
    lines[7] = lines[7].replace(lines[7].split(",")[0], "noon", 1)
    path.write_text("".join(lines))
    with pytest.raises(RecordProblem, match=r"samples.csv:8: time \(s\): 'noon' is not a number"):
        read_record(folder)


def test_a_row_with_too_few_fields_in_the_middle_is_told(folder: Path) -> None:
    path = folder / "samples.csv"
    lines = path.read_text().splitlines(keepends=True)
    lines[7] = "1.0,2\n"
    path.write_text("".join(lines))
    with pytest.raises(RecordProblem, match=r"samples.csv:8: has 2 fields"):
        read_record(folder)


def test_missing_files_are_all_named_at_once(folder: Path) -> None:
    (folder / "run.json").unlink()
    (folder / "events.csv").unlink()
    with pytest.raises(RecordProblem, match=r"run.json, events.csv are missing"):
        read_record(folder)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(RecordProblem, match="there is no such folder"):
        read_record(tmp_path / "nothing")


def test_the_fingerprint_changes_with_any_file_of_the_record(folder: Path) -> None:
    before = read_record(folder).fingerprint
    assert before == read_record(folder).fingerprint
    (folder / "profile.yaml").write_text("valve: 2\n")
    assert read_record(folder).fingerprint != before


def test_sensors_come_from_the_stand_file() -> None:
    sensors = sensors_of(STAND)
    assert sensors.pressure_accuracy_pa == pytest.approx(0.06 * PSI)
    assert sensors.pressure_resolution_pa == pytest.approx(60 * PSI / 27648)
    assert sensors.position_span_m == pytest.approx(4 * INCH)
    assert not sensors.pressure_is_inferred


def test_without_a_casing_transmitter_the_i_p_stands_in_and_a_float_has_no_count() -> None:
    bare = replace(
        STAND, casing_pressure=None, demand_output=replace(STAND.demand_output, number=Number.FLOAT32)
    )
    sensors = sensors_of(bare)
    assert sensors.pressure_is_inferred
    assert sensors.pressure_accuracy_pa == pytest.approx(0.3 * PSI)
    assert sensors.pressure_resolution_pa == 0.0
