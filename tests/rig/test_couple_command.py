"""`stemrig couple` end to end on the built-in stand, with its simulated person."""

import json
from pathlib import Path

import pytest

from rig.cli.exits import STOPPED
from rig.cli.main import main
from rig.cli.people import Simulated
from rig.files import FileProblems
from rig.procedure.conductor import Conductor
from rig.stand.explain import missing_against_movement
from rig.stand.file import load_stand, load_stand_text, stand_text
from rig.stand.limits import limits_for
from tests.rig.coupling_bench import profile

ALONE = ("--instant", "--simulated-person")
INCH = 0.0254


def coupled(folder: Path, *more: str) -> tuple[int, dict[str, object], str]:
    """Exit code, what was kept, and the events."""
    code = main(["couple", *ALONE, "--records", str(folder), *more])
    (record,) = folder.iterdir()
    kept = json.loads((record / "coupling.json").read_text())
    return code, kept, (record / "events.csv").read_text()


def test_it_couples_and_proves_travel_and_seat_load(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, kept, events = coupled(tmp_path)
    assert code == 0
    assert "COUPLED  Brine let-down valve" in capsys.readouterr().out
    assert kept["verdict"] == "coupled right"
    assert kept["way"] == "held lift"
    assert kept["seat load proven"]
    assert kept["slack of the actuator alone (m)"] == pytest.approx(0.25 * INCH, abs=0.006 * INCH)
    assert 1.125 * INCH <= kept["travel (m)"]["value"] <= (1.125 + 1 / 32) * INCH  # type: ignore[index]
    for said in ("Block set; my hands go in now.", "The connector is made and tight.", "Jam nuts locked."):
        assert said in events


@pytest.mark.parametrize(
    ("mistake", "verdict"),
    [
        ("plug-hanging", "travel beyond rated"),
        ("early", "slack not taken out"),
        ("not-made", "connector not made"),
        ("slips", "connector slipped"),
    ],
)
def test_a_mistake_ends_in_its_name_and_not_in_a_pass(mistake: str, verdict: str, tmp_path: Path) -> None:
    code, kept, _ = coupled(tmp_path, "--mistake", mistake)
    assert code == 1
    assert kept["verdict"] == verdict
    assert not kept["coupled right"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--instant"], "--instant leaves no time to answer: give --simulated-person with it"),
        (["--simulated-person", "--stand", "bench-tcp"], "a person makes the connector"),
        ([], "coupling asks a person at a terminal; there is none here"),
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
    assert main(["couple", *arguments, "--records", str(tmp_path / "none")]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("way", ["top stop", "short lift"])
def test_the_other_ways(way: str, tmp_path: Path) -> None:
    code, kept, events = coupled(tmp_path, "--way", way)
    assert code == (0 if way == "top stop" else 3), "a seat load that is not proven is no pass"
    assert kept["way"] == way
    assert kept["seat load proven"] == (way == "top stop")
    assert ("Lift the plug" in events) == (way == "top stop")


def test_what_the_stand_lacks_against_movement_is_said_at_the_prompt(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coupled(tmp_path)
    out = capsys.readouterr().out
    assert "no isolating valve at the casing" in out
    assert "no mechanical stop or block" in out
    assert "Software is no mechanical block" in out


def test_the_stand_file_says_what_holds_the_stem() -> None:
    bench = load_stand("bench-tcp")
    assert bench.hands_in.isolating_valve
    assert missing_against_movement(bench) == ()
    assert limits_for(profile(), bench).isolate_supply_hands_in
    without = load_stand("simulated")
    assert [lacking for lacking, _ in missing_against_movement(without)] == [
        "no isolating valve at the casing",
        "no mechanical stop or block",
    ]
    assert not limits_for(profile(), without).isolate_supply_hands_in


def test_a_wrong_key_under_hands_in_is_told() -> None:
    text = stand_text("bench-tcp").replace("mechanical_stop: no", "mechanical_stopp: no")
    with pytest.raises(FileProblems, match="mechanical_stopp"):
        load_stand_text(text, "bench.yaml")


def test_it_is_taken_apart_with_the_plug_off_its_seat(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["uncouple", *ALONE, "--records", str(tmp_path)]) == 0
    assert "APART  Brine let-down valve" in capsys.readouterr().out
    (record,) = tmp_path.iterdir()
    kept = json.loads((record / "apart.json").read_text())
    assert kept["undone"]
    assert kept["lifted_m"] == pytest.approx(INCH / 16, abs=0.02 * INCH)
    assert kept["dropped_m"] == pytest.approx(0.24 * INCH, abs=0.02 * INCH)
    assert "no load is stored between stem and seat" in (record / "events.csv").read_text()


@pytest.mark.parametrize("command", ["couple", "uncouple", "spring"])
def test_where_nobody_answers_it_is_stopped_and_nothing_is_said_of_the_valve(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Simulated, "look", lambda self, showing: None)
    monkeypatch.setattr(Conductor, "_opened", lambda self, prompt, now_s: 601.0 if prompt else 0.0)
    assert main([command, *ALONE, "--records", str(tmp_path)]) == STOPPED
    told = capsys.readouterr()
    assert "Nobody answered" in told.err
    assert "The casing is vented." in told.out
    assert "STOPPED" in told.out
    assert not any(word in told.out for word in ("NOT COUPLED", "NOT APART", "NOT SET", "stemrig uncouple"))
