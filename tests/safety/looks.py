"""One look at one scan: a state and a reading made up, and what a check finds in them."""

from dataclasses import replace
from typing import Any

from safety.checks import Check, Finding
from safety.limits import Role
from safety.signals import Command, Health, Reading, Signal
from safety.state import GuardState, Memory, Mode, Run
from safety.track import Mark, Track

from .scene import Scene, cap, limits

NOW = 1000.0
HELD = Command(0.0, True, False, True)
BASE = GuardState(
    Mode.RAMPING,
    NOW,
    0.0,
    command=HELD,
    rest_position_m=0.0,
    memory=Memory(Track(NOW, 0.0, 0.0, 0.0), Track(NOW, 0.0, 0.0, 0.0), (NOW,) * len(Role)),
    run=Run(since_s=NOW, stage_since_s=NOW),
)
READING = Scene().reading()


def remember(**changed: Any) -> GuardState:
    return replace(BASE, memory=replace(BASE.memory, **changed))


def level(quick: float, rate: float = 0.0, **rest: Any) -> Track:
    return Track(NOW, quick, quick, quick - 0.75 * rate, **rest)


def since(waited_s: float) -> float:
    """A moment that lies exactly `waited_s` before NOW' where NOW' is NOW; the numbers are chosen for it."""
    return NOW - waited_s


def found(check: Check, state: GuardState, reading: Reading = READING, **changed: Any) -> list[Finding]:
    return list(check(limits(**{name: cap(value) for name, value in changed.items()}), state, reading))


def pressed(value: float, health: Health = Health.GOOD) -> Reading:
    return replace(READING, pressure=Signal(value, health, NOW))


def mark(**changed: float) -> Mark:
    return Mark(**{"time_s": NOW, "pressure_pa": 0.0, "position_m": 0.0, "output_pa": 0.0, **changed})


ON_SUPPLY = {"supply": lambda value: replace(READING, supply=Signal(value, Health.GOOD, NOW))}
OUTPUT_ASTRAY = replace(READING, output=Signal(90000.0, Health.GOOD, NOW))
VENTING = replace(HELD, vent_open=True)
ASTRAY = replace(BASE, astray=3.0)  # read-backs have disagreed often enough
