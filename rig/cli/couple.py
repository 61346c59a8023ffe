"""`stemrig couple [PROFILE]`: stem and plug coupled with the slack taken out; travel and seat load proven."""

import argparse
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from rig.cli.exits import FAIL, PASS, STOPPED, UNDECIDED
from rig.cli.options import add_guided

if TYPE_CHECKING:
    from rig.cli.bench import Bench
    from rig.procedure.couple import Coupling
    from rig.procedure.guided import Prompt
    from simulator import SimulatedStand

HELP = "couple stem and plug, step by step: the stem is held, the connector made, travel and seat load proven"
NAME = "Coupling"
COUPLING_FILE = "coupling.json"
INCH = 0.0254
BELOW_M = 0.1 * INCH  # the built-in stand's transmitter sees this much below the actuator's lower stop
WAYS = ("held lift", "top stop", "short lift")
MISTAKES = ("plug-hanging", "early", "not-made", "slips")
HANGING_M, SLIP_M = 0.1 * INCH, 0.04 * INCH


def arguments(parser: argparse.ArgumentParser) -> None:
    add_guided(parser, hands="the connector is made")
    parser.add_argument(
        "--way",
        choices=WAYS,
        help="held lift: the stem is held where the slack ends up right; top stop: the actuator on its stop, "
        "the plug lifted by hand; short lift: in a hurry, seat load not proven (default: as recommended)",
    )
    parser.add_argument(
        "--mistake",
        choices=MISTAKES,
        help="on the built-in stand: what goes wrong with the connector, to see it caught",
    )


def run(args: argparse.Namespace) -> int:
    from rig.cli.guided import guided_command

    return guided_command(args, "coupling", "makes the connector", _couple)


def _couple(bench: "Bench") -> int:
    from rig.analysis.coupling import Way
    from rig.cli.bench import BadRequest
    from rig.cli.guided import came_to_an_end, opener, resumed, run_guided, unanswered
    from rig.procedure.couple import Couple
    from rig.record.atomic import save_text
    from rig.record.reader import sensors_of
    from rig.report.coupling_words import coupling_lines, coupling_record
    from rig.stand.explain import missing_against_movement
    from rig.stand.limits import limits_for_coupling

    args = bench.args
    if args.mistake and not bench.stand.built_in:
        raise BadRequest("--mistake is for the built-in stand")
    guided = Couple(
        profile=bench.profile,
        sensors=sensors_of(bench.stand),
        highest_pa=bench.highest_pa,
        units=bench.units,
        missing=tuple(lacking for lacking, _ in missing_against_movement(bench.stand)),
        isolating_valve=bench.stand.hands_in.isolating_valve,
    )
    best, why = guided.recommended()
    way = best if args.way is None else Way(args.way)
    guided = replace(guided, way=way)
    print(f"Recommended: {best.value}, for {why}." + ("" if way is best else f" Done by {way.value}."))
    machine = in_the_yoke(bench) if bench.stand.built_in else None
    if machine is not None:
        machine.uncouple()
    start = resumed(bench, NAME, guided)
    done = run_guided(
        bench,
        NAME,
        guided,
        guided.run(start),
        opener(bench, machine, limits_for_coupling(bench.limits, bench.profile)),
        datetime.now().astimezone(),
        work=_hands(machine, args.mistake, guided.lift_m),
        simulated_person=args.simulated_person,
    )
    coupling: Coupling | None = done.ended.value
    if unanswered(guided, done):
        return STOPPED
    if not came_to_an_end(done, "the coupling was not proven") or coupling is None:
        return STOPPED
    kept = json.dumps(coupling_record(coupling), indent=2, ensure_ascii=False)
    save_text(done.folder / COUPLING_FILE, kept + "\n")
    print("\n".join(coupling_lines(coupling)))
    print("Next: stemrig spring" if coupling.right else "The way apart: stemrig uncouple")
    unproven = coupling.right and way is Way.SHORT_LIFT
    word = "NOT COUPLED" if not coupling.right else "COUPLED, SEAT LOAD NOT PROVEN" if unproven else "COUPLED"
    print(f"{word}  {bench.profile.title}\nRecord: {done.folder}")
    return FAIL if not coupling.right else UNDECIDED if unproven else PASS


def in_the_yoke(bench: "Bench") -> "SimulatedStand":
    """The built-in stand with a transmitter that sees the actuator stem down to its own lower stop."""
    from rig.cli.session import demo_actuator
    from simulator import Installation, SimulatedStand

    actuator = demo_actuator(bench.profile)
    yoke = Installation(position_zero_m=actuator.slack_m + BELOW_M)
    return SimulatedStand(bench.stand, actuator, installation=yoke)


def _hands(
    machine: "SimulatedStand | None", mistake: str | None, lift_m: float
) -> "Callable[[Prompt, str], None] | None":
    from rig.procedure.couple_words import DONE
    from simulator import Fault, Trigger

    if machine is None:
        return None
    when = "Push the plug home" if mistake == "early" else "Make the connector"

    def work(prompt: "Prompt", key: str) -> None:
        if key != DONE or prompt.title != when or mistake == "not-made":
            return
        machine.couple(lift_m + (HANGING_M if mistake == "plug-hanging" else 0.0))
        if mistake == "slips":
            machine.faults.add(Fault("connector slips", SLIP_M, start=Trigger(stroke=3)))

    return work
