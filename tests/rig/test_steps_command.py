"""`stemrig steps` as its user runs it, on the simulated stand, against the simulator's truth."""

import json
from pathlib import Path
from typing import Any

import pytest

from rig.analysis.terms import TERMS
from rig.cli.main import main
from rig.cli.session import demo_actuator
from rig.profile.load import load_profile, profile_text
from rig.stand.file import load_stand
from simulator import SimulatedStand

LIMITS = """
performance_limits:
  hysteresis: {at_most: 8 %, source: order 4711 clause 3}
  dead_band: {at_most: 6 %, source: order 4711 clause 4}
"""


def steps(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> tuple[int, dict[str, Any]]:
    code = main(["steps", *words, "--instant", "--json", "--records", str(folder)])
    return code, json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("model", ["permeate-flush", "seawater-bypass"])  # air-to-open, air-to-close
def test_hysteresis_and_dead_band_are_those_of_the_simulated_valve(
    model: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, result = steps(capsys, tmp_path, model, "--cycles", "2", "--dead-band", "25 75")
    assert code == 0
    assert result["outcome"] == "not judged"
    assert tuple(result["quantities"]) == TERMS
    profile = load_profile(model)
    true = SimulatedStand(load_stand("simulated"), demo_actuator(profile)).truth
    of_travel = true.hysteresis * profile.area_m2 / true.spring_rate / profile.rated_travel_m
    of_span = true.hysteresis / (profile.bench_upper_pa - profile.bench_lower_pa)
    for key, want in (("travel_hysteresis", of_travel), ("dead_band", of_span)):
        got = result["quantities"][key]
        assert got["unit"] == "%"
        # 0.02 %: the widest of several noisy places is a little too wide
        assert abs(got["value"] - 100.0 * want) <= got["uncertainty"] + 0.02, (key, got, 100.0 * want)
    inner = [row[1:4] for row in result["points"]["rising"]]
    wanted = [25.0, 50.0, 75.0]
    if model == "permeate-flush":  # rated with friction in it: rising, the stem is where it should be
        assert all(row == pytest.approx(wanted, abs=0.2) for row in inner)


def test_limits_of_the_profile_decide_and_their_source_is_on_the_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text(profile_text("brine-letdown") + LIMITS)
    code, result = steps(capsys, tmp_path / "records", str(mine), "--cycles", "1")
    assert code == 1
    assert result["quantities"]["travel_hysteresis"]["outcome"] == "pass"
    assert result["quantities"]["dead_band"]["outcome"] == "fail"  # 7 %
    sheet = (Path(result["record"]) / "sheet.html").read_text()
    assert "Limit of dead band: order 4711 clause 4." in sheet
    assert "Errors at each point" in sheet
    assert main(["redo", result["record"], "--json"]) == code
    assert json.loads(capsys.readouterr().out) == result
    assert main(["sheet", result["record"], "--output", str(tmp_path / "again.html")]) == 0
    assert (tmp_path / "again.html").read_text() == sheet
    capsys.readouterr()
    main(["redo", result["record"]])
    told = capsys.readouterr().out
    assert "mean up" in told
    assert "order 4711 clause 3" in told


def test_a_limit_without_its_source_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text(profile_text("brine-letdown") + LIMITS.replace(", source: order 4711 clause 3", ""))
    assert main(["profile", str(mine)]) == 2
    assert "performance_limits.hysteresis.source: is missing" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--points", "0 fifty 100"), "per cents of the bench range"),
        (("--points", "0 100"), "at least three points"),
        (("--points", "0 50 500"), "from -20 to 120"),
        (("--points", "0 1e-7 50 100"), "no more than 3 decimals"),
        (("--dead-band", "100"), "must be inner points: 25, 50, 75"),
        (("--points", "0,10,120", "--dead-band", "50"), "must be inner points: 10; or none"),
        (("--cap", "28 psi"), "100 % of the bench range is 30 psi"),
    ],
)
def test_what_cannot_be_stepped_is_refused_before_anything_moves(
    words: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["steps", "--instant", *words, "--records", str(tmp_path)]) == 2
    assert told in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_check_tells_the_terms_of_its_ramps_and_judges_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text(profile_text("brine-letdown") + LIMITS.replace("8 %", "0.1 %"))
    words = ["check", str(mine), "--instant", "--cycles", "1", "--json", "--records", str(tmp_path / "r")]
    assert main(words) == 0
    terms = json.loads(capsys.readouterr().out)["performance"]
    assert not terms["points"]["settled"]
    hysteresis = terms["quantities"]["travel_hysteresis"]
    assert abs(hysteresis["value"] - 7.0) <= hysteresis["uncertainty"]
    assert (hysteresis["outcome"], hysteresis["limits"]) == ("not judged", None)
    assert terms["quantities"]["dead_band"]["outcome"] == "not measured"
