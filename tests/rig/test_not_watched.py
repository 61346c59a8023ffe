"""What a stand lacks that others are watched by is told before anything moves, and stays in the record."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from rig.cli.bench import Bench, limit_words, prepare, run_details
from rig.cli.main import main, parser
from rig.record.reader import read_record
from rig.report.facts import run_facts
from rig.stand.explain import explain
from rig.stand.file import load_stand
from rig.stand.model import Stand
from rig.stand.unwatched import not_watched
from rig.units import UNIT_SETS
from tests.rig.test_check_refusals import changed

TODAY = date(2026, 6, 10)
UNITS = UNIT_SETS["psi"]
FULL = load_stand("simulated")
BARE = "Not watched on this stand: module watchdog (case), guard contact, identity register (case)"


def without(**changes: object) -> Stand:
    return replace(FULL, **changes)  # type: ignore[arg-type]


def bench(stand: str, *words: str, command: str = "check") -> Bench:
    args = parser().parse_args([command, "permeate-flush", "--stand", stand, *words])
    args.cycles = 1
    return prepare(args, TODAY)


def without_of_modules(what: str) -> Stand:
    return without(modules={name: replace(m, **{what: None}) for name, m in FULL.modules.items()})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stand", "lacking"),
    [
        (FULL, ()),
        (without_of_modules("watchdog"), ("module watchdog (outputs)",)),
        (without_of_modules("identity"), ("identity register (inputs, outputs)",)),
        (without(emergency_stop_healthy=None), ("emergency stop contact",)),
        (without(guard_closed=None), ("guard contact",)),
        (without(casing_pressure=None), ("casing transmitter",)),
        (without(demand_readback=None), ("output read-back (I/P)",)),
        (without(vent_valve_readback=None), ("output read-back (vent valve)",)),
        (without(vent_valve=None, vent_valve_readback=None), ()),
    ],
)
def test_each_that_the_stand_file_does_not_name_is_told(stand: Stand, lacking: tuple[str, ...]) -> None:
    assert not_watched(stand) == lacking


def test_a_watchdog_that_nobody_can_read_is_not_proven_to_be_armed() -> None:
    outputs = FULL.modules["outputs"]
    assert outputs.watchdog is not None
    blind = replace(outputs, watchdog=replace(outputs.watchdog, timeout_register=None))
    stand = without(modules=FULL.modules | {"outputs": blind})
    assert not_watched(stand) == ("proof that the module watchdog is armed (outputs)",)


@pytest.mark.parametrize("command", ["check", "steps", "spring", "couple", "uncouple"])
def test_the_question_and_the_limit_lines_say_it(command: str) -> None:
    asked = bench("bench-no-casing-transmitter", command=command)
    asked_for = asked.question()
    assert f"! {BARE}" in asked_for
    assert asked_for.index("Hands out of the yoke") < asked_for.index("is everybody clear of it?")
    assert limit_words(asked)[-1].startswith(BARE)
    full = bench("simulated", command=command)
    assert "ot watched" not in full.question() + " ".join(limit_words(full))


def test_the_explanation_of_the_stand_says_it() -> None:
    assert BARE[:50] in explain(load_stand("bench-no-casing-transmitter"), UNITS, TODAY)
    assert "Not watched" not in explain(FULL, UNITS, TODAY)


@pytest.mark.parametrize(("words", "how"), [((), "when asked"), (("--yes",), "with --yes")])
def test_the_record_says_who_went_on_without(words: tuple[str, ...], how: str) -> None:
    given = bench("bench-no-casing-transmitter", "--by", "shift B", *words)
    info = run_details(given, datetime(2026, 6, 10, tzinfo=UTC))
    assert info["not watched"] == list(not_watched(given.stand))
    assert isinstance(info["options"], dict)
    assert info["options"]["not watched accepted by"] == f"shift B, {how}"


def test_record_screen_and_sheet_of_a_guided_run_say_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    guard = "  guard_closed: {module: inputs, table: discrete inputs, address: 1}\n"
    from rig.stand.file import stand_text

    stand = changed(tmp_path, "bay.yaml", stand_text("simulated"), (guard, ""))
    words = ["--instant", "--simulated-person", "--no-check", "--found", "0 psi", "--stand", stand]
    assert main(["spring", *words, "--records", str(tmp_path / "records")]) == 0
    (folder,) = (tmp_path / "records").iterdir()
    run = json.loads((folder / "run.json").read_text())
    assert run["not watched"] == ["guard contact"]
    assert "not watched accepted by" not in run["options"]  # nothing but numbers was moved
    assert "! Not watched on this stand: guard contact." in capsys.readouterr().out
    assert ("Not watched", "guard contact", True) in run_facts(read_record(folder), UNITS)


def test_the_question_names_the_serial_number_or_says_that_none_was_given() -> None:
    assert f"({bench('bench-tcp').profile.model}, no serial number given)" in bench("bench-tcp").question()
    assert ", serial number S-17)" in bench("bench-tcp", "--serial-number", "S-17").question()
    of_the_tag = replace(bench("bench-tcp"), profile=replace(bench("bench-tcp").profile, serial_number="S-9"))
    assert ", serial number S-9)" in of_the_tag.question()
