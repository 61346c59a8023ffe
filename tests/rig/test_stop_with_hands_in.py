"""Ctrl-C while hands are in: heard, written down, and carried out only when they are out, in order."""

from types import SimpleNamespace

import pytest

from rig.cli.guided import STOP_WAITS, Conversation
from safety.state import Mode, PersonEvent


class Book:
    """Record and screen in one: keeps what it is told."""

    last_s = 3.0

    def __init__(self) -> None:
        self.told: list[tuple[str, str]] = []

    def sample(self, sample: object) -> None: ...

    def event(self, time_s: float, kind: str, text: str) -> None:
        self.told.append((kind, text))


@pytest.mark.parametrize("pressed", [PersonEvent.STOP, PersonEvent.SAFE_NOW])
def test_it_waits_for_the_hands_and_then_vents_in_order(pressed: PersonEvent) -> None:
    record, screen = Book(), Book()
    talk = Conversation(record, screen)  # type: ignore[arg-type]
    talk.on_sample(SimpleNamespace(mode=Mode.HANDS_IN.value))  # type: ignore[arg-type]
    assert talk.event(lambda: pressed) is None
    assert ("stop asked", STOP_WAITS) in record.told
    assert talk.event(lambda: None) is None, "not while hands are in"
    talk.on_sample(SimpleNamespace(mode=Mode.RAMPING.value))  # type: ignore[arg-type]
    assert talk.event(lambda: None) is PersonEvent.STOP
    assert talk.event(lambda: None) is None, "once"
