"""The socket campaign in short: a few faults in real processes; and its scorer can fail.

A machine too busy to run a check in real time at all proves nothing either way: such a run is skipped.
"""

import copy
import shutil
import sys
from pathlib import Path
from random import Random

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals and signals are POSIX", allow_module_level=True)

from tests.campaign import socket_ride, socket_score
from tests.campaign.fault_kinds import PSI
from tests.campaign.socket_kinds import ALL_KINDS
from tests.campaign.socket_ride import MOMENTS_S, PROFILES, EndedBefore, Ride
from tests.campaign.socket_score import score_of
from tests.campaign.sockets import HEAD, TRIES, table

FIRST_SEED = 1000  # not among those of the table in safety/README.md


def well_into_the_rise(name: str, wire: str) -> int:
    """The first seed that strikes after the output has been going up for a while."""
    for seed in range(FIRST_SEED, FIRST_SEED + 100):
        random = Random(f"{name} {wire} {seed}")  # as in `Ride`
        random.choice(PROFILES)
        if 1.0 < random.uniform(*MOMENTS_S) < 3.0:
            return seed
    raise AssertionError("no such seed")


def ridden(name: str, wire: str, folder: Path) -> Ride:
    kind = next(kind for kind in ALL_KINDS if kind.name == name)
    with pytest.MonkeyPatch.context() as patience:  # none of these faults is seen by a deadline
        patience.setattr(socket_ride, "TCP_LINK", socket_ride.TCP_LINK.replace("50 ms", "400 ms"))
        for tried in range(TRIES):
            ride = Ride(kind, well_into_the_rise(name, wire), wire, folder / str(tried))
            try:
                ride.go()
            except EndedBefore:
                continue
            return ride
    pytest.skip("this machine is too busy to run a check in real time")


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Ride:
    return ridden("guard opened", "tcp", tmp_path_factory.mktemp("opened"))


def test_an_opened_guard_vents_at_once_and_leaves_a_true_record(opened: Ride) -> None:
    score = score_of(opened)
    assert score.wrong == []
    assert score.end == "tripped"
    assert "| guard opened | TCP | 1 |" in table([score])


@pytest.mark.parametrize(
    ("name", "wire", "end"),
    [
        ("main process killed", "tcp", "scan alone"),
        ("scan process killed", "rtu", "watchdog"),
        ("disk full", "tcp", "disk full"),
        ("terminal closed", "tcp", "stopped"),
    ],
)
def test_whatever_dies_the_stand_is_vented_and_the_record_is_true(
    name: str, wire: str, end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(socket_score, "SAID_WITHIN_S", 10.0)
    ride = ridden(name, wire, tmp_path)
    score = score_of(ride)
    assert score.wrong == []
    assert score.end == end
    assert (b"The scan process was lost" in ride.terminal.text) is (end == "watchdog")


# -- the scorer can fail -----------------------------------------------------------------------------------


@pytest.fixture
def spoilt(opened: Ride, tmp_path: Path) -> Ride:
    """The same ride, to be spoilt."""
    ride = copy.copy(opened)
    ride.folder, ride.truth = tmp_path / "ride", dict(opened.truth)
    shutil.copytree(opened.folder, ride.folder)
    return ride


def record_file(ride: Ride, name: str) -> Path:
    return next((ride.folder / "records").glob(f"*/{name}"))


def test_a_pressure_above_the_cap_is_found(spoilt: Ride) -> None:
    spoilt.truth["peak_pa"] = spoilt.cap_pa + 0.2 * PSI
    assert "above the cap" in score_of(spoilt).wrong


def test_air_left_in_the_casing_is_found(spoilt: Ride) -> None:
    spoilt.truth["casing_pa"] = 2.0 * PSI
    assert "neither vented nor escalated" in score_of(spoilt).wrong


def test_air_in_a_casing_called_vented_is_found(spoilt: Ride) -> None:
    spoilt.truth["trace"] = [(time_s, 2.0 * PSI) for time_s, _ in spoilt.truth["trace"]]
    assert any("called vented at 2.00 psi" in words for words in score_of(spoilt).wrong)


def test_a_vent_command_that_comes_too_late_is_found(spoilt: Ride) -> None:
    spoilt.struck_s -= 0.2  # five scans and more
    assert any("vent command after" in words for words in score_of(spoilt).wrong)


def test_a_sample_that_was_shown_and_not_kept_is_found(spoilt: Ride) -> None:
    file = record_file(spoilt, "samples.csv")
    lines = file.read_text(encoding="utf-8").splitlines(True)
    file.write_text("".join(lines[:50] + lines[51:]), encoding="utf-8")
    wrong = score_of(spoilt).wrong
    assert any("1 of" in words and "not in the record" in words for words in wrong)
    assert any("scans missing in the record" in words for words in wrong)


def test_a_record_that_is_silent_on_its_trip_is_found(spoilt: Ride) -> None:
    file = record_file(spoilt, "events.csv")
    lines = file.read_text(encoding="utf-8").splitlines(True)
    file.write_text("".join(line for line in lines if ",trip," not in line), encoding="utf-8")
    assert any("the record's outcome is" in words for words in score_of(spoilt).wrong)


def test_the_published_table_has_every_kind_on_every_wire_and_no_other() -> None:
    readme = (Path(__file__).parents[2] / "safety" / "README.md").read_text(encoding="utf-8")
    rows = [line.split("|") for line in readme.split(HEAD)[1].split("\n\n")[0].strip().splitlines()]
    published = [(row[1].strip(" *"), row[2].strip().lower()) for row in rows]
    wanted = [(k.name, wire) for k in ALL_KINDS for wire in getattr(k, "wires", ("tcp", "rtu"))]
    assert published == wanted
