"""What a stand file does not name, so that a run goes without: permissives are as good as the file."""

from collections.abc import Iterator

from rig.stand.model import Stand
from rig.stand.outputs import declared_outputs


def not_watched(stand: Stand) -> tuple[str, ...]:
    """What watches most stands and not this one; a run starts all the same, so a person must know."""
    return tuple(_lacking(stand))


def not_watched_words(stand: Stand) -> str:
    """For the person who starts a run; empty where the stand has everything."""
    lacking = not_watched(stand)
    return f"Not watched on this stand: {', '.join(lacking)}." if lacking else ""


def _lacking(stand: Stand) -> Iterator[str]:
    modules = {name: stand.modules[name] for name in sorted({name for name, _, _ in declared_outputs(stand)})}
    bare = [name for name, module in modules.items() if module.watchdog is None]
    if bare:
        yield f"module watchdog ({', '.join(bare)})"
    unproven = [
        name
        for name, module in modules.items()
        if module.watchdog and module.watchdog.timeout_register is None
    ]
    if unproven:
        yield f"proof that the module watchdog is armed ({', '.join(unproven)})"
    if stand.emergency_stop_healthy is None:
        yield "emergency stop contact"
    if stand.guard_closed is None:
        yield "guard contact"
    unknown = [name for name, module in stand.modules.items() if module.identity is None]
    if unknown:
        yield f"identity register ({', '.join(unknown)})"
    if stand.casing_pressure is None:
        yield "casing transmitter"
    unread = [
        name
        for name, fitted, read_back in (
            ("I/P", True, stand.demand_readback),
            ("supply valve", stand.supply_valve, stand.supply_valve_readback),
            ("vent valve", stand.vent_valve, stand.vent_valve_readback),
        )
        if fitted and read_back is None
    ]
    if unread:
        yield f"output read-back ({', '.join(unread)})"
