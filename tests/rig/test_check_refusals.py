"""What the check does with what is wrong: it says so in people's words, with its exit code."""

import errno
import json
import os
from pathlib import Path

import pytest

from rig.analysis.check import analyse
from rig.analysis.result import QUANTITIES
from rig.cli.main import main
from rig.profile.load import profile_text
from rig.record import appender
from rig.stand.file import load_stand, stand_text
from rig.stand.run import How, run_inline
from rig.stand.sample import Sample
from simulator import SimulatedStand
from simulator.wire import LockStep, serve_tcp
from tests.rig.test_check_end_to_end import Bench

from .synthetic import PSI, SENSORS, IdealValve, Rig, profile_for, record

Told = pytest.CaptureFixture[str]


def changed(folder: Path, name: str, text: str, *pairs: tuple[str, str]) -> str:
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    path = folder / name
    path.write_text(text)
    return str(path)


def check(folder: Path, *words: str) -> int:
    return main(["check", "--records", str(folder / "records"), *words])


def test_a_bad_profile_is_told_whole_with_file_line_field_and_cure(tmp_path: Path, capsys: Told) -> None:
    text = profile_text("brine-letdown")
    path = changed(
        tmp_path,
        "bad.yaml",
        text,
        ("casing_maximum: 50 psi", "casing_maximum: 50"),
        ("effective_area:", "effective_aera:"),
    )
    assert check(tmp_path, path, "--instant") == 2
    told = capsys.readouterr().err
    line = 1 + text[: text.index("casing_maximum: 50 psi")].count("\n")
    assert f"bad.yaml:{line}" in told
    assert "casing_maximum" in told
    assert "unit" in told
    assert "effective_aera" in told  # the second mistake is told with the first
    assert not (tmp_path / "records").exists()


def test_a_bad_stand_file_moves_nothing(tmp_path: Path, capsys: Told) -> None:
    path = changed(
        tmp_path,
        "bay.yaml",
        stand_text("simulated"),
        ("number: int16", "number: int17"),
        ("unit: 2", "unit: 900"),
    )
    assert check(tmp_path, "--stand", path, "--yes") == 2
    told = capsys.readouterr().err
    assert "int17" in told
    assert "900" in told
    assert not (tmp_path / "records").exists()


@pytest.mark.parametrize(
    ("in_the_file", "on_the_wire", "words"),
    [
        ("value: 0x1A0B", "value: 0x1A0C", "not the one in the stand file"),
        ("timeout_register: 10", "timeout_register: 11", "watchdog"),
    ],
)
def test_the_wrong_device_and_a_watchdog_that_is_not_there_are_refused(
    in_the_file: str, on_the_wire: str, words: str, tmp_path: Path, capsys: Told
) -> None:
    """The stand file says one thing, the device that answers another: nothing moves."""
    built_in = load_stand("simulated")
    machine = SimulatedStand(built_in, Bench().machine.actuator)
    server = serve_tcp(machine, pace=LockStep())
    try:
        path = changed(
            tmp_path,
            "bay.yaml",
            stand_text("simulated"),
            ("built_in: yes", "built_in: no"),
            ("port: 5020", f"port: {server.port}"),
            (in_the_file, on_the_wire),
            ("deadline: 50 ms", "deadline: 400 ms"),
            ("scan_rate: 50", "scan_rate: 20"),
        )
        code = check(tmp_path, "--stand", path, "--yes", "--json", "--cycles", "1")
    finally:
        server.close()
    told = capsys.readouterr()
    assert code == 4, told.err
    assert words in told.err.lower()
    assert machine.outputs.casing_pa < 100.0
    result = json.loads(told.out)
    assert result["outcome"] == "stopped"
    assert {q["outcome"] for q in result["quantities"].values()} == {"not measured"}


def test_an_open_guard_trips_and_vents() -> None:
    bench = Bench()

    def on_sample(sample: Sample) -> None:
        bench.samples.append(sample)
        if sample.reading.time_s > 15.0:
            bench.machine.open_guard()

    ended = run_inline(bench.loop, bench.check.run(), on_sample)
    assert ended.how is How.TRIPPED
    assert "guard" in ended.trips[0].text.lower()
    assert ended.vented


def test_a_stopped_run_judges_nothing(tmp_path: Path, capsys: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped in the second cycle: lift-off of the first is told, but not called a pass."""
    from rig.cli import bench
    from safety.state import PersonEvent

    class Presses:
        presses, looks = 1, 0

        def __enter__(self) -> "Presses":
            return self

        def __exit__(self, *_: object) -> None:
            return None

        def order(self) -> PersonEvent | None:
            self.looks += 1
            return PersonEvent.STOP if self.looks == 3000 else None

    monkeypatch.setattr(bench, "Interrupts", Presses)
    assert check(tmp_path, "--instant", "--json") == 4
    result = json.loads(capsys.readouterr().out)
    assert result["outcome"] == "stopped"
    assert result["quantities"]["lift_off"]["value"] is not None
    assert {q["outcome"] for q in result["quantities"].values()} <= {"not judged", "not measured"}
    assert result["advice"] == []


def test_a_full_disk_stops_the_run_and_says_to_look_at_the_casing(
    tmp_path: Path, capsys: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    writes = 0

    def write(handle: int, data: bytes) -> int:
        nonlocal writes
        writes += 1
        if writes > 8:
            raise OSError(errno.ENOSPC, "No space left on device")
        return os.write(handle, data)

    monkeypatch.setattr(appender, "_write", write)
    assert check(tmp_path, "--instant") == 4
    told = capsys.readouterr().err
    assert "No space left on device" in told
    assert "without pressure" in told


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the administrator may write anywhere")
def test_redo_shows_the_result_of_a_record_that_cannot_be_written(tmp_path: Path, capsys: Told) -> None:
    assert check(tmp_path, "--instant", "--json", "--cycles", "1") == 0
    folder = Path(json.loads(capsys.readouterr().out)["record"])
    folder.chmod(0o555)
    assert main(["redo", str(folder), "--json"]) == 2
    told = capsys.readouterr()
    assert json.loads(told.out)["outcome"] == "pass"
    assert "could not be written" in told.err


def test_a_result_that_cannot_be_saved_is_shown_and_is_no_pass(
    tmp_path: Path, capsys: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rig.cli import outcome
    from rig.record.problem import RecordProblem

    def refuse(*_: object) -> None:
        raise RecordProblem("sheet.html: could not be written: read-only file system")

    monkeypatch.setattr(outcome, "write_sheet", refuse)
    assert check(tmp_path, "--instant", "--json", "--cycles", "1") == 2
    told = capsys.readouterr()
    assert json.loads(told.out)["outcome"] == "pass"
    assert "read-only file system" in told.err


def test_travel_that_the_cap_cut_off_is_not_measured_rather_than_short(tmp_path: Path, capsys: Told) -> None:
    assert check(tmp_path, "--instant", "--json", "--cycles", "1", "--cap", "18 psi") == 3
    result = json.loads(capsys.readouterr().out)
    assert result["quantities"]["lift_off"]["outcome"] == "pass"
    for key in ("full_travel", "travel"):
        assert result["quantities"][key]["value"] is None
        assert result["quantities"][key]["outcome"] == "not measured"
    assert result["quantities"]["spring_only_upper"]["value"] is not None
    assert main(["redo", result["record"]]) == 3
    assert "drawn on to rated travel" in " ".join(capsys.readouterr().out.split())


def test_every_key_of_the_result_object_is_there_whatever_came(tmp_path: Path, capsys: Told) -> None:
    for words in (("--cap", "18 psi"), ()):
        check(tmp_path, "--instant", "--json", "--cycles", "1", *words)
        result = json.loads(capsys.readouterr().out)
        keys = {"outcome", "basis", "cycles", "quantities", "performance", "trips", "advice", "record"}
        assert set(result) == keys
        assert tuple(result["quantities"]) == QUANTITIES
        for quantity in result["quantities"].values():
            assert {"value", "uncertainty", "unit", "limits", "outcome"} <= set(quantity)


def test_a_cap_above_the_one_that_holds_anyway_is_taken_for_a_slip(tmp_path: Path, capsys: Told) -> None:
    assert check(tmp_path, "--instant", "--cap", "400 psi") == 2
    assert "50 psi (profile)" in capsys.readouterr().err
    assert not (tmp_path / "records").exists()


def test_changed_samples_are_told_and_unchanged_ones_are_not(tmp_path: Path, capsys: Told) -> None:
    check(tmp_path, "--instant", "--json", "--cycles", "1")
    folder = Path(json.loads(capsys.readouterr().out)["record"])
    main(["redo", str(folder)])
    assert "changed them" not in capsys.readouterr().out
    samples = folder / "samples.csv"
    rows = samples.read_text().splitlines(keepends=True)
    samples.write_text("".join([*rows[:200], *rows[201:]]))
    main(["redo", str(folder)])
    assert "changed them" in " ".join(capsys.readouterr().out.split())
    assert "changed them" in (folder / "sheet.html").read_text()


def test_what_is_short_in_service_is_said_with_the_result(tmp_path: Path, capsys: Told) -> None:
    """The stand has no process pressure; the force balance of the profile has."""
    path = changed(
        tmp_path,
        "tight.yaml",
        profile_text("brine-letdown"),
        ("required_seat_load: 800 lbf", "required_seat_load: 830 lbf"),
    )
    check(tmp_path, path, "--instant", "--json", "--cycles", "1")
    result = json.loads(capsys.readouterr().out)
    assert any("in service is short" in line for line in result["advice"])


def test_a_wrong_span_gets_no_turns() -> None:
    wrong = IdealValve(lower_pa=8 * PSI, upper_pa=36 * PSI)
    advice = analyse(record(wrong, Rig()), profile_for(IdealValve()), SENSORS).advice
    assert any("No turning of the adjuster mends that" in line for line in advice)
    assert not any("turns" in line for line in advice)


def test_what_a_proposed_profile_leaves_out_is_told(tmp_path: Path, capsys: Told) -> None:
    check(tmp_path, "--instant", "--json", "--cycles", "1")
    folder = json.loads(capsys.readouterr().out)["record"]
    assert main(["profile", "from", folder, "--area", "105 in2"]) == 0
    told = capsys.readouterr()
    left_out = next(line for line in told.err.splitlines() if line.startswith("left out"))
    for key in ("process.upstream", "trim.plug", "supply_margin"):
        assert key in left_out
        assert f"{key.rpartition('.')[2]}:" not in told.out
