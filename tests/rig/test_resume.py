"""A guided procedure that was interrupted goes on in a later run: in order, from a step that is safe."""

import argparse
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from rig.analysis.coupling import Way
from rig.cli.bench import BadRequest
from rig.cli.guided import resumed
from rig.procedure.couple import Couple
from rig.procedure.set_spring import SetSpring
from rig.record.problem import RecordProblem
from rig.record.progress import Progress, read_progress, save_progress
from rig.stand.file import load_stand
from simulator.plant import Converter
from simulator.truth import truth
from tests.rig import coupling_bench
from tests.rig.guided_bench import Line, Script
from tests.rig.plain_bench import PlainStand, ride_plain
from tests.rig.synthetic import SENSORS
from tests.rig.test_set_spring import PSI, actuator, profile

NAME = "Setting the spring"


def through_json(guided: SetSpring | Couple) -> dict:  # type: ignore[type-arg]
    return dict(json.loads(json.dumps(guided.kept())))


def setter() -> SetSpring:
    return SetSpring(profile=profile(), sensors=SENSORS, highest_pa=40 * PSI)


def test_the_spring_goes_on_with_what_was_found_and_turned() -> None:
    """Interrupted after the wrench; the next run looks, and knows as-found and the turns made between."""
    machine = PlainStand(actuator(1.5), Converter(supply_pa=45 * PSI, full_scale_pa=60 * PSI), seed=1)
    first = setter()
    kept: list[dict] = []  # type: ignore[type-arg]

    def turn(stand: PlainStand) -> None:
        stand.turn_adjuster(first.asked_turns)
        first._turns = first.asked_turns  # as the answer "done" leaves it
        kept.append(through_json(first))

    ride_plain(machine, first, first.run(), Script([Line("Turn the adjuster", act=turn)]))
    second = setter()
    second.take_up(kept[0])
    done = ride_plain(machine, second, second.run("look"), Script([]))
    assert done.value.within
    assert len(done.value.looks) == 2
    assert done.value.as_found == first.looks[0]
    assert done.value.as_left.turns == pytest.approx(-1.5, abs=0.126)
    assert abs(truth(machine.actuator).lift_off - profile().bench_lower_pa) < 0.25 * PSI


def test_the_coupling_keeps_the_actuator_alone_and_the_way() -> None:
    given = coupling_bench.profile()
    done = coupling_bench.couple_on(coupling_bench.actuator(given), given, coupling_bench.Hands())
    couple = Couple(profile=given, sensors=SENSORS, highest_pa=40 * PSI)
    couple.take_up(through_json(done.guided))
    assert couple.alone is not None
    assert couple.alone == done.guided.alone
    assert couple.stroke.rest_m == done.guided.stroke.rest_m
    assert couple.hold_plan().target_m == pytest.approx(done.guided.hold_plan().target_m)
    other = Couple(profile=given, sensors=SENSORS, highest_pa=40 * PSI, way=Way.TOP_STOP)
    with pytest.raises(ValueError, match="held lift"):
        other.take_up(through_json(couple))


def bench(folder: Path | None, built_in: bool = False):  # type: ignore[no-untyped-def]
    stand = replace(load_stand("simulated"), built_in=built_in)
    return SimpleNamespace(args=argparse.Namespace(resume=folder), stand=stand, profile=profile())


def kept_in(folder: Path, **changes: object) -> Path:
    given = Progress(NAME, profile().model, "turn the adjuster", {"looks": [], "turns": 0.0})
    save_progress(folder, replace(given, **changes))  # type: ignore[arg-type]
    return folder


def test_it_begins_again_where_that_is_safe(tmp_path: Path) -> None:
    """From the wrench back to the look: the air may have been let in meanwhile."""
    assert resumed(bench(kept_in(tmp_path)), NAME, setter()) == "look"  # type: ignore[arg-type]
    assert resumed(bench(None), NAME, setter()) == ""  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"procedure": "Coupling"}, "of another run"),
        ({"model": "other"}, "model other"),
        ({"step": ""}, "came to its end"),
        ({"kept": {"turns": 0.0}}, "cannot be resumed"),
    ],
)
def test_what_cannot_be_resumed_is_refused(changes: dict[str, object], words: str, tmp_path: Path) -> None:
    with pytest.raises(BadRequest, match=words):
        resumed(bench(kept_in(tmp_path, **changes)), NAME, setter())  # type: ignore[arg-type]


def test_the_built_in_valve_is_new_in_every_run(tmp_path: Path) -> None:
    with pytest.raises(BadRequest, match="built-in"):
        resumed(bench(kept_in(tmp_path), built_in=True), NAME, setter())  # type: ignore[arg-type]


def test_a_folder_without_progress_is_told(tmp_path: Path) -> None:
    with pytest.raises(RecordProblem, match="no progress"):
        read_progress(tmp_path)
