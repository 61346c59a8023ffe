"""The table of modes and events: what is in it happens, what is not changes nothing."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from safety.checks import CHECKS
from safety.guard import decide
from safety.state import (
    TRANSITIONS,
    Event,
    GuardEvent,
    GuardState,
    Memory,
    Mode,
    PersonEvent,
    follow,
)
from safety.track import Mark, Track

from .scene import Scene

EVENTS: tuple[Event, ...] = (*PersonEvent, *GuardEvent)
PAIRS = list(product(Mode, EVENTS))
README = Path(__file__).parents[2] / "safety" / "README.md"
SOME = Mark(1.0, 2.0, 3.0, 4.0)


def diagram() -> str:
    """TRANSITIONS as a mermaid state diagram; the README holds exactly this."""
    lines = ["stateDiagram-v2", f"    [*] --> {Mode.RESTING.name}"]
    for (mode, event), then in TRANSITIONS.items():
        who = "person" if isinstance(event, PersonEvent) else "guard"
        lines.append(f"    {mode.name} --> {then.name}: {who}, {event.value}")
    return "\n".join(lines)


def watched(mode: Mode) -> GuardState:
    """A state with every observation half finished."""
    memory = Memory(
        Track(1.0, 2.0, 3.0, 4.0), Track(5.0, 6.0, 7.0, 8.0), (9.0,), 2, SOME, SOME, SOME, SOME, SOME
    )
    return GuardState(mode, 5.0, 1.0, since=(("x", 1.0),), held=SOME, memory=memory)


@pytest.mark.parametrize(("mode", "event"), PAIRS)
def test_every_pair_of_mode_and_event(mode: Mode, event: Event) -> None:
    before = watched(mode)
    after = follow(before, event, 7.0)
    then = TRANSITIONS.get((mode, event))
    if then is None:
        assert after is None
    elif then is mode:
        assert after is before
    else:
        assert after is not None
        assert (after.mode, after.entered_s) == (then, 7.0)


@pytest.mark.parametrize(
    ("mode", "event"), [pair for pair in PAIRS if TRANSITIONS.get(pair) not in (None, pair[0])]
)
def test_a_change_of_mode_forgets_what_was_half_observed_and_nothing_else(mode: Mode, event: Event) -> None:
    before = watched(mode)
    after = follow(before, event, 7.0)
    assert after is not None
    kept = before.memory
    assert after.memory == Memory(kept.pressure, kept.position, kept.last_good, kept.same_time)
    assert (after.since, after.held) == ((), None)
    assert (after.time_s, after.command, after.trips) == (5.0, before.command, before.trips)


@pytest.mark.parametrize(("mode", "event"), list(product(Mode, PersonEvent)))
def test_every_event_of_a_person_in_every_mode(mode: Mode, event: PersonEvent) -> None:
    """Ready for everything that is legal: what is illegal is refused by name and changes nothing."""
    scene = Scene().enter(mode)
    if mode in (Mode.TRIPPED, Mode.ESCALATED):
        scene.let_go()
        scene.wait(3.0)
    before = scene.state
    after = decide(scene.limits, before, scene.reading(), event)
    then = TRANSITIONS.get((mode, event))
    if then is None:
        assert after == replace(before, refusals=(f"'{event.value}' has no meaning while {mode.value}.",))
    else:
        assert after.mode is then
        assert after.refusals == ()


def test_every_mode_has_its_checks() -> None:
    assert set(CHECKS) == set(Mode)
    assert all(CHECKS.values())


def test_every_mode_can_be_reached_and_left() -> None:
    moves = {(mode, then) for (mode, _), then in TRANSITIONS.items() if mode is not then}
    assert {then for _, then in moves} == set(Mode)
    assert {mode for mode, _ in moves} == set(Mode)


def test_only_a_person_ends_a_trip_or_starts_motion_or_takes_hands_out() -> None:
    def who(*ends: tuple[Mode, Mode]) -> set[Event]:
        return {event for (mode, event), then in TRANSITIONS.items() if (mode, then) in ends}

    assert who((Mode.TRIPPED, Mode.RESTING), (Mode.ESCALATED, Mode.RESTING)) == {PersonEvent.CLEAR}
    assert who((Mode.RESTING, Mode.RAMPING)) == {PersonEvent.ARM}
    into = {mode for (mode, _), then in TRANSITIONS.items() if then is Mode.RAMPING}
    assert into == {Mode.RESTING, Mode.HANDS_IN}
    out = {event for (mode, event), then in TRANSITIONS.items() if mode is Mode.HANDS_IN is not then}
    assert out == {PersonEvent.HANDS_OUT, GuardEvent.HANDS_OUT_LATCHED}


def test_a_trip_is_heard_in_every_mode() -> None:
    assert {mode for mode, event in TRANSITIONS if event is GuardEvent.TRIP} == set(Mode)
    assert {mode for mode, event in TRANSITIONS if event is PersonEvent.SAFE_NOW} == set(Mode)


def test_the_diagram_has_one_line_for_each_row() -> None:
    lines = diagram().splitlines()
    assert lines[:2] == ["stateDiagram-v2", "    [*] --> RESTING"]
    assert len(lines) == 2 + len(TRANSITIONS)
    assert "    RESTING --> RAMPING: person, arm" in lines
    assert "    TRIPPED --> ESCALATED: guard, pressure does not go" in lines


def test_the_readme_shows_the_diagram_of_this_very_table() -> None:
    text = README.read_text(encoding="utf-8")
    assert f"```mermaid\n{diagram()}\n```" in text
