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


class Asking:
    """A conductor whose answer "my hands go in" waits for the guard; its event is still to be sent."""

    def __init__(self) -> None:
        self.asking = True
        self._event: PersonEvent | None = PersonEvent.HANDS_IN

    def saw(self, mode: str, refusals: object, trips: object) -> None: ...

    def take_event(self) -> PersonEvent | None:
        event, self._event = self._event, None
        return event


def asking() -> tuple[Conversation, Asking, Book]:
    record, conductor = Book(), Asking()
    talk = Conversation(record, Book())  # type: ignore[arg-type]
    talk.conductor = conductor  # type: ignore[assignment]
    talk.on_sample(SimpleNamespace(mode=Mode.RAMPING.value))  # type: ignore[arg-type]
    return talk, conductor, record


@pytest.mark.parametrize("pressed", [PersonEvent.STOP, PersonEvent.SAFE_NOW])
def test_pressed_while_hands_go_in_it_waits_like_one_with_hands_in(pressed: PersonEvent) -> None:
    talk, conductor, record = asking()
    assert talk.event(lambda: pressed) is PersonEvent.HANDS_IN, "the answer is not lost"
    assert talk.event(lambda: None) is None, "the guard has not answered"
    talk.on_sample(SimpleNamespace(mode=Mode.HANDS_IN.value))  # type: ignore[arg-type]
    conductor.asking = False
    assert talk.event(lambda: None) is None
    assert talk.event(lambda: None) is None
    assert record.told == [("stop asked", STOP_WAITS)]
    talk.on_sample(SimpleNamespace(mode=Mode.RAMPING.value))  # type: ignore[arg-type]
    assert talk.event(lambda: None) is PersonEvent.STOP
    assert talk.event(lambda: None) is None, "once"


@pytest.mark.parametrize("pressed", [PersonEvent.STOP, PersonEvent.SAFE_NOW])
def test_pressed_while_hands_go_in_it_goes_on_once_the_guard_has_refused_them(pressed: PersonEvent) -> None:
    talk, conductor, record = asking()
    assert talk.event(lambda: pressed) is PersonEvent.HANDS_IN
    conductor.asking = False
    assert talk.event(lambda: None) is pressed
    assert talk.event(lambda: None) is None, "once"
    assert record.told == []


@pytest.mark.parametrize("mode", Mode)
def test_what_the_procedure_does_not_look_at_any_more_the_person_still_sees(mode: Mode) -> None:
    screen = Book()
    talk = Conversation(Book(), screen)  # type: ignore[arg-type]
    talk.on_sample(SimpleNamespace(mode=mode.value, reading="the latest", written=False))  # type: ignore[arg-type]
    conducted = mode in (Mode.RAMPING, Mode.HANDS_IN)
    assert [seen.reading for seen in screen.shown] == ([] if conducted else ["the latest"])
    assert all(seen.mode == mode.value and not seen.in_charge for seen in screen.shown)
    assert not any(seen.written for seen in screen.shown)
