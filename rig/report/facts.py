"""What was tested, on what, and how: the three lists at the head of a sheet."""

from collections.abc import Iterable
from datetime import date, datetime
from html import escape

from rig.analysis.adjuster import turns_text
from rig.profile.model import Profile
from rig.record.reader import Record
from rig.report.words import pressure_range_text, travel_text
from rig.stand.model import AnalogChannel, Stand
from rig.units import Dimension, UnitSet

Fact = tuple[str, str, bool]  # name, words, whether it needs attention


def fact_list(facts: Iterable[Fact]) -> str:
    def one(name: str, words: str, attention: bool) -> str:
        return f"<dt>{escape(name)}</dt><dd{' class=warn' if attention else ''}>{escape(words)}</dd>"

    return "<dl>" + "".join(one(*fact) for fact in facts if fact[1]) + "</dl>"


def valve_facts(profile: Profile, units: UnitSet, serial_number: str) -> list[Fact]:
    bench = pressure_range_text(units, profile.bench_lower_pa, profile.bench_upper_pa)
    load = profile.needed_seat_load_n
    return [
        ("Serial number", serial_number or profile.serial_number or "not given", False),
        ("Action", profile.action.value, False),
        ("Effective area", units.text(Dimension.AREA, profile.area_m2, 3), False),
        ("Rated travel", travel_text(units, profile.rated_travel_m), False),
        ("Bench range", bench, False),
        ("meant on", profile.basis.value, False),
        ("decided by", profile.decision_rule.value, False),
        ("Required seat load", units.text(Dimension.FORCE, load, 3) if load else "", False),
        ("Casing maximum", units.text(Dimension.PRESSURE, profile.casing_maximum_pa, 3), False),
        ("Supply in service", units.text(Dimension.PRESSURE, profile.supply_pa, 3), False),
    ]


def stand_facts(record: Record, units: UnitSet, on: date | None) -> list[Fact]:
    stand = record.stand
    facts: list[Fact] = [("Stand", stand.name, False)]
    if stand.casing_pressure is not None:
        facts += _channel(stand, "Casing pressure", stand.casing_pressure, Dimension.PRESSURE, units, on)
    else:
        facts.append(("Casing pressure", "inferred from the I/P", True))
        facts += _channel(stand, "I/P converter", stand.demand_output, Dimension.PRESSURE, units, on)
    facts += _channel(stand, "Stem position", stand.stem_position, Dimension.LENGTH, units, on)
    if stand.supply_pressure is not None:
        facts += _channel(stand, "Supply pressure", stand.supply_pressure, Dimension.PRESSURE, units, on)
    return facts


def _channel(
    stand: Stand, name: str, channel: AnalogChannel, dimension: Dimension, units: UnitSet, on: date | None
) -> list[Fact]:
    calibration = channel.calibration
    accuracy = f"± {units.text(dimension, calibration.accuracy, 2)}"
    if calibration.due is None:
        return [(name, accuracy, False), ("calibration", "no due date given", True)]
    overdue = on is not None and stand.overdue(calibration, on)
    done = f"{calibration.calibrated.isoformat()}, " if calibration.calibrated else ""
    words = f"{done}{'OVERDUE since' if overdue else 'due'} {calibration.due.isoformat()}"
    return [(name, accuracy, False), ("calibrated", words, overdue)]


def run_facts(record: Record, units: UnitSet) -> list[Fact]:
    run, samples = record.run, record.samples
    cycles = int(samples.cycle.max()) if samples.cycle.size else 0
    minutes = float(samples.time_s[-1] - samples.time_s[0]) / 60.0 if samples.time_s.size > 1 else 0.0
    facts: list[Fact] = [
        ("Started", _when(run.get("started")), False),
        ("Tested by", str(run.get("person") or ""), False),
        ("Cycles", f"{cycles} in {minutes:.1f} min", False),
        ("ended", _ended(record), False),
        ("Scans", f"{samples.time_s.size}, {record.lost_scans} lost", False),
    ]
    cap = _cap(run.get("limits"), units)
    if cap:
        facts.append(("Pressure cap", cap, False))
    facts += _spring_facts(run.get("spring setting"), units)
    options = run.get("options")
    accepted = options.get("calibration overdue accepted by") if isinstance(options, dict) else None
    if accepted:
        facts.append(("Calibration overdue", f"accepted by {accepted}", True))
    facts += _not_watched(run.get("not watched"), options)
    if not record.closed or record.torn:
        facts.append(("Record", "ends before the run was ended", True))
    if record.stand.built_in:
        facts.append(("Readings", "from the simulated stand", True))
    return facts


def _not_watched(lacking: object, options: object) -> list[Fact]:
    """What the stand file did not name, and who went on without it."""
    if not isinstance(lacking, list) or not lacking:
        return []
    accepted = options.get("not watched accepted by") if isinstance(options, dict) else None
    by = f"; accepted by {accepted}" if accepted else ""
    return [("Not watched", f"{', '.join(map(str, lacking))}{by}", True)]


def _ended(record: Record) -> str:
    """Why there were no more cycles; empty where the record does not say."""
    return next((event.text for event in reversed(record.events) if event.kind == "cycles"), "")


def _spring_facts(setting: object, units: UnitSet) -> list[Fact]:
    """How the adjuster was turned before this check, where it was set by step and look."""
    looks = setting.get("looks") if isinstance(setting, dict) else None
    if not isinstance(looks, list) or not looks:
        return []
    seen = [units.text(Dimension.PRESSURE, float(look["lower end (Pa)"]), decimals=2) for look in looks]
    turned = sum(float(look["turns before it"]) for look in looks)
    way = f"{turns_text(turned)} {'in' if turned > 0.0 else 'out'}" if turned else "not turned"
    return [
        ("Lower end as found", seen[0], False),
        ("Adjuster", way, False),
        ("Lower end as left", seen[-1], False),
    ]


def started_on(record: Record) -> date | None:
    try:
        return datetime.fromisoformat(str(record.run.get("started"))).date()
    except ValueError:
        return None


def _when(started: object) -> str:
    try:
        when = datetime.fromisoformat(str(started))
    except ValueError:
        return str(started or "not recorded")
    return when.isoformat(" ", "seconds")


def _cap(limits: object, units: UnitSet) -> str:
    """The guard's cap on the casing pressure with its source, where run.json lists it."""
    for limit in limits if isinstance(limits, list) else []:
        if not isinstance(limit, dict) or limit.get("name") != "pressure_max_pa":
            continue
        value = limit.get("value")
        if isinstance(value, int | float):
            cap = units.text(Dimension.PRESSURE, float(value), 3)
            return f"{cap} ({limit.get('source', 'source not given')})"
    return ""
