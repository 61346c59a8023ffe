"""`stemrig forces` and `stemrig profile from`, on a record of the built-in stand and on bad input."""

from pathlib import Path

import pytest

from rig.cli.exits import FAIL, PASS, UNDECIDED, WRONG_INPUT
from rig.cli.main import main
from rig.profile.load import load_profile_text, profile_text
from tests.rig.force_valves import INCH, LBF, PSI


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One short check of the demonstration valve in virtual time."""
    folder = tmp_path_factory.mktemp("records")
    main(
        ["check", "brine-letdown", "--instant", "--yes", "--cycles", "1", "--records", str(folder), "--json"]
    )
    return next(folder.iterdir())


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(list(words))
    out, err = capsys.readouterr()
    return code, out, err


# -- forces ------------------------------------------------------------------------------------------------


def test_a_shipped_profile_is_told_and_passes(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, "forces", "brine-letdown")
    assert code == PASS
    # seat load 10 × 105 − 2 × 65 = 920 lbf; −0.1067 × (30 − 820) + 0.4418 × 30 = 97.6 lbf off it
    first = "Runs out first: seat load in service, factor 1.03 (822.4 lbf there, 800 lbf needed)."
    assert first in " ".join(out.split())  # wherever the terminal's width breaks the line


def test_what_cannot_be_computed_leaves_it_undecided(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, "forces", "acid-dosing", "--units", "kPa")
    assert code == UNDECIDED
    assert "needs packing friction" in out
    assert "kPa" in out


def test_a_short_margin_fails(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "tight.yaml"
    path.write_text(
        profile_text("brine-letdown").replace("packing_friction: 65 lbf", "packing_friction: 200 lbf"),
        encoding="utf-8",
    )
    code, out, _ = said(capsys, "forces", str(path))
    assert code == FAIL
    assert "short by" in out.splitlines()[2]
    told = said(capsys, "profile", str(path))
    assert told[0] == PASS
    assert told[1].startswith("Short: Seat load in service is short by")


def test_a_record_gives_friction_rate_and_preload(capsys: pytest.CaptureFixture[str], record: Path) -> None:
    code, out, err = said(capsys, "forces", "--record", str(record))
    assert code in (PASS, FAIL), err
    assert "as measured" in out.splitlines()[0]
    assert "as found" in out
    assert "measured, half band" in out
    assert "allowed for in the profile" not in out


def test_a_record_of_another_model_is_said_first(capsys: pytest.CaptureFixture[str], record: Path) -> None:
    _, out, _ = said(capsys, "forces", "membrane-rinse", "--record", str(record))
    assert "The record is of another model: brine-letdown, not membrane-rinse." in out.splitlines()[2]


def test_what_is_no_record_and_no_profile_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, err = said(capsys, "forces", "--record", str(tmp_path))
    assert (code, out) == (WRONG_INPUT, "")
    assert "is not a whole record" in err
    code, _, err = said(capsys, "forces", "no-such-valve")
    assert code == WRONG_INPUT
    assert "no-such-valve" in err


# -- profile from ------------------------------------------------------------------------------------------


def test_a_profile_is_proposed_from_a_record_every_value_marked(
    capsys: pytest.CaptureFixture[str], record: Path
) -> None:
    code, out, err = said(capsys, "profile", "from", str(record), "--area", "105 in2", "--model", "found-1")
    assert code == PASS, err
    profile = load_profile_text(out, "proposed")
    assert profile.model == "found-1"
    # the demonstration valve: 10 to 30 psi, 1867 lbf/in, friction 3.5 % of 20 psi × 105 in² = 73.5 lbf
    assert profile.rated_travel_m == pytest.approx(1.125 * INCH)
    assert profile.bench_lower_pa == pytest.approx(10 * PSI, abs=0.2 * PSI)
    assert profile.spring_rate_n_per_m == pytest.approx(1867 * LBF / INCH, rel=0.04)
    assert profile.trim.packing_friction_n == pytest.approx(73.5 * LBF, rel=0.06)
    values = [line for line in out.splitlines() if ": " in line and not line.startswith(("#", "notes"))]
    unmarked = [line for line in values if "# given" not in line and "# measured" not in line]
    assert unmarked == []
    assert err.startswith("left out, write it in where it holds for this valve: ")
    assert err.count("\n") == 1, "nothing to mend"


def test_the_area_scales_what_is_measured_with_it(capsys: pytest.CaptureFixture[str], record: Path) -> None:
    base = load_profile_text(said(capsys, "profile", "from", str(record), "--area", "105 in2")[1], "a")
    twice = load_profile_text(said(capsys, "profile", "from", str(record), "--area", "210 in2")[1], "b")
    assert base.spring_rate_n_per_m is not None
    assert twice.spring_rate_n_per_m == pytest.approx(2 * base.spring_rate_n_per_m, rel=2e-3)
    assert twice.bench_upper_pa == pytest.approx(base.bench_upper_pa, rel=1e-3)


def test_a_proposal_that_contradicts_itself_is_told_what_to_mend(
    capsys: pytest.CaptureFixture[str], record: Path
) -> None:
    code, out, err = said(capsys, "profile", "from", str(record), "--area", "60 in2")
    assert code == PASS
    assert out
    assert "to mend: required_seat_load: 800 lbf is more than the range can give" in err


def test_without_an_area_a_record_or_a_free_file_nothing_is_proposed(
    capsys: pytest.CaptureFixture[str], record: Path, tmp_path: Path
) -> None:
    there = tmp_path / "there.yaml"
    there.write_text("mine", encoding="utf-8")
    for words, told in (
        ([str(record)], "no stroke can measure it"),
        ([], "name the record folder"),
        ([str(record), "--area", "105"], "no unit"),
        ([str(tmp_path), "--area", "105 in2"], "is not a whole record"),
        ([str(record), "--area", "105 in2", "--output", str(there)], "already there"),
    ):
        code, out, err = said(capsys, "profile", "from", *words)
        assert (code, out) == (WRONG_INPUT, "")
        assert told in err
    assert there.read_text(encoding="utf-8") == "mine"


def test_a_proposal_goes_to_the_file_it_is_told(
    capsys: pytest.CaptureFixture[str], record: Path, tmp_path: Path
) -> None:
    path = tmp_path / "found.yaml"
    code, out, _ = said(capsys, "profile", "from", str(record), "--area", "105 in2", "--output", str(path))
    assert (code, out) == (PASS, f"Written: {path}\n")
    assert load_profile_text(path.read_text(encoding="utf-8"), str(path)).model == "brine-letdown"
