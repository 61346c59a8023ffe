"""The columns of samples.csv and events.csv: their names, and one row of each. SI throughout."""

from rig.stand.sample import Sample
from safety.signals import Contact, Health, Signal

SAMPLE_COLUMNS = (
    "time (s)",
    "scan",
    "cycle",
    "stage",
    "mode",
    "demand (Pa)",
    "demand rate (Pa/s)",
    "demand vents",
    "demand number",
    "output (Pa)",
    "supply valve opened",
    "vent valve opened",
    "watchdog fed",
    "command written",
    "vented",
    "casing pressure (Pa)",
    "pressure health",
    "pressure age (s)",
    "position (m)",
    "position health",
    "position age (s)",
    "supply (Pa)",
    "supply health",
    "output read back (Pa)",
    "emergency stop healthy",
    "guard closed",
    "supply valve seen open",
    "vent valve seen open",
    "watchdog armed",
    "right device",
    "pressure inferred",
    "late (s)",
    "scans lost",
)
EVENT_COLUMNS = ("time (s)", "kind", "text")
SAMPLE_HEADER = ",".join(SAMPLE_COLUMNS) + "\n"
EVENT_HEADER = ",".join(EVENT_COLUMNS) + "\n"

_GOOD, _ABSENT = Health.GOOD, Health.ABSENT
_HEALTH_WORD = {id(health): health.value for health in Health}  # by identity: a row must cost little


def quoted(text: str) -> str:
    """One CSV field on one line: line ends become spaces, quotes are doubled where needed (RFC 4180)."""
    line = " ".join(text.split()) if "\n" in text or "\r" in text else text
    if "," in line or '"' in line:
        return '"' + line.replace('"', '""') + '"'
    return line


def event_row(time_s: float, kind: str, text: str) -> str:
    return f"{time_s:.6f},{quoted(kind)},{quoted(text)}\n"


def _age(signal: Signal, now_s: float) -> str:
    """How much older than the scan a value is [s]; empty when it is of the same instant."""
    age_s = now_s - signal.time_s
    return f"{age_s:.6f}" if age_s and signal.health is not _ABSENT else ""


def _yes_no(contact: Contact) -> str:
    if contact.health is _GOOD:
        return "yes" if contact.closed else "no"
    return "" if contact.health is _ABSENT else "unknown"


def _pa(value: float) -> str:
    return f"{value:.2f}" if value == value else ""  # not equal to itself: nan


def sample_row(sample: Sample) -> str:
    """One scan as one line; a value that was not there is an empty field. Texts carry no commas here."""
    r, c = sample.reading, sample.command
    now = r.time_s
    demand = sample.demand
    if demand is None:
        asked = f"0,,{sample.mode},,,,"
    else:
        asked = (
            f"{demand.cycle},{quoted(demand.stage)},{sample.mode},{demand.pressure_pa:.2f},"
            f"{demand.rate_pa_per_s:.2f},{'yes' if demand.vent else 'no'},{demand.serial}"
        )
    x = r.position.value
    return (
        f"{now:.6f},{r.scan},{asked},{c.output_pa:.2f},"
        f"{'yes' if c.supply_open else 'no'},{'yes' if c.vent_open else 'no'},"
        f"{'yes' if c.feed_watchdog else 'no'},{'yes' if sample.written else 'no'},"
        f"{'yes' if sample.vented else 'no'},"
        f"{_pa(r.pressure.value)},{_HEALTH_WORD[id(r.pressure.health)]},{_age(r.pressure, now)},"
        f"{f'{x:.8f}' if x == x else ''},{_HEALTH_WORD[id(r.position.health)]},{_age(r.position, now)},"
        f"{_pa(r.supply.value)},{_HEALTH_WORD[id(r.supply.health)]},{_pa(r.output.value)},"
        f"{_yes_no(r.emergency_stop_healthy)},{_yes_no(r.guard_closed)},{_yes_no(r.supply_valve_open)},"
        f"{_yes_no(r.vent_valve_open)},{_yes_no(r.watchdog_armed)},{_yes_no(r.identity_right)},"
        f"{'yes' if r.pressure_is_inferred else 'no'},{sample.late_s:.6f},{sample.lost_scans}\n"
    )
