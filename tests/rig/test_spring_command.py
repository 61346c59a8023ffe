"""`stemrig spring` end to end on the built-in stand, with its simulated person."""

import json
from pathlib import Path

import pytest

from rig.cli.main import main

ALONE = ("--instant", "--simulated-person")


def records(folder: Path) -> list[Path]:
    return sorted(folder.iterdir())


def test_it_sets_the_spring_then_checks_the_valve_and_keeps_the_sequence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["spring", *ALONE, "--cycles", "1", "--found", "2.2 psi", "--records", str(tmp_path)])
    out = capsys.readouterr().out
    assert code in (0, 3)  # one cycle may leave a narrow tolerance undecided, never a fail
    assert "SET  Brine let-down valve" in out
    setting, check = records(tmp_path)
    kept = json.loads((setting / "spring.json").read_text())
    assert kept["within tolerance"]
    found, left = kept["looks"][0], kept["looks"][-1]
    assert found["lower end (Pa)"] - kept["wanted lower end (Pa)"] > 2.0 * 6894.76
    assert abs(left["lower end (Pa)"] - kept["wanted lower end (Pa)"]) < 0.3 * 6894.76
    assert left["turns before it"] < 0.0
    assert json.loads((check / "run.json").read_text())["spring setting"] == kept
    events = (setting / "events.csv").read_text()
    assert "prompt,Turn the adjuster" in events.replace('"', "")
    assert "answer,Turned as asked" in events.replace('"', "")
    sheet = (check / "sheet.html").read_text()
    assert "<dt>Lower end as found</dt><dd>12.2" in sheet
    assert " out</dd><dt>Lower end as left</dt>" in sheet
    lift_off = json.loads((check / "result.json").read_text())["quantities"]["lift_off"]
    assert lift_off["outcome"] == "pass"


def test_the_record_of_the_setting_is_not_taken_for_that_of_a_check(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["spring", *ALONE, "--no-check", "--found", "0 psi", "--records", str(tmp_path)])
    assert main(["redo", str(records(tmp_path)[0])]) == 2
    assert "is the record of another procedure (Setting the spring)" in capsys.readouterr().err


def test_a_spring_within_tolerance_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["spring", *ALONE, "--no-check", "--found", "0 psi", "--records", str(tmp_path)])
    assert code == 0
    assert "turn" not in capsys.readouterr().out.split("judges it:")[1]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--instant"], "--instant leaves no time to answer: give --simulated-person with it"),
        (["--simulated-person", "--stand", "bench-tcp"], "--simulated-person is for the built-in stand"),
        (["--no-check"], "setting the spring asks a person at a terminal; there is none here"),
        ([*ALONE, "--found", "2"], "--found: '2' has no unit"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_moves(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("rig.cli.guided.at_keyboard", lambda: False)
    assert main(["spring", *arguments, "--records", str(tmp_path / "none")]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_who_accepted_an_overdue_calibration_is_in_the_record(tmp_path: Path) -> None:
    words = ["--no-check", "--found", "0 psi", "--calibration-overdue", "--by", "shift B"]
    assert main(["spring", *ALONE, *words, "--records", str(tmp_path)]) == 0
    run = json.loads((records(tmp_path)[0] / "run.json").read_text())
    assert run["options"]["calibration overdue accepted by"] == "shift B"
    assert run["procedure"] == "Setting the spring"
