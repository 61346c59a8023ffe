"""Stands for tests of the link and the scan, and the mock device that answers for them."""

from dataclasses import replace

from rig.stand.clock import VirtualClock
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.model import (
    AnalogChannel,
    BitChannel,
    Calibration,
    Identity,
    LiveRange,
    Module,
    Number,
    RtuLink,
    Scale,
    Stand,
    Table,
    TcpLink,
    Watchdog,
    WordOrder,
)
from rig.stand.outputs import Outputs
from rig.stand.scanner import Scanner
from safety.limits import Cap, Limits, Role, expect
from simulator.mock import MockDevice as Mock

PSI, INCH = 6894.757, 0.0254  # rounded: made-up stands need no more
MICROAMPERES = LiveRange(3600, 3800, 20500, 21000)  # NAMUR NE 43 levels
IDENTITY = 0x5A31


def channel(
    role: str,
    module: str,
    address: int,
    full: float,
    *,
    table: Table = Table.INPUT,
    number: Number = Number.UINT16,
    order: WordOrder = WordOrder.HIGH_FIRST,
    live: LiveRange | None = MICROAMPERES,
) -> AnalogChannel:
    """4-20 mA counted in microamperes, 0 to `full` [SI]; a float holds SI itself."""
    if number is Number.FLOAT32:
        scale, live = Scale(0.0, 0.0, 1.0, 1.0), None
    else:
        scale = Scale(4000, 0.0, 20000, full)
    return AnalogChannel(role, module, table, address, number, order, scale, live, Calibration(0.001 * full))


def stand(**changes: object) -> Stand:
    """Everything fitted, one module, one TCP link."""
    watchdog = Watchdog(0.5, "any request", timeout_register=40)
    whole = Stand(
        name="Bay 3, brine hall",
        scans_per_s=50.0,
        maximum_pressure_pa=50 * PSI,
        supply_pressure_pa=45 * PSI,
        links={"bay": TcpLink("bay", "127.0.0.1", 502)},
        modules={
            "io": Module("io", "bay", 1, watchdog=watchdog, identity=Identity(Table.INPUT, 30, IDENTITY))
        },
        demand_output=channel("demand output", "io", 0, 60 * PSI, table=Table.HOLDING, live=None),
        casing_pressure=channel("casing pressure", "io", 0, 60 * PSI),
        stem_position=channel("stem position", "io", 1, 2 * INCH),
        supply_pressure=channel("supply pressure", "io", 2, 100 * PSI),
        demand_readback=channel("demand read-back", "io", 3, 60 * PSI, live=None),
        emergency_stop_healthy=BitChannel("emergency stop", "io", Table.DISCRETE, 0),
        guard_closed=BitChannel("guard", "io", Table.DISCRETE, 1),
        supply_valve=BitChannel("supply valve", "io", Table.COILS, 0),
        vent_valve=BitChannel("vent valve", "io", Table.COILS, 1, inverted=True),
        supply_valve_readback=BitChannel("supply valve read-back", "io", Table.DISCRETE, 2),
        vent_valve_readback=BitChannel("vent valve read-back", "io", Table.DISCRETE, 3),
    )
    return replace(whole, **changes)  # type: ignore[arg-type]


def with_module(given: Stand, **changes: object) -> Stand:
    """The stand with its module `io` changed."""
    module = replace(given.modules["io"], **changes)  # type: ignore[arg-type]
    return replace(given, modules=given.modules | {"io": module})


def two_unit_stand(link: TcpLink | RtuLink | None = None) -> Stand:
    """Outputs in unit 1, inputs in unit 2, on one line."""
    line = link or RtuLink("line", "/dev/null", parity="none")
    outs = Module("outs", line.name, 1, watchdog=Watchdog(2.0, "any request", timeout_register=40))
    whole = stand()
    return replace(
        whole,
        links={line.name: line},
        modules={"outs": outs, "ins": Module("ins", line.name, 2)},
        demand_output=replace(whole.demand_output, module="outs"),
        casing_pressure=channel("casing pressure", "ins", 0, 60 * PSI),
        stem_position=channel("stem position", "ins", 1, 2 * INCH),
        supply_pressure=None,
        demand_readback=None,
        emergency_stop_healthy=None,
        guard_closed=None,
        supply_valve=BitChannel("supply valve", "outs", Table.COILS, 0),
        vent_valve=BitChannel("vent valve", "outs", Table.COILS, 1, inverted=True),
        supply_valve_readback=BitChannel("supply valve read-back", "outs", Table.COILS, 0),
        vent_valve_readback=BitChannel("vent valve read-back", "outs", Table.COILS, 1, inverted=True),
    )


def healthy_mock() -> Mock:
    """Answers for `stand()`: no pressure, stem at mid range, all contacts closed, venting."""
    mock = Mock()
    mock.put(1, Table.INPUT, 0, 4000, 12000, 11200, 4000)
    mock.put(1, Table.INPUT, 30, IDENTITY)
    mock.put(1, Table.DISCRETE, 0, 1, 1, 0, 1)
    return mock


def limits(**changes: object) -> Limits:
    given: dict[str, object] = {
        "pressure_max_pa": Cap(50 * PSI, "stand"),
        "travel_max_m": Cap(1.25 * INCH, "profile"),
        "move_by_pa": Cap(20 * PSI, "profile"),
        "signals": expect(Role.PRESSURE, Role.POSITION),
    }
    return Limits(**(given | changes))  # type: ignore[arg-type]


def connected(given: Stand, device: Mock) -> tuple[Scanner, Outputs, VirtualClock, InProcessBus]:
    """Scanner and outputs on a mock, in virtual time."""
    clock, bus = VirtualClock(), InProcessBus(device)
    buses = dict.fromkeys(given.links, bus)
    scanner, outputs = Scanner(given, buses, clock), Outputs(given, buses, clock)
    bus.connect()
    return scanner, outputs, clock, bus


def loop_on(given: Stand, device: Mock, with_limits: Limits | None = None) -> ScanLoop:
    scanner, outputs, clock, _ = connected(given, device)
    return ScanLoop(scanner, outputs, clock, with_limits or limits())
