"""`stemrig profile FILE` and `stemrig stand FILE`: of a good file, a bad one, and calibration dates."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

import rig.cli.check
import rig.cli.stand
from rig.cli.bench import prepare
from rig.cli.exits import WRONG_INPUT
from rig.cli.main import COMMANDS, main, parser
from rig.profile.load import profile_text, shipped_profiles
from rig.stand.explain import attention
from rig.stand.file import load_stand, shipped_stands, stand_text

Told = pytest.CaptureFixture[str]


@pytest.mark.parametrize(
    ("command", "name"),
    [*(("profile", name) for name in shipped_profiles()), *(("stand", name) for name in shipped_stands())],
)
def test_every_shipped_file_is_explained(command: str, name: str, capsys: Told) -> None:
    for units, symbol in (("psi", " psi"), ("bar", " bar"), ("kPa", " kPa")):
        assert main([command, name, "--units", units]) == 0
        told = capsys.readouterr()
        assert symbol in told.out
        assert told.err == ""


@pytest.mark.parametrize(
    ("command", "text", "bad"),
    [
        ("profile", profile_text("brine-letdown"), ("effective_area: 105 in²", "effective_area: 105")),
        ("stand", stand_text("bench-tcp"), ("maximum_pressure: 55 psi", "maximum_pressure: 55")),
    ],
)
def test_a_bad_file_is_told_on_the_error_stream_with_exit_code_2(
    command: str, text: str, bad: tuple[str, str], tmp_path: Path, capsys: Told
) -> None:
    path = tmp_path / "file.yaml"
    path.write_text(text.replace(*bad), encoding="utf-8")
    assert main([command, str(path)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    line = 1 + text[: text.index(bad[0])].count("\n")
    assert told.err.startswith(f"{path}:{line}: {bad[1].partition(':')[0]}: ")
    assert "has no unit\n    write it with one, for example: " in told.err


@pytest.mark.parametrize("command", ["profile", "stand"])
def test_a_file_that_is_not_there_is_told_with_what_is(command: str, capsys: Told) -> None:
    assert main([command, "no-such-thing"]) == 2
    told = capsys.readouterr().err
    shipped = shipped_profiles() if command == "profile" else shipped_stands()
    assert told.startswith("no-such-thing: there is no such file\n    name a ")
    assert all(name in told for name in shipped)


# -- dates ---------------------------------------------------------------------------------------------

BENCH = load_stand("bench-tcp")  # calibrated 2026-05-04, due 2027-05-04


def words_on(day: date) -> list[str]:
    return [words for words in attention(BENCH, day) if "alibrat" in words]


def test_a_calibration_is_good_on_its_last_day_and_overdue_on_the_next() -> None:
    assert words_on(date(2027, 5, 4)) == []
    overdue = "calibration OVERDUE since 2027-05-04; what it measures proves nothing"
    roles = ("Demand output", "Stem position", "Casing pressure", "Supply pressure")
    assert words_on(date(2027, 5, 5)) == [f"{role}: {overdue}" for role in roles]


def test_a_calibration_made_on_a_day_to_come_is_told() -> None:
    assert words_on(date(2026, 5, 4)) == []
    assert words_on(date(2026, 5, 3))[0] == (
        "Demand output: calibrated on 2026-05-04, a day that is still to come"
    )


def test_a_due_date_that_is_not_given_is_told() -> None:
    channel = BENCH.stem_position
    bare = replace(BENCH, stem_position=replace(channel, calibration=replace(channel.calibration, due=None)))
    told = "Stem position: no due date of its calibration is given"
    assert f"{told}; it counts as overdue" in list(attention(bare, date(2026, 6, 1)))
    assert told in list(attention(replace(bare, built_in=True), date(2026, 6, 1)))


class Later(date):
    @classmethod
    def today(cls) -> date:  # type: ignore[override]
        return date(2041, 1, 1)


def test_the_built_in_stand_never_grows_old(
    tmp_path: Path, capsys: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rig.cli.check, "date", Later)
    monkeypatch.setattr(rig.cli.stand, "date", Later)
    assert main(["check", "--instant", "--cycles", "1", "--records", str(tmp_path)]) == 0
    assert main(["stand"]) == 0
    assert "OVERDUE" not in capsys.readouterr().out


def test_an_overdue_calibration_is_refused_before_anything_is_connected(
    monkeypatch: pytest.MonkeyPatch, capsys: Told
) -> None:
    monkeypatch.setattr(rig.cli.check, "date", Later)
    assert main(["check", "--stand", "bench-tcp", "--yes"]) == WRONG_INPUT
    told = capsys.readouterr().err
    assert "The calibration of the casing pressure was due" in told
    assert "Nothing was connected, nothing was moved." in told


def test_a_plan_says_what_is_overdue(monkeypatch: pytest.MonkeyPatch, capsys: Told) -> None:
    monkeypatch.setattr(rig.cli.check, "date", Later)
    bench = ["check", "--plan", "--stand", "bench-tcp"]
    assert main(bench) == 0
    assert "Before it: The calibration of the casing pressure was due" in capsys.readouterr().out
    assert main([*bench, "--calibration-overdue"]) == 0
    assert "Before it" not in capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_a_word_that_no_command_knows_is_told_with_that_commands_usage(command: str, capsys: Told) -> None:
    with pytest.raises(SystemExit) as end:
        main(
            [
                command,
                *{"sheet": ["x"], "redo": ["x"], "vent": ["--stand", "x"]}.get(command, []),
                "--no-such-word",
            ]
        )
    assert end.value.code == 2
    told = capsys.readouterr().err
    assert f"usage: stemrig {command} " in told
    assert told.endswith(f"stemrig {command}: error: unrecognized arguments: --no-such-word\n")


def refusals(day: date, *words: str) -> tuple[str, ...]:
    return prepare(parser().parse_args(["check", "permeate-flush", *words]), day).limits.other_refusals


@pytest.mark.parametrize(
    ("stand", "last_day", "roles"),
    [
        ("bench-tcp", date(2027, 5, 4), ("casing pressure", "stem position")),
        # Pressure is inferred from the I/P there: its calibration counts.
        ("bench-no-casing-transmitter", date(2027, 2, 9), ("demand output", "stem position")),
    ],
)
def test_a_stand_past_its_due_date_is_refused_until_somebody_accepts_it(
    stand: str, last_day: date, roles: tuple[str, ...]
) -> None:
    next_day = last_day + timedelta(days=1)
    assert refusals(last_day, "--stand", stand) == ()
    assert refusals(next_day, "--stand", stand) == tuple(
        f"The calibration of the {role} was due on {last_day}: have it done, or go on with "
        "--calibration-overdue and say so on the sheet."
        for role in roles
    )
    assert refusals(next_day, "--stand", stand, "--calibration-overdue") == ()


def test_a_calibration_without_a_due_date_counts_as_overdue_but_on_the_built_in_stand(tmp_path: Path) -> None:
    undated = str(tmp_path / "undated.yaml")
    text = stand_text("bench-tcp").replace("    due: 2027-05-04\n", "")
    Path(undated).write_text(text)
    day = date(2026, 6, 10)
    assert refusals(day, "--stand", undated) == tuple(
        f"The stand file gives no due date for the calibration of the {role}: write it, or go on with "
        "--calibration-overdue and say so on the sheet."
        for role in ("casing pressure", "stem position")
    )
    assert refusals(day, "--stand", undated, "--calibration-overdue") == ()
    Path(undated).write_text(stand_text("simulated").replace("    due: 2027-06-01\n", ""))
    assert refusals(day, "--stand", undated) == ()
