"""A scan that lives and brings nothing: said aloud, again and again, and a person may give it up."""

import pytest

from rig.stand.notice import SILENT, Notice
from rig.stand.process import SAY_SILENT_EVERY_S, SILENT_S, _Silence
from safety.state import PersonEvent


class Scan:
    """Stands for the process."""

    def __init__(self, gives_up: bool = True) -> None:
        self.events: list[PersonEvent] = []
        self.given_up = 0
        self._gives_up = gives_up

    def event(self, event: PersonEvent) -> None:
        self.events.append(event)

    def give_it_up(self) -> bool:
        self.given_up += 1
        return self._gives_up


class Scene:
    def __init__(self, gives_up: bool = True) -> None:
        self.now, self.told, self.scan = 100.0, list[Notice](), Scan(gives_up)
        self.orders: list[PersonEvent] = []

        def person() -> PersonEvent | None:
            return self.orders.pop(0) if self.orders else None

        self.silence = _Silence(self.scan, self.told.append, person, lambda: self.now)  # type: ignore[arg-type]

    def wait(self, seconds: float) -> bool:
        self.now += seconds
        return self.silence.ended()


def test_a_short_silence_is_nothing() -> None:
    scene = Scene()
    assert not scene.wait(SILENT_S - 0.01)
    scene.silence.over(7.0)
    assert not scene.wait(SILENT_S - 0.01)
    assert scene.told == []


def test_a_long_one_is_said_with_its_length_and_said_again() -> None:
    scene = Scene()
    scene.silence.over(7.0)
    scene.wait(SILENT_S + 0.5)
    for _ in range(9):
        scene.wait(0.5)
    assert len(scene.told) == 1
    assert (scene.told[0].kind, scene.told[0].time_s) == (SILENT, 7.0 + SILENT_S + 0.5)
    assert "NOTHING HAS BEEN READ for 2 s" in scene.told[0].text
    assert "emergency stop" in scene.told[0].text
    scene.wait(SAY_SILENT_EVERY_S)
    assert len(scene.told) == 2
    scene.silence.over(30.0)
    scene.wait(SILENT_S + 1.0)
    assert scene.told[2].time_s == 30.0 + SILENT_S + 1.0


@pytest.mark.parametrize("gives_up", [True, False])
def test_ctrl_c_twice_gives_the_scan_up_and_what_was_ordered_waits_for_it(gives_up: bool) -> None:
    scene = Scene(gives_up)
    scene.orders = [PersonEvent.STOP]
    assert not scene.wait(SILENT_S + 1.0)
    assert (scene.scan.events, scene.scan.given_up) == ([PersonEvent.STOP], 0)
    scene.orders = [PersonEvent.SAFE_NOW]
    assert scene.wait(1.0) is gives_up
    assert scene.scan.events == [PersonEvent.STOP, PersonEvent.SAFE_NOW]
    assert scene.scan.given_up == 1
    assert not scene.wait(1.0)
