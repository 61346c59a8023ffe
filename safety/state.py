"""The guard's modes, the one table of what may follow what, and the state it carries from scan to scan."""

# ruff: noqa: RUF009 - the defaults are frozen values, shared on purpose

from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf
from typing import TypeAlias

from safety.signals import SAFE_COMMAND, Command, Demand
from safety.track import Mark, Track


class Mode(StrEnum):
    RESTING = "resting"  # outputs safe, nothing asked
    RAMPING = "ramping"  # the output follows a procedure's demands
    VENTING = "venting"  # orderly stop: output down, then vent
    TRIPPED = "tripped"  # outputs safe, cause latched, watching that the pressure goes
    ESCALATED = "escalated"  # it did not go: the module's watchdog is left to take the outputs down
    HANDS_IN = "hands in"  # hands in the mechanism: nothing may move, outputs frozen


class PersonEvent(StrEnum):
    ARM = "arm"
    STOP = "stop"
    SAFE_NOW = "safe now"
    CLEAR = "clear"
    HANDS_IN = "hands in"
    HANDS_OUT = "hands out"


class GuardEvent(StrEnum):
    """What the guard itself brings about."""

    TRIP = "trip"
    PRESSURE_FOUND = "pressure found at rest"
    VENTED = "pressure gone"
    VENTED_LATCHED = "pressure gone, trip latched"
    NOT_VENTING = "pressure does not go"
    HANDS_OUT_LATCHED = "hands out, trip latched"


Event: TypeAlias = PersonEvent | GuardEvent

# The whole of what may follow what. A pair that is not here changes nothing.
TRANSITIONS: dict[tuple[Mode, Event], Mode] = {
    (Mode.RESTING, PersonEvent.ARM): Mode.RAMPING,
    (Mode.RESTING, PersonEvent.SAFE_NOW): Mode.TRIPPED,
    (Mode.RESTING, GuardEvent.TRIP): Mode.TRIPPED,
    (Mode.RESTING, GuardEvent.PRESSURE_FOUND): Mode.VENTING,
    (Mode.RAMPING, PersonEvent.STOP): Mode.VENTING,
    (Mode.RAMPING, PersonEvent.SAFE_NOW): Mode.TRIPPED,
    (Mode.RAMPING, PersonEvent.HANDS_IN): Mode.HANDS_IN,
    (Mode.RAMPING, GuardEvent.TRIP): Mode.TRIPPED,
    (Mode.VENTING, PersonEvent.SAFE_NOW): Mode.TRIPPED,
    (Mode.VENTING, GuardEvent.TRIP): Mode.TRIPPED,
    (Mode.VENTING, GuardEvent.VENTED): Mode.RESTING,
    (Mode.VENTING, GuardEvent.VENTED_LATCHED): Mode.TRIPPED,
    (Mode.TRIPPED, PersonEvent.CLEAR): Mode.RESTING,
    (Mode.TRIPPED, PersonEvent.SAFE_NOW): Mode.TRIPPED,
    (Mode.TRIPPED, GuardEvent.TRIP): Mode.TRIPPED,
    (Mode.TRIPPED, GuardEvent.NOT_VENTING): Mode.ESCALATED,
    (Mode.ESCALATED, PersonEvent.CLEAR): Mode.RESTING,
    (Mode.ESCALATED, PersonEvent.SAFE_NOW): Mode.ESCALATED,
    (Mode.ESCALATED, GuardEvent.TRIP): Mode.ESCALATED,
    (Mode.HANDS_IN, PersonEvent.HANDS_OUT): Mode.RAMPING,
    (Mode.HANDS_IN, GuardEvent.HANDS_OUT_LATCHED): Mode.VENTING,
    (Mode.HANDS_IN, PersonEvent.SAFE_NOW): Mode.HANDS_IN,
    (Mode.HANDS_IN, GuardEvent.TRIP): Mode.HANDS_IN,
}


# Causes after which the pressure signal alone is not believed to say that the air is gone. Those of the
# stem are among them because its signal and the pressure's may be exchanged.
DISCREDITING = frozenset(
    {
        "casing pressure signal lost",
        "pressure jumped",
        "pressure signal stuck",
        "pressure not falling",
        "pressure not following",
        "pressure lost",
        "position jumped",
        "over-travel",
        "stem moved without pressure",
        "stem jammed",
        "stem not moving",
    }
)
GAUGE = "Look at a gauge: the pressure signal may be wrong."


@dataclass(frozen=True, slots=True)
class Trip:
    """A cause, as it was when it was seen."""

    code: str
    text: str
    value: float
    limit: float
    unit: str
    time_s: float


@dataclass(frozen=True, slots=True)
class Memory:
    """What the guard keeps of the readings. A mark is None where no progress of its kind is due."""

    pressure: Track = Track()
    position: Track = Track()
    last_good: tuple[float, ...] = ()  # when each required signal was last good, in the limits' order
    same_time: int = 0  # scans in a row that brought the same time
    falling: Mark | None = None  # pressure ought to fall: where it last made progress
    rising: Mark | None = None  # pressure ought to rise: likewise
    unmoved_pressure: Mark | None = None  # where the pressure last changed
    unmoved_stem: Mark | None = None  # where the stem last moved, mid-travel
    stuck: Mark | None = None  # when the pressure signal last changed by one count


@dataclass(frozen=True, slots=True)
class Run:
    """What the guard keeps of the procedure."""

    since_s: float = 0.0
    demand: Demand | None = None  # last one accepted
    unfresh: int = 0  # scans since then
    stage_since_s: float = 0.0


@dataclass(frozen=True, slots=True)
class GuardState:
    """All that the guard remembers. The fields up to `vented` are for everyone, the rest is its own."""

    mode: Mode
    time_s: float  # of the last reading
    entered_s: float  # when the mode was entered
    trips: tuple[Trip, ...] = ()  # first cause first, each code once
    refusals: tuple[str, ...] = ()  # what was asked in this scan and not done, and why
    limited: tuple[str, ...] = ()  # what of the demand was held back in this scan, and why
    command: Command = SAFE_COMMAND  # last permitted
    rest_position_m: float | None = None  # learnt while resting
    vented: bool = False  # the casing is known to hold no pressure

    vented_at_s: float = -inf  # when that was last so
    valves_since_s: float = 0.0  # both valves have been commanded as they are since
    astray: float = 0.0  # scans whose read-backs disagreed, less what has been forgotten
    outputs: tuple[tuple[float, float], ...] = ()  # (time, output) within the window
    since: tuple[tuple[str, float], ...] = ()  # findings that have not lasted long enough to trip
    memory: Memory = Memory()
    run: Run = Run()
    held: Mark | None = None  # what hands in the mechanism rely on

    @property
    def first_cause(self) -> Trip | None:
        return self.trips[0] if self.trips else None

    @property
    def pressure_doubted(self) -> bool:
        """A cause speaks against the pressure signal: that it reads zero proves nothing."""
        return any(trip.code in DISCREDITING for trip in self.trips)


def follow(state: GuardState, event: Event, time_s: float) -> GuardState | None:
    """The state after `event`, or None where the table has no such step.

    A change of mode forgets every half-finished observation: no timer runs from one mode into another.
    """
    mode = TRANSITIONS.get((state.mode, event))
    if mode is None or mode is state.mode:
        return None if mode is None else state
    kept = state.memory  # levels and signs of life stay
    memory = Memory(kept.pressure, kept.position, kept.last_good, kept.same_time)
    return replace(state, mode=mode, entered_s=time_s, memory=memory, since=(), held=None)
