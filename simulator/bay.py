"""An invented stand to simulate where nobody gives one: one module with everything fitted, or the least."""

from dataclasses import replace
from datetime import date

from rig.stand.model import (
    AnalogChannel,
    BitChannel,
    Calibration,
    Identity,
    LiveRange,
    Module,
    Number,
    Scale,
    Stand,
    Table,
    TcpLink,
    Watchdog,
    WordOrder,
)

PSI, INCH = 6894.757293168361, 0.0254

LIVE = LiveRange(failed_low=3600, low=3800, high=20500, failed_high=21000)  # uA, NAMUR NE 43


def channel(
    role: str,
    address: int,
    value_high: float,
    table: Table = Table.INPUT,
    number: Number = Number.UINT16,
    live: LiveRange | None = LIVE,
    module: str = "io",
) -> AnalogChannel:
    """A 4-20 mA channel that counts microamperes, or a float in SI."""
    if number is Number.FLOAT32:
        scale, live = Scale(0.0, 0.0, value_high, value_high), None
    else:
        scale = Scale(4000, 0.0, 20000, value_high)
    calibration = Calibration(0.001 * value_high, date(2026, 3, 2), date(2027, 3, 2))
    return AnalogChannel(role, module, table, address, number, WordOrder.HIGH_FIRST, scale, live, calibration)


def full_stand(watchdog: Watchdog | None = None) -> Stand:
    """One module on one TCP link: everything fitted."""
    dog = watchdog or Watchdog(timeout_s=0.5, fed_by="any request", timeout_register=40)
    return Stand(
        name="Bay 1, seawater intake",
        scans_per_s=50.0,
        maximum_pressure_pa=50 * PSI,
        supply_pressure_pa=45 * PSI,
        links={"bay": TcpLink("bay", "127.0.0.1", 502)},
        modules={
            "io": Module("io", "bay", 1, watchdog=dog, identity=Identity(Table.INPUT, 20, 0x5A31)),
        },
        demand_output=channel("demand output", 0, 60 * PSI, Table.HOLDING, live=None),
        casing_pressure=channel("casing pressure", 0, 60 * PSI),
        stem_position=channel("stem position", 1, 2 * INCH),
        supply_pressure=channel("supply pressure", 2, 100 * PSI),
        demand_readback=channel("demand read-back", 3, 60 * PSI, live=None),
        emergency_stop_healthy=BitChannel("emergency stop", "io", Table.DISCRETE, 0),
        guard_closed=BitChannel("guard", "io", Table.DISCRETE, 1),
        supply_valve=BitChannel("supply valve", "io", Table.COILS, 0),
        vent_valve=BitChannel("vent valve", "io", Table.COILS, 1, inverted=True),
        supply_valve_readback=BitChannel("supply valve read-back", "io", Table.DISCRETE, 2),
        vent_valve_readback=BitChannel("vent valve read-back", "io", Table.DISCRETE, 3),
    )


def bare_stand() -> Stand:
    """The least that a stand can have: a demand and a position."""
    full = full_stand()
    return replace(
        full,
        modules={"io": Module("io", "bay", 1)},
        casing_pressure=None,
        supply_pressure=None,
        demand_readback=None,
        emergency_stop_healthy=None,
        guard_closed=None,
        supply_valve=None,
        vent_valve=None,
        supply_valve_readback=None,
        vent_valve_readback=None,
    )
