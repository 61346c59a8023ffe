"""A stand file in people's words: what is where, what is not fitted, and what needs attention today."""

from collections.abc import Iterator
from datetime import date

from rig.layout import section
from rig.stand.blocks import plan_reads
from rig.stand.explain_channels import analog_words, bit_words
from rig.stand.file_channels import ANALOG_ROLES, BIT_ROLES
from rig.stand.limits import supply_max
from rig.stand.model import Module, RtuLink, Stand
from rig.stand.unwatched import not_watched_words
from rig.stand.wire_use import wire_uses
from rig.units import Dimension, UnitSet

Row = tuple[str, str]
WITHOUT = {  # role: what follows from its absence
    "casing_pressure": "casing pressure is inferred from the I/P's calibration, with its larger uncertainty; "
    "the sheet says so. Nothing notices that the I/P does not do what it is told",
    "supply_pressure": "a starved or excessive supply goes unseen",
    "demand_readback": "what the I/P was really told is not checked",
    "emergency_stop_healthy": "the program cannot see the emergency stop, which must cut the air by itself",
    "guard_closed": "the program cannot see whether the guard is closed",
    "supply_valve": "the program cannot shut the supply",
    "vent_valve": "the casing is emptied through the I/P alone, slowly, and not at all when that sticks",
    "supply_valve_readback": "that the supply valve obeys is not checked",
    "vent_valve_readback": "that the vent valve obeys is seen from the pressure alone",
}


def role_name(role: str) -> str:
    """As people say it: 'Casing pressure'."""
    return role.replace("readback", "read-back").replace("_", " ").capitalize()


def explain(stand: Stand, units: UnitSet, today: date) -> str:
    """Many lines of text."""
    lines = [stand.name, *([stand.description] if stand.description else [])]
    if stand.source:
        lines.append(f"from {stand.source}")
    if stand.built_in:
        lines.append("built in: answered by the simulated stand that the command starts itself")
    lines += section("The stand", _whole(stand, units))
    lines += section("Links", _links(stand))
    lines += section("Modules", ((name, _module(module)) for name, module in stand.modules.items()))
    lines += section("Signals (addresses zero-based, as sent on the wire)", _channels(stand, units))
    lines += section("Not fitted, and what follows", _not_fitted(stand))
    lines += section("Needs attention", (("", words) for words in attention(stand, today)))
    lines += section("Notes", (("", note) for note in stand.notes))
    return "\n".join(lines)


def _whole(stand: Stand, units: UnitSet) -> Iterator[Row]:
    yield "Casing pressure", f"never above {units.text(Dimension.PRESSURE, stand.maximum_pressure_pa)}"
    yield "Air supply", _supply(stand, units)
    if stand.maximum_rate_pa_per_s is not None:
        rate = units.text(Dimension.PRESSURE_RATE, stand.maximum_rate_pa_per_s)
        yield "Demand", f"never faster than {rate}"
    blocks = plan_reads(stand)
    reads = f"{len(blocks)} read{'s' if len(blocks) > 1 else ''}"
    yield "Scans", f"{stand.scans_per_s:g} a second, {reads} each"


def _supply(stand: Stand, units: UnitSet) -> str:
    nominal = f"{units.text(Dimension.PRESSURE, stand.supply_pressure_pa)} nominal"
    if stand.supply_pressure is None:
        return f"{nominal}, not measured"
    most = units.text(Dimension.PRESSURE, supply_max(stand).value)
    return f"{nominal}; a run trips above {most}, and below the rated lift-off of the valve"


def _links(stand: Stand) -> Iterator[Row]:
    uses = wire_uses(stand)
    for name, link in stand.links.items():
        if not isinstance(link, RtuLink):
            one = ", one connection only" if link.one_connection else ""
            yield (
                name,
                f"Modbus TCP, {link.host} port {link.port}, answers within {_ms(link.deadline_s)}{one}",
            )
            continue
        stop = f"{link.stop_bits} stop bit{'s' if link.stop_bits > 1 else ''}"
        yield (
            name,
            (
                f"Modbus RTU, {link.device}, {link.baud} baud, parity {link.parity}, {stop}; answers within "
                f"{_ms(link.deadline_s)}, late ones within {_ms(link.slowest_reply_s)}"
            ),
        )
        use = uses[name]
        share = use.seconds * stand.scans_per_s
        yield "", f"a scan takes {use.arithmetic} of the line, {100 * share:.0f} % of its time"


def _module(module: Module) -> str:
    parts = [f"unit {module.unit} on {module.link}", f"reads up to {module.max_read} registers at once"]
    if not module.read_gaps:
        parts.append("refuses to read across gaps")
    if module.write_function is not None:
        parts.append(f"registers are written by function {module.write_function} only")
    if module.coil_write_function is not None:
        parts.append(f"coils are written by function {module.coil_write_function} only")
    if module.identity is not None:
        identity = module.identity
        parts.append(f"known by {identity.table.value[:-1]} {identity.address} holding {identity.value:#06x}")
    return "; ".join([*parts, *_watchdog(module)])


def _watchdog(module: Module) -> Iterator[str]:
    dog = module.watchdog
    if dog is None:
        return
    armed = (
        "always armed"
        if dog.timeout_register is None
        else f"armed by holding register {dog.timeout_register}"
    )
    food = "a write" if dog.fed_by == "writes" else "a request"
    yield f"its watchdog takes the outputs down after {_ms(dog.timeout_s)} without {food}, {armed}"
    if dog.latched and dog.reset_register is None:
        yield "once tripped it stays so until the module is switched off and on"
    elif dog.latched:
        yield f"once tripped it stays so until holding register {dog.reset_register} gets {dog.reset_value}"


def _ms(seconds: float) -> str:
    return f"{1000 * seconds:g} ms"


def _channels(stand: Stand, units: UnitSet) -> Iterator[Row]:
    for role in ANALOG_ROLES:
        if (channel := getattr(stand, role)) is not None:
            for i, words in enumerate(analog_words(channel, units)):
                yield ("" if i else role_name(role)), words
    for role in BIT_ROLES:
        if (bit := getattr(stand, role)) is not None:
            yield role_name(role), bit_words(bit)


def _not_fitted(stand: Stand) -> Iterator[Row]:
    for role, follows in WITHOUT.items():
        if getattr(stand, role) is None:
            yield role_name(role), follows
    output_modules = {
        channel.module
        for channel in (stand.demand_output, stand.supply_valve, stand.vent_valve)
        if channel is not None
    }
    for lacking, follows in missing_against_movement(stand):
        yield "For hands in", f"{lacking}: {follows}"
    for name in sorted(output_modules):
        if stand.modules[name].watchdog is None:
            yield "Watchdog", f"{name} keeps its last outputs when the program or the cable dies"


def missing_against_movement(stand: Stand) -> tuple[Row, ...]:
    """What the stand should have before hands go into the mechanism, and what follows without it."""
    has = stand.hands_in
    rows = []
    if not has.isolating_valve:
        follows = "when link, I/P or supply fail the casing empties and the spring moves the stem"
        rows.append(("no isolating valve at the casing", follows))
    if not (has.mechanical_stop or has.block):
        rows.append(("no mechanical stop or block", "nothing but air holds the stem, set one of your own"))
    return tuple(rows)


def attention(stand: Stand, today: date) -> Iterator[str]:
    """What is not watched, calibrations out of date or not stated, signals that cannot fail visibly, a vent
    that needs power."""
    if words := not_watched_words(stand):
        yield f"{words} A run starts all the same"
    for role in ANALOG_ROLES:
        channel = getattr(stand, role)
        if channel is None:
            continue
        calibrated, due = channel.calibration.calibrated, channel.calibration.due
        if due is None:
            counts = "" if stand.built_in else "; it counts as overdue"
            yield f"{role_name(role)}: no due date of its calibration is given{counts}"
        elif stand.overdue(channel.calibration, today):
            yield f"{role_name(role)}: calibration OVERDUE since {due}; what it measures proves nothing"
        if calibrated is not None and calibrated > today:
            yield f"{role_name(role)}: calibrated on {calibrated}, a day that is still to come"
        measured = role != "demand_output"
        if measured and channel.live is None and channel.number.value != "float32":
            yield f"{role_name(role)}: no live range is given, so a broken wire looks like a measurement"
    if stand.vent_valve is not None and not stand.vent_valve.inverted:
        yield "Vent valve: vents only with power; without it the casing stays full"
