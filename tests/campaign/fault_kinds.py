"""Every kind of fault that the campaign plants: what it does, and how fast it must be answered."""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, nan
from random import Random
from typing import TYPE_CHECKING

from rig.stand.model import AnalogChannel, BitChannel
from safety.signals import Demand
from safety.state import PersonEvent
from simulator import Fault, Trigger

if TYPE_CHECKING:
    from tests.campaign.fault_bench import Bench

PSI, INCH = 6894.757293168361, 0.0254
Strike = Callable[["Bench", Random], None]

# How long the guard may take where that is stated. Two scans: the one that sees it may have begun already.
AT_ONCE, SIGNAL_LOST, NO_DEMAND = "at once", "signal lost", "no fresh demand"
WRITTEN = "written otherwise"
FOREIGN_EVERY = 5  # scans

# What an I/P that is full on adds above a cap that the output stands close to: 47 psi/s, the fastest fill of
# the shipped casings, for 60 ms: the transmitter's lag, a scan, and as much again to write and to turn.
FULL_ON_PSI = 47.0 * 0.06


@dataclass(frozen=True)
class Kind:
    """`bound` names the guard's own stated time to the vent command; empty where only its effect is seen."""

    name: str
    strike: Strike
    bound: str = ""
    over_psi: float = 0.0  # may pass a person's cap by this much, the casing's own maximum never
    named: bool = False  # it must be told of, whether it trips or not


def faults(*planted: Fault) -> Strike:
    def strike(bench: "Bench", random: Random) -> None:
        for fault in planted:
            bench.machine.faults.add(fault)

    return strike


def sized(kind: str, low: float, high: float, where: str = "") -> Strike:
    """A size drawn evenly; either sign where `low` is negative."""

    def strike(bench: "Bench", random: Random) -> None:
        bench.machine.faults.add(Fault(kind, random.uniform(low, high), where))

    return strike


def one(kind: str, size: float = 1.0, where: str = "", lasts_s: float | None = None) -> Strike:
    if lasts_s is None:
        return faults(Fault(kind, size, where))
    return faults(Fault(kind, size, where, end=Trigger(after_s=lasts_s)))


# -- programs, people, time --------------------------------------------------------------------------------


def kill_main(bench: "Bench", random: Random) -> None:
    bench.main_is_dead = True


def stop_main(bench: "Bench", random: Random) -> None:
    bench.main_is_silent = True


def stop_main_for_a_moment(bench: "Bench", random: Random) -> None:
    """Shorter than the guard minds: plots, garbage collection."""
    bench.main_is_silent = True
    bench.silent_scans = random.randrange(2, 15)


def kill_scan(bench: "Bench", random: Random) -> None:
    bench.scan_is_dead = True


def fill_disk(bench: "Bench", random: Random) -> None:
    bench.disk_is_full = True


def press_stop(bench: "Bench", random: Random) -> None:
    bench.machine.press_emergency_stop()


def open_guard(bench: "Bench", random: Random) -> None:
    bench.machine.open_guard()


def person(event: PersonEvent) -> Strike:
    def strike(bench: "Bench", random: Random) -> None:
        bench.orders.append(event)

    return strike


def sleep(bench: "Bench", random: Random) -> None:
    """The machine sleeps and wakes: the stand goes on alone, the clock has counted it."""
    bench.clock.sleep(random.uniform(2.0, 60.0))


def leap(bench: "Bench", random: Random) -> None:
    bench.clock.offset_s += random.uniform(2.0, 3600.0)


def run_back(bench: "Bench", random: Random) -> None:
    bench.clock.offset_s -= random.uniform(0.1, 60.0)


def stand_still(bench: "Bench", random: Random) -> None:
    bench.clock.stop()


def raise_in_procedure(bench: "Bench", random: Random) -> None:
    bench.procedure_fails = True


def mad_demand(pressure_pa: float, rate_pa_per_s: float) -> Strike:
    def strike(bench: "Bench", random: Random) -> None:
        bench.mad = Demand(pressure_pa, rate_pa_per_s, "mad")

    return strike


def foreign_write(every_scans: int) -> Strike:
    """Another program: air on, vent shut, output at full scale; once, or every so many scans."""

    def strike(bench: "Bench", random: Random) -> None:
        bench.foreign_every = every_scans

    return strike


def write_as_foreigner(bench: "Bench") -> None:
    stand = bench.machine.stand
    outputs: tuple[AnalogChannel | BitChannel | None, ...] = (
        stand.supply_valve,
        stand.vent_valve,
        stand.demand_output,
    )
    for channel in outputs:
        if channel is not None:
            value = round(channel.scale.raw_high) if isinstance(channel, AnalogChannel) else 1
            unit = stand.modules[channel.module].unit
            bench.machine.write(unit, channel.table, channel.address, [value])


CASING, STEM, SUPPLY = "casing_pressure", "stem_position", "supply_pressure"

KINDS: tuple[Kind, ...] = (
    # wire
    Kind("no answers any more", one("answers missing"), SIGNAL_LOST),
    Kind("half of the answers missing", one("answers missing", 0.5)),
    Kind("answers too late", one("answers late", 5.0), SIGNAL_LOST),
    Kind("all answers garbled", one("answers garbled"), SIGNAL_LOST),
    Kind("one answer in ten garbled", one("answers garbled", 0.1)),
    Kind("answers too short", one("answers short"), SIGNAL_LOST),
    Kind("connection drops", one("connection drops"), SIGNAL_LOST),
    Kind("connection drops for 0.3 s", one("connection drops", lasts_s=0.3)),
    Kind("exception answers: device failure", one("exception answers", 4), SIGNAL_LOST),
    Kind("exception answers: busy", one("exception answers", 6), SIGNAL_LOST),
    Kind("another unit answers", one("wrong unit answers"), SIGNAL_LOST),
    # modules
    Kind("output module silent", one("module silent", where="outputs")),
    Kind("input module silent", one("module silent", where="inputs"), SIGNAL_LOST),
    Kind("output module reboots", one("module reboots", where="outputs", lasts_s=2.0)),
    Kind("input module reboots", one("module reboots", where="inputs", lasts_s=2.0), SIGNAL_LOST),
    Kind("outputs stuck", one("outputs stuck", where="outputs")),
    Kind("writes acknowledged and ignored", one("writes ignored", where="outputs")),
    Kind("power cut", one("power cut"), SIGNAL_LOST),
    # air
    Kind("I/P frozen", one("converter frozen")),
    Kind("I/P gives nothing", one("converter full off")),
    Kind("I/P full on", one("converter full on"), over_psi=FULL_ON_PSI),
    Kind("diaphragm tears", sized("diaphragm tears", 0.5, 3.0)),
    Kind("I/P exhaust blocked", one("exhaust blocked")),
    Kind("hose burst", one("hose off")),
    Kind("supply doubled", one("supply doubled")),
    Kind("supply lost", one("supply lost")),
    Kind("supply lost, back after 4 s", one("supply lost", lasts_s=4.0)),
    Kind("supply low", sized("supply low", 0.1, 0.6)),
    Kind("supply valve stuck", one("supply valve stuck")),
    Kind("vent valve stuck", one("vent valve stuck")),
    Kind("vent stuck, exhaust blocked", faults(Fault("vent valve stuck"), Fault("exhaust blocked"))),
    Kind(
        "vent stuck, I/P full on",
        faults(Fault("vent valve stuck"), Fault("converter full on")),
        over_psi=inf,  # the air behind the supply valve goes on in, and none goes out
    ),
    Kind(
        "supply valve stuck, I/P full on",
        faults(Fault("supply valve stuck"), Fault("converter full on")),
        over_psi=FULL_ON_PSI,
    ),
    # mechanics
    Kind("stem jams", one("stem jams")),
    Kind("stem jams for 3 s", one("stem jams", lasts_s=3.0)),
    Kind("friction rises", sized("friction rises", 2.0, 8.0)),
    Kind("spring breaks", sized("spring breaks", 0.2, 0.7)),
    Kind("connector slips", sized("connector slips", 0.05 * INCH, 0.3 * INCH)),
    Kind("something in the seat", sized("something in the seat", 0.02 * INCH, 0.2 * INCH)),
    # transmitters
    Kind("pressure signal fails low", one("transmitter fails low", where=CASING), SIGNAL_LOST),
    Kind("pressure signal fails high", one("transmitter fails high", where=CASING), SIGNAL_LOST),
    Kind("pressure signal frozen", one("transmitter stuck", where=CASING)),
    Kind("pressure signal jumps up", sized("transmitter jumps", 5 * PSI, 20 * PSI, CASING), AT_ONCE),
    Kind("pressure signal jumps down", sized("transmitter jumps", -20 * PSI, -6 * PSI, CASING)),
    Kind("pressure signal drifts", sized("transmitter drifts", -0.5 * PSI, 0.5 * PSI, CASING)),
    Kind("pressure signal spikes", sized("transmitter spikes", 5 * PSI, 30 * PSI, CASING)),
    Kind("pressure signal intermittent", sized("transmitter intermittent", 0.2, 0.9, CASING)),
    Kind("pressure range wrong", sized("wrong range", 0.5, 0.8, CASING)),
    Kind("pressure upside down", one("sensor upside down", where=CASING)),
    Kind("position signal fails low", one("transmitter fails low", where=STEM), SIGNAL_LOST),
    Kind("position signal fails high", one("transmitter fails high", where=STEM), SIGNAL_LOST),
    Kind("position signal frozen", one("transmitter stuck", where=STEM)),
    Kind("position signal jumps", sized("transmitter jumps", 0.2 * INCH, 2 * INCH, STEM)),
    Kind("position signal drifts", sized("transmitter drifts", -0.05 * INCH, 0.05 * INCH, STEM)),
    Kind("position signal intermittent", sized("transmitter intermittent", 0.2, 0.9, STEM)),
    Kind("position upside down", one("sensor upside down", where=STEM)),
    Kind("pressure and position exchanged", one("wires swapped")),
    Kind("supply signal fails", one("transmitter fails low", where=SUPPLY), SIGNAL_LOST),
    # programs, people, time
    Kind("main process killed", kill_main, AT_ONCE),
    Kind("main process stopped", stop_main, NO_DEMAND),
    Kind("main process busy for a moment", stop_main_for_a_moment),
    Kind("scan process killed", kill_scan),
    Kind("disk full", fill_disk, AT_ONCE),
    Kind("procedure fails", raise_in_procedure, AT_ONCE),
    Kind("procedure demands no number", mad_demand(nan, nan), NO_DEMAND),
    Kind("procedure demands too much", mad_demand(1e9, 1e9), NO_DEMAND),
    Kind("procedure demands a leap", mad_demand(20 * PSI, 1e9)),
    Kind("second program writes once", foreign_write(0), named=True),
    Kind("second program keeps writing", foreign_write(FOREIGN_EVERY), WRITTEN, named=True),
    Kind("emergency stop pressed", press_stop, AT_ONCE),
    Kind("guard opened", open_guard, AT_ONCE),
    Kind("Ctrl-C once", person(PersonEvent.STOP)),
    Kind("Ctrl-C twice", person(PersonEvent.SAFE_NOW), AT_ONCE),
    Kind("machine sleeps", sleep, AT_ONCE),
    Kind("clock leaps", leap, AT_ONCE),
    Kind("clock runs back", run_back, AT_ONCE),
    Kind("clock stands still", stand_still, AT_ONCE),
)
