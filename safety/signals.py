"""What goes into the guard and what comes out of it: readings, demands, commands.

All quantities are SI: pressures gauge [Pa], positions and travels [m], times [s].
"""

from dataclasses import dataclass
from enum import Enum
from math import nan


class Health(Enum):
    """How far a signal can be believed."""

    GOOD = "good"
    OUT_OF_RANGE = (
        "out of range"  # outside the live range yet not at a failure level (NE 43: hold and time out)
    )
    FAILED = "failed"  # at a failure level, or a failed float (NaN)
    UNKNOWN = "unknown"  # no valid answer came for it
    ABSENT = "not fitted"


@dataclass(frozen=True, slots=True)
class Signal:
    """One measured value, SI; `value` is nan unless `health` is GOOD or OUT_OF_RANGE."""

    value: float
    health: Health
    time_s: float  # when it was measured; an UNKNOWN signal keeps the time of the failed try

    @property
    def good(self) -> bool:
        return self.health is Health.GOOD


@dataclass(frozen=True, slots=True)
class Contact:
    """One switch input in its healthy sense: `closed` is True when the stand says all is well."""

    closed: bool
    health: Health
    time_s: float


NO_SIGNAL = Signal(nan, Health.ABSENT, 0.0)
NO_CONTACT = Contact(False, Health.ABSENT, 0.0)


@dataclass(frozen=True, slots=True)
class Reading:
    """All that one scan saw. Position is in the transmitter's own reference and sense."""

    scan: int
    time_s: float
    pressure: Signal  # casing, gauge [Pa]
    position: Signal  # stem position [m]
    supply: Signal = NO_SIGNAL  # air supply, gauge [Pa]
    output: Signal = NO_SIGNAL  # read-back of the I/P demand, gauge [Pa]
    emergency_stop_healthy: Contact = NO_CONTACT
    guard_closed: Contact = NO_CONTACT
    supply_valve_open: Contact = NO_CONTACT  # read-back of the solenoid outputs
    vent_valve_open: Contact = NO_CONTACT
    watchdog_armed: Contact = NO_CONTACT
    identity_right: Contact = NO_CONTACT  # the fixed-value register of the stand file holds its value
    pressure_is_inferred: bool = False  # no casing transmitter: pressure comes from the I/P's calibration


@dataclass(frozen=True, slots=True)
class Demand:
    """What a procedure asks for. The guard walks the output towards `pressure_pa` at `rate_pa_per_s`."""

    pressure_pa: float
    rate_pa_per_s: float
    stage: str  # plain words, shown and recorded
    cycle: int = 0  # 0: before, between or after the measured cycles
    vent: bool = False  # open the vent valve, close the supply valve
    watch_for: str = ""  # what the person should look at now
    progress: float = 0.0  # share of the procedure done, 0..1
    remaining_s: float = 0.0
    serial: int = 0  # counts demands, so that the guard can tell a fresh one from an old one


@dataclass(frozen=True, slots=True)
class Command:
    """What may be written to the stand in this scan."""

    output_pa: float  # I/P demand, gauge [Pa]
    supply_open: bool
    vent_open: bool
    feed_watchdog: bool  # False: let the module's own watchdog take the outputs down


SAFE_COMMAND = Command(0.0, False, True, True)
