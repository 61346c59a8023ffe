"""A sample as bytes of fixed size, for the ring. Demands travel the other way and are named by a number."""

from struct import Struct

from rig.stand.sample import Sample
from safety.signals import Command, Contact, Demand, Health, Reading, Signal
from safety.state import Mode

HEALTHS, MODES = tuple(Health), tuple(Mode)
_HEALTH_NUMBER = {id(health): number for number, health in enumerate(HEALTHS)}
_MODE_NUMBER = {mode.value: number for number, mode in enumerate(MODES)}
_SIGNALS = ("pressure", "position", "supply", "output")
_CONTACTS = (
    "emergency_stop_healthy",
    "guard_closed",
    "supply_valve_open",
    "vent_valve_open",
    "watchdog_armed",
    "identity_right",
)

# scan, time, inferred; signals; contacts; command; demand number, mode, late, lost, written, vented
_LAYOUT = Struct("<qd?" + "dBd" * len(_SIGNALS) + "?Bd" * len(_CONTACTS) + "d???" + "qBdq??")
SIZE = _LAYOUT.size
NO_DEMAND = -1


def packed(sample: Sample, demand_number: int) -> bytes:
    """`demand_number` stands for the sample's demand, NO_DEMAND for none."""
    reading, command = sample.reading, sample.command
    values: list[float] = [reading.scan, reading.time_s, reading.pressure_is_inferred]
    for name in _SIGNALS:
        signal: Signal = getattr(reading, name)
        values += signal.value, _HEALTH_NUMBER[id(signal.health)], signal.time_s
    for name in _CONTACTS:
        contact: Contact = getattr(reading, name)
        values += contact.closed, _HEALTH_NUMBER[id(contact.health)], contact.time_s
    values += command.output_pa, command.supply_open, command.vent_open, command.feed_watchdog
    values += demand_number, _MODE_NUMBER[sample.mode]
    values += sample.late_s, sample.lost_scans, sample.written, sample.vented
    return _LAYOUT.pack(*values)


def demand_number_of(record: bytes) -> int:
    number: int = _LAYOUT.unpack(record)[-6]
    return number


def unpacked(record: bytes, demand: Demand | None) -> Sample:
    """The sample again; `demand` is the one its demand number stands for."""
    fields = iter(_LAYOUT.unpack(record))
    scan, time_s, inferred = next(fields), next(fields), next(fields)
    found: dict[str, Signal | Contact] = {}
    for name in _SIGNALS:
        found[name] = Signal(next(fields), HEALTHS[next(fields)], next(fields))
    for name in _CONTACTS:
        found[name] = Contact(next(fields), HEALTHS[next(fields)], next(fields))
    reading = Reading(scan=scan, time_s=time_s, pressure_is_inferred=inferred, **found)  # type: ignore[arg-type]
    command = Command(next(fields), next(fields), next(fields), next(fields))
    next(fields)
    return Sample(
        reading=reading,
        demand=demand,
        command=command,
        mode=MODES[next(fields)].value,
        late_s=next(fields),
        lost_scans=next(fields),
        written=next(fields),
        vented=next(fields),
    )
