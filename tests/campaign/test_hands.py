"""Faults with hands in, in short: what comes back does not lift the stem again; and the scorer can fail."""

from dataclasses import replace
from pathlib import Path

import pytest

from safety import guard
from safety.limits import Limits
from safety.signals import Command, Reading
from safety.state import GuardState
from tests.campaign.hands import HANDS_KINDS, ride, row

SEED = 1000
COME_BACK = ("output module reboots", "supply lost, back after 4 s", "power cut for 3 s")


@pytest.mark.parametrize("name", [*COME_BACK, "I/P full on", "pressure signal jumps down"])
def test_with_hands_in_nothing_brings_the_stem_up_again_and_the_alarm_is_given(
    name: str, tmp_path: Path
) -> None:
    kind = next(kind for kind in HANDS_KINDS if kind.name == name)
    score, seen = ride(kind, SEED, tmp_path)
    assert seen.was_in
    assert seen.alarmed
    assert score.wrong == []
    assert row(name, [(score, seen)]).startswith(f"| {name} | 1 (1) | 1 |")


def test_a_guard_that_only_freezes_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def only_frozen(limits: Limits, state: GuardState, reading: Reading) -> Command:
        return state.command

    monkeypatch.setattr(guard, "frozen", only_frozen)
    kind = next(kind for kind in HANDS_KINDS if kind.name == COME_BACK[1])
    score, _ = ride(kind, SEED, tmp_path)
    assert any("came up again" in words for words in score.wrong)


def test_a_guard_that_vents_onto_the_hands_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def vents(limits: Limits, state: GuardState, reading: Reading) -> Command:
        return replace(state.command, vent_open=bool(state.trips))

    monkeypatch.setattr(guard, "frozen", vents)
    kind = next(kind for kind in HANDS_KINDS if kind.name == "guard opened")
    score, _ = ride(kind, SEED, tmp_path)
    assert "vent opened with hands in" in score.wrong
