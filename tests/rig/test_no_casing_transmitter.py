"""A stand without a casing transmitter: the I/P's budget instead, wider, true and said."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from rig.analysis.result import QUANTITIES
from rig.cli.main import main
from rig.cli.session import demo_actuator
from rig.profile.load import load_profile
from rig.stand.file import load_stand
from rig.units import QUANTITY_DIMENSION, UNIT_SETS
from simulator import SimulatedStand

PSI, PSI_PA = UNIT_SETS["psi"], 6894.757293168361
CONVERTER = "calibration of the I/P (no casing transmitter)"
FILLING = "drag of the stem and lags of the transmitters"


@pytest.fixture
def blind(tmp_path: Path) -> Path:
    """The built-in stand with its casing transmitter taken out."""
    text = Path("profiles/stands/simulated.yaml").read_text()
    text, found = re.subn(r"  casing_pressure:\n(    .*\n)+", "", text)
    assert found == 1
    path = tmp_path / "blind.yaml"
    path.write_text(text)
    return path


def check(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    main(["check", *words, "--instant", "--json"])
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


@pytest.mark.parametrize("model", ["permeate-flush", "brine-letdown"])
def test_every_value_holds_the_truth_within_its_wider_uncertainty(
    model: str, blind: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [model, "--cycles", "1", "--coarse", "--records", str(tmp_path / "records")]
    result = check(capsys, *words, "--stand", str(blind))
    profile = load_profile(model)
    true = SimulatedStand(load_stand("simulated"), demo_actuator(profile)).truth
    for key in QUANTITIES:
        got = result["quantities"][key]
        value = float(getattr(true, key))
        if key == "full_travel":  # told at rated travel
            value -= true.spring_rate * max(0.0, true.travel - profile.rated_travel_m) / profile.area_m2
        want = PSI.to(QUANTITY_DIMENSION[key], value)
        assert abs(got["value"] - want) <= got["uncertainty"], (key, got["value"], got["uncertainty"], want)
    budget = result["quantities"]["lift_off"]["budget"]
    lift = {part["source"]: part["standard_uncertainty"] for part in budget}
    accuracy = load_stand(blind).demand_output.calibration.accuracy / PSI_PA / 3**0.5
    assert lift[CONVERTER] == pytest.approx(accuracy, rel=1e-4)
    assert lift[FILLING] > 0.0
    assert not any("pressure transmitter" in source for source in lift)


def test_the_same_valve_is_measured_more_exactly_with_a_transmitter(
    blind: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["permeate-flush", "--cycles", "1", "--coarse", "--records", str(tmp_path / "records")]
    seeing, inferring = check(capsys, *words), check(capsys, *words, "--stand", str(blind))
    for key in QUANTITIES:
        if key == "travel":  # pressure has no part in it
            continue
        assert inferring["quantities"][key]["uncertainty"] > 1.5 * seeing["quantities"][key]["uncertainty"]
    assert inferring["quantities"]["lift_off"]["outcome"] == "undecided"
    ratios = [line for line in inferring["advice"] if "below 4:1" in line]
    assert len(ratios) == 1
    assert "lift off" in ratios[0]
    sheet = (Path(inferring["record"]) / "sheet.html").read_text()
    assert "inferred from the I/P" in sheet
    assert CONVERTER in sheet
    assert "within its uncertainty of a limit" in sheet  # the risk of the decision, in words


def test_a_tolerance_that_the_converter_cannot_decide_is_refused_before_anything_moves(
    blind: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    records = tmp_path / "records"
    assert main(["check", "--stand", str(blind), "--instant", "--records", str(records)]) == 2
    said = capsys.readouterr().err
    assert "most of it the I/P's calibration" in said
    assert "Nothing was moved" in said
    assert not records.exists()


def test_steps_know_that_the_casing_fills_unseen(
    blind: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["steps", "permeate-flush", "--stand", str(blind), "--instant", "--cycles", "1", "--json"]
    assert main([*words, "--records", str(tmp_path / "records")]) == 0
    result = json.loads(capsys.readouterr().out)
    profile = load_profile("permeate-flush")
    true = SimulatedStand(load_stand("simulated"), demo_actuator(profile)).truth
    want = 100.0 * true.hysteresis / (profile.bench_upper_pa - profile.bench_lower_pa)
    for key in ("travel_hysteresis", "dead_band"):
        got = result["quantities"][key]
        assert abs(got["value"] - want) <= got["uncertainty"], (key, got, want)
        assert CONVERTER in {part["source"] for part in got["budget"]}
