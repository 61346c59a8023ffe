"""The stand file's model: what machine is this, and where are its signals? No I/O.

All values SI. `raw` is the number in the register after type and word order are applied.
"""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


class Table(StrEnum):
    HOLDING = "holding registers"
    INPUT = "input registers"
    COILS = "coils"
    DISCRETE = "discrete inputs"


class Number(StrEnum):
    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"
    FLOAT32 = "float32"


class WordOrder(StrEnum):
    HIGH_FIRST = "high word first"
    LOW_FIRST = "low word first"


@dataclass(frozen=True, slots=True)
class TcpLink:
    name: str
    host: str
    port: int
    deadline_s: float = 0.05
    one_connection: bool = False  # the device accepts one connection only


@dataclass(frozen=True, slots=True)
class RtuLink:
    name: str
    device: str
    baud: int = 19200
    parity: str = "even"  # even | odd | none
    stop_bits: int = 1
    deadline_s: float = 0.2
    slowest_reply_s: float = 0.5  # how late an answer may still arrive after its deadline


@dataclass(frozen=True, slots=True)
class Watchdog:
    """The module's own communication watchdog."""

    timeout_s: float
    fed_by: str  # "any request" | "writes"
    timeout_register: int | None = None  # holding register that takes the timeout; 0 disarms
    timeout_unit_s: float = 0.001  # seconds per count of that register
    latched: bool = False  # stays tripped until `reset_register` is written with `reset_value`
    reset_register: int | None = None
    reset_value: int = 1


@dataclass(frozen=True, slots=True)
class Identity:
    """A register that always holds `value`: proves that the right device answers."""

    table: Table
    address: int
    value: int


@dataclass(frozen=True, slots=True)
class Module:
    """One Modbus unit on a link. Addresses are zero-based throughout."""

    name: str
    link: str
    unit: int
    max_read: int = 125  # registers in one read
    read_gaps: bool = True  # False: refuses a block that spans registers it does not have
    write_function: int | None = None  # 6, 16 or None for either (single: 6)
    coil_write_function: int | None = None  # 5, 15 or None for either
    watchdog: Watchdog | None = None
    identity: Identity | None = None


@dataclass(frozen=True, slots=True)
class Scale:
    """Two points raw -> SI, straight line between and beyond."""

    raw_low: float
    value_low: float
    raw_high: float
    value_high: float

    def to_si(self, raw: float) -> float:
        return self.value_low + (raw - self.raw_low) * self.per_count

    def to_raw(self, value: float) -> float:
        return self.raw_low + (value - self.value_low) / self.per_count

    @property
    def per_count(self) -> float:
        return (self.value_high - self.value_low) / (self.raw_high - self.raw_low)

    @property
    def span(self) -> float:
        return abs(self.value_high - self.value_low)


@dataclass(frozen=True, slots=True)
class LiveRange:
    """Raw values: failed at or beyond `failed_*`, good within `low..high`, in between out of range."""

    failed_low: float
    low: float
    high: float
    failed_high: float


@dataclass(frozen=True, slots=True)
class Calibration:
    accuracy: float  # stated accuracy, half width in SI of the channel (0.1 % of span -> 0.001 * span)
    calibrated: date | None = None
    due: date | None = None
    certificate: str = ""


@dataclass(frozen=True, slots=True)
class AnalogChannel:
    role: str  # see Stand
    module: str
    table: Table
    address: int
    number: Number
    word_order: WordOrder
    scale: Scale
    live: LiveRange | None
    calibration: Calibration
    lag_s: float = 0.0  # first-order lag of the transmitter, where stated


@dataclass(frozen=True, slots=True)
class BitChannel:
    role: str
    module: str
    table: Table
    address: int
    bit: int | None = None  # bit in a register (0 = least significant), None for coils and discrete inputs
    inverted: bool = False  # True: 0 on the wire is the healthy / energised state


@dataclass(frozen=True, slots=True)
class AgainstMovement:
    """What keeps the stem where it is while hands are in the mechanism, whatever the air does."""

    isolating_valve: bool = False  # by hand, at the casing: shut, it keeps the air in
    mechanical_stop: bool = False  # set against the stem, so that it cannot go farther
    block: bool = False  # laid between yoke and stem

    @property
    def any(self) -> bool:
        return self.isolating_valve or self.mechanical_stop or self.block


@dataclass(frozen=True, slots=True)
class Stand:
    """A whole test stand. Roles not fitted are None."""

    name: str
    scans_per_s: float
    maximum_pressure_pa: float  # the stand's own cap on casing pressure
    supply_pressure_pa: float  # nominal
    links: dict[str, TcpLink | RtuLink]
    modules: dict[str, Module]
    demand_output: AnalogChannel
    stem_position: AnalogChannel
    casing_pressure: AnalogChannel | None = None
    supply_pressure: AnalogChannel | None = None
    demand_readback: AnalogChannel | None = None
    emergency_stop_healthy: BitChannel | None = None
    guard_closed: BitChannel | None = None
    supply_valve: BitChannel | None = None  # output; energised = open
    vent_valve: BitChannel | None = None  # output; `inverted` where de-energised = venting
    supply_valve_readback: BitChannel | None = None
    vent_valve_readback: BitChannel | None = None
    description: str = ""
    maximum_rate_pa_per_s: float | None = None
    built_in: bool = False  # answered by the simulated stand that the command starts itself
    source: str = ""  # path of the file it came from
    notes: tuple[str, ...] = field(default_factory=tuple)
    hands_in: AgainstMovement = AgainstMovement()

    def overdue(self, calibration: Calibration, on: date) -> bool:
        """Whether it was due before that day, or on no day that the file tells. The built-in stand's
        instruments are numbers: never."""
        return not self.built_in and (calibration.due is None or calibration.due < on)
