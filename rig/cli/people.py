"""Who answers the prompts of a guided procedure: the person at the keyboard, or the demonstration's own."""

from collections.abc import Callable

from rig.cli.keys import Keys
from rig.procedure.conductor import Person, Showing
from rig.procedure.guided import Prompt
from rig.report.guided_screen import GuidedScreen

READS_FOR_S = 3.0  # how long the simulated person takes over a prompt, of the run's time


class AtTheKeyboard:
    """A person: sees the screen, presses keys."""

    def __init__(self, screen: GuidedScreen, keys: Keys) -> None:
        self._screen, self._keys = screen, keys

    def look(self, showing: Showing) -> str | None:
        self._screen.show(showing)
        return self._keys.pressed()


class Simulated:
    """Answers every prompt by its first answer after a while, as one who does what is asked would."""

    def __init__(self, screen: GuidedScreen) -> None:
        self._screen = screen

    def look(self, showing: Showing) -> str | None:
        self._screen.show(showing)
        prompt = showing.prompt
        if prompt is None or not prompt.answers or showing.waited_s < READS_FOR_S:
            return None
        return prompt.answers[0].key


class WithHands:
    """On the built-in stand nobody can turn a wrench: what an answer says was done is done to it then."""

    def __init__(self, person: Person, work: Callable[[Prompt, str], None]) -> None:
        self._person, self._work = person, work

    def look(self, showing: Showing) -> str | None:
        key = self._person.look(showing)
        prompt = showing.prompt
        if key is not None and prompt is not None and not showing.paused and prompt.answer_for(key):
            self._work(prompt, key)
        return key
