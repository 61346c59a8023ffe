"""`stemrig vent --stand FILE`: make a stand safe, whatever it was doing, with nothing but its file."""

import argparse
import os
from contextlib import ExitStack
from typing import TYPE_CHECKING

from rig.cli.exits import PASS, STOPPED, UNDECIDED, UNREACHABLE, WRONG_INPUT
from rig.cli.options import add_units

if TYPE_CHECKING:
    from rig.stand.clock import Clock
    from rig.stand.model import Stand

HELP = "make a stand safe from a cold start: outputs safe, read back, pressure watched until it is gone"

HANDS = (
    "HANDS MAY BE IN THE MECHANISM: {words}. Venting lets the spring move the stem at once. Everybody's "
    "hands out of the valve, everybody clear of it."
)
SLOW_S, LOOKS_EVERY_S = 120.0, 0.5  # longest slow return that is waited for

CLEAR = "Everybody clear of the stem and of the vent: the stem moves as the air goes, and venting is loud."


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--stand", metavar="STAND", required=True, help="stand file, or the name of a shipped one"
    )
    parser.add_argument(
        "--hands-out",
        action="store_true",
        help="all hands are out of the mechanism and everybody is clear: do not ask, whatever a program says",
    )
    add_units(parser)


def run(args: argparse.Namespace) -> int:
    from rig.stand.file import load_stand

    stand = load_stand(args.stand)
    if stand.built_in:
        print(
            f"stand '{stand.name}' is the built-in one: it exists only while a command runs it, "
            "and there is nothing to vent. To practise, serve one with `stemrig simulate`."
        )
        return WRONG_INPUT
    return vent(stand, args.units, _clock(), args.hands_out)


def vent(stand: "Stand", units_name: str, clock: "Clock", hands_out: bool = False) -> int:
    """Do it, tell it, and say what is left to do by hand; the exit code."""
    from rig.cli.interrupts import Interrupts
    from rig.report.vent_words import VentBoard
    from rig.stand.lock import HANDS_IN, StandInUse, only_controller
    from rig.stand.make_safe import Safe, make_safe
    from rig.stand.modbus import open_buses
    from rig.stand.word import deaf_to_word
    from rig.units import UNIT_SETS

    board = VentBoard(stand, UNIT_SETS[units_name], lambda line: print(line, flush=True))
    print(f"Making stand '{stand.name}' safe. {CLEAR}", flush=True)
    buses = open_buses(stand.links)
    try:
        with ExitStack() as stack:
            stack.enter_context(deaf_to_word())  # another `stemrig vent` may speak to this one
            try:
                left_by = stack.enter_context(only_controller(stand))
                if left_by:
                    print(f"The last program on this stand died with it ({left_by}).", flush=True)
                if HANDS_IN in left_by and not _hands_are_out(left_by, hands_out):
                    return WRONG_INPUT
            except StandInUse as problem:
                if problem.hands_in and not _hands_are_out(str(problem), hands_out):
                    return WRONG_INPUT
                _let_go(problem.process)
                if problem.hands_in:
                    _wait_for_its_end(stand, clock)
                print(f"{problem}. Making it safe goes on all the same.", flush=True)
            interrupts = stack.enter_context(Interrupts())
            end = make_safe(stand, buses, clock, board.saw, lambda: interrupts.presses > 0)
    finally:
        for bus in buses.values():
            bus.close()
    board.ended(end)
    return {
        Safe.VENTED: PASS,
        Safe.UNMEASURED: UNDECIDED,
        Safe.NOT_SAFE: STOPPED,
        Safe.STOPPED: STOPPED,
        Safe.UNREACHABLE: UNREACHABLE,
        Safe.UNPROVEN: UNREACHABLE,
        Safe.WRONG_DEVICE: UNREACHABLE,
    }[end]


def _hands_are_out(words: str, said: bool) -> bool:
    """Whether a person says so; nothing is written and nobody is told before."""
    from rig.cli.confirm import confirmed

    print(HANDS.format(words=words), flush=True)
    if said or confirmed("Are all hands out and is everybody clear? Then it is vented."):
        return True
    print("Nothing was done. Say so at the keyboard, or with --hands-out.", flush=True)
    return False


def _wait_for_its_end(stand: "Stand", clock: "Clock") -> None:
    """The program that held the stem lets it down slowly where a trip is latched: it is not cut short."""
    from rig.stand.lock import StandInUse, only_controller

    print("The program that held the stem lets it down.", flush=True)
    began_s = clock.now()
    while clock.now() - began_s < SLOW_S:
        try:
            with only_controller(stand):
                return
        except StandInUse:
            pass
        clock.wait_until(clock.now() + LOOKS_EVERY_S)


def _let_go(process: int | None) -> None:
    """Tell the holder that a person wants the stand vented: it holds still where hands were in."""
    from rig.stand.word import give_word

    if process is not None and process != os.getpid():
        give_word(process)


def _clock() -> "Clock":
    from rig.stand.clock import MonotonicClock

    return MonotonicClock()
