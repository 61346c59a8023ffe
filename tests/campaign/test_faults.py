"""The fault campaign in short: every kind once, at a moment drawn from its seed; and the scorer can fail."""

from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from rig.record.writer import RecordWriter
from rig.stand.sample import Sample
from safety import guard
from simulator import Fault
from tests.campaign import full_on
from tests.campaign.fault_bench import HOLD_S, RATE, SETTLE_S, Bench, ride
from tests.campaign.fault_kinds import AT_ONCE, FULL_ON_PSI, KINDS, PSI, Kind, one
from tests.campaign.faults import HEAD, table

SEED = 1000  # not among those of the table in safety/README.md


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_it_is_vented_or_escalated_below_the_cap_in_the_stated_time_with_a_true_record(
    kind: Kind, tmp_path: Path
) -> None:
    score = ride(kind, SEED, tmp_path)
    assert score.wrong == [], f"{kind.name}, seed {SEED}, at {score.moment_s:.2f} s while {score.mode}"
    assert f"| {kind.name}" in table([score])


def test_there_are_at_least_forty_kinds_each_named_once() -> None:
    assert len({kind.name for kind in KINDS}) == len(KINDS) >= 40


def ramping(kind: Kind) -> int:
    """The first seed whose moment falls well into the rise."""
    return next(seed for seed in range(100) if 2.5 < Bench(kind, seed).moment_s < 4.5)


def test_a_vent_command_that_comes_too_late_is_found(tmp_path: Path) -> None:
    slow = Kind("supply lost, called at once", one("supply lost"), AT_ONCE)
    score = ride(slow, ramping(slow), tmp_path)
    assert any("vent command after" in words for words in score.wrong)


def holding_at_the_top(bench: Bench) -> bool:
    up_s = SETTLE_S + bench.top_pa / RATE
    at_the_top = bench.top_pa > 0.9 * bench.limits.demand_max_pa
    return at_the_top and up_s < bench.moment_s < up_s + 0.5 * HOLD_S


def test_a_pressure_above_the_cap_is_found(tmp_path: Path) -> None:
    full_on = next(kind for kind in KINDS if kind.name == "vent stuck, I/P full on")
    seed = next(seed for seed in range(0, 1000, 2) if holding_at_the_top(Bench(full_on, seed)))
    score = ride(replace(full_on, over_psi=0.0), seed, tmp_path)
    assert score.over_cap_pa > 0.1 * PSI
    assert "above the cap" in score.wrong


def test_an_ip_full_on_at_the_top_passes_a_persons_cap_by_what_is_stated_and_the_casing_maximum_never(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """On the valve that fills fastest."""
    monkeypatch.setattr(full_on, "LONG_S", 4.0)
    monkeypatch.setattr(full_on, "PHASES_S", (0.01,))
    row = full_on.row("permeate-flush")
    assert 0.5 < row.worst_psi(True) < FULL_ON_PSI
    assert row.worst_psi(False) < -5.0
    assert all(score.wrong == [] for scores in row.scores for score in scores)
    assert str(row).startswith("| permeate-flush | 30 | +")


def test_air_left_in_a_casing_that_was_called_vented_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a guard that does not look at read-backs."""
    monkeypatch.setattr(guard, "disagreements", lambda limits, state, reading: iter(()))

    def strike(bench: Bench, random: Random) -> None:
        bench.machine.open_guard()
        for fault in (
            Fault("wrong range", 0.0, "casing_pressure"),  # reads nothing, whatever there is
            Fault("vent valve stuck"),
            Fault("exhaust blocked"),
        ):
            bench.machine.faults.add(fault)

    lie = Kind("a lie", strike, AT_ONCE)
    score = ride(lie, ramping(lie), tmp_path)
    assert any("called vented at" in words for words in score.wrong)
    assert "neither vented nor escalated" in score.wrong


def test_a_record_that_lacks_a_sample_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    honest, calls = RecordWriter.sample, [0]

    def forgetful(self: RecordWriter, sample: Sample) -> None:
        calls[0] += 1
        if calls[0] != 100:
            honest(self, sample)

    monkeypatch.setattr(RecordWriter, "sample", forgetful)
    score = ride(next(k for k in KINDS if k.name == "guard opened"), SEED, tmp_path)
    assert any("samples shown" in words for words in score.wrong)


def test_the_published_table_has_every_kind_and_no_other() -> None:
    readme = (Path(__file__).parents[2] / "safety" / "README.md").read_text(encoding="utf-8")
    rows = readme.split(HEAD)[1].split("\n\n")[0].strip().splitlines()
    assert [row.split("|")[1].strip(" *") for row in rows] == [kind.name for kind in KINDS]
