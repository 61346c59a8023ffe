"""Between stand and person: Ctrl-C with hands in is heard, written down, and carried out when they are out;
the screen goes on when the procedure has ended."""

from types import SimpleNamespace

import pytest

from rig.cli.guided import STOP_WAITS, Conversation
from rig.procedure.conductor import Showing
from safety.state import Mode, PersonEvent


class Book:
    """Record and screen in one: keeps what it is told."""

    last_s = 3.0

    def __init__(self) -> None:
        self.told: list[tuple[str, str]] = []
        self.shown: list[Showing] = []

    def show(self, showing: Showing) -> None:
        self.shown.append(showing)

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


@pytest.mark.parametrize("mode", Mode)
def test_what_the_procedure_does_not_look_at_any_more_the_person_still_sees(mode: Mode) -> None:
    screen = Book()
    talk = Conversation(Book(), screen)  # type: ignore[arg-type]
    talk.on_sample(SimpleNamespace(mode=mode.value, reading="the latest"))  # type: ignore[arg-type]
    conducted = mode in (Mode.RAMPING, Mode.HANDS_IN)
    assert [seen.reading for seen in screen.shown] == ([] if conducted else ["the latest"])
    assert all(seen.mode == mode.value and not seen.in_charge for seen in screen.shown)
