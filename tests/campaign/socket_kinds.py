"""The kinds of the socket campaign: those of the stand from the virtual one, and those of real processes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random
from typing import TYPE_CHECKING

from tests.campaign.fault_kinds import AT_ONCE, FULL_ON_PSI, KINDS, NO_DEMAND, SIGNAL_LOST, Kind, one

if TYPE_CHECKING:
    from tests.campaign.socket_ride import Ride

# What the virtual campaign does to its own loop, not to the stand: here real processes stand for it.
FIRST_OF_PROGRAMS = "main process killed"
OF_THE_STAND = ("emergency stop pressed", "guard opened")
LATE_S = 0.1  # beyond the deadline, within what the stand file gives a late answer on a serial line


def _stand_kinds() -> tuple[Kind, ...]:
    names = [kind.name for kind in KINDS]
    taken = list(KINDS[: names.index(FIRST_OF_PROGRAMS)])
    taken += [kind for kind in KINDS if kind.name in OF_THE_STAND]
    late = one("answers late", LATE_S)
    found = [replace(kind, strike=late) if kind.name == "answers too late" else kind for kind in taken]
    return (*found, Kind("answers twice", one("answers twice")))


STAND_KINDS = _stand_kinds()


@dataclass(frozen=True)
class ProcessKind:
    """A fault of programs, machine or people; `hurt` does it to the processes of a ride."""

    name: str
    hurt: Callable[["Ride", Random], None]
    bound: str = ""
    over_psi: float = 0.0
    named: bool = False
    unclosed: bool = False  # the record cannot be ended in order
    wires: tuple[str, ...] = ("tcp", "rtu")


def kill_main(ride: "Ride", random: Random) -> None:
    ride.kill(ride.check.pid)


def kill_scan(ride: "Ride", random: Random) -> None:
    ride.kill(ride.scan_pid)


def kill_both(ride: "Ride", random: Random) -> None:
    ride.kill(ride.check.pid, ride.scan_pid)


def stop_main(ride: "Ride", random: Random) -> None:
    """Until the stand has been told to vent."""
    with ride.stopped(ride.check.pid):
        ride.wait_for(ride.vent_commanded, 6.0)


def stop_main_for_a_moment(ride: "Ride", random: Random) -> None:
    with ride.stopped(ride.check.pid):
        ride.wait(random.uniform(0.02, 0.2))


def stop_scan(ride: "Ride", random: Random) -> None:
    with ride.stopped(ride.scan_pid):
        ride.wait(random.uniform(0.6, 1.5))


def sleep(ride: "Ride", random: Random) -> None:
    """The computer sleeps and wakes; the stand goes on."""
    with ride.stopped(ride.check.pid, ride.scan_pid):
        ride.wait(random.uniform(0.6, 2.0))


def busy(low_s: float, high_s: float) -> Callable[["Ride", Random], None]:
    def hurt(ride: "Ride", random: Random) -> None:
        ride.keep_busy(random.uniform(low_s, high_s))

    return hurt


def fill_disk(ride: "Ride", random: Random) -> None:
    ride.fill_disk()


def close_terminal(ride: "Ride", random: Random) -> None:
    ride.close_terminal()


def press_once(ride: "Ride", random: Random) -> None:
    ride.press()


def press_twice(ride: "Ride", random: Random) -> None:
    ride.press()
    ride.wait(random.uniform(0.05, 0.3))
    ride.struck()
    ride.press()


def leap(ride: "Ride", random: Random) -> None:
    ride.leap(random.uniform(2.0, 3600.0))


def unplug(ride: "Ride", random: Random) -> None:
    ride.unplug()


def write_from_outside(times: int) -> Callable[["Ride", Random], None]:
    def hurt(ride: "Ride", random: Random) -> None:
        ride.write_from_outside(times)

    return hurt


# A full disk and Ctrl-C go through the main process: it answers with the next sample it gets to, and where it
# does not get to one, the guard's patience with a silent one is what is stated.
PROCESS_KINDS = (
    ProcessKind("cable pulled", unplug, SIGNAL_LOST),
    ProcessKind("main process killed", kill_main, AT_ONCE, unclosed=True),
    ProcessKind("main process stopped", stop_main, NO_DEMAND),
    ProcessKind("main process stopped for a moment", stop_main_for_a_moment),
    ProcessKind("main process busy for a moment", busy(0.02, 0.2)),
    ProcessKind("main process busy for long", busy(2.0, 3.0), NO_DEMAND),
    ProcessKind("scan process killed", kill_scan),
    ProcessKind("scan process stopped", stop_scan),
    ProcessKind("both processes killed", kill_both, unclosed=True),
    ProcessKind("computer sleeps", sleep),
    ProcessKind("clock leaps", leap, AT_ONCE),
    ProcessKind("disk full", fill_disk, NO_DEMAND, unclosed=True),
    ProcessKind("terminal closed", close_terminal),
    ProcessKind("Ctrl-C once", press_once),
    ProcessKind("Ctrl-C twice", press_twice, NO_DEMAND),
    ProcessKind(
        "second program writes once", write_from_outside(1), over_psi=FULL_ON_PSI, named=True, wires=("tcp",)
    ),
    # Until it is written over, the output is an I/P that is full on. The second one writes for as long as the
    # guard takes to trip and vent: once the run is over it would have the stand to itself.
    ProcessKind(
        "second program keeps writing",
        write_from_outside(8),
        over_psi=FULL_ON_PSI,
        named=True,
        wires=("tcp",),
    ),
)

ALL_KINDS: tuple[Kind | ProcessKind, ...] = (*STAND_KINDS, *PROCESS_KINDS)
