"""Laying out a check before anything moves: the planner, its words, and what this stand cannot decide."""

from typing import TYPE_CHECKING

from rig.analysis.check import analyse
from rig.analysis.samples import Samples
from rig.analysis.sequential import is_certain
from rig.analysis.too_narrow import too_narrow
from rig.cli.requests import BadRequest
from rig.procedure.bench_check import FEWEST_CYCLES, Judge
from rig.procedure.planner import FASTEST_PA_PER_S, Planner
from rig.record.reader import sensors_of
from rig.report.plan_words import K, plan_lines, too_narrow_words
from rig.units import Dimension, UnitError, parse

if TYPE_CHECKING:
    from rig.cli.bench import Bench


def planner_of(bench: "Bench") -> Planner:
    """Lays out the ramp of a check on this stand. Raises BadRequest for what it cannot reach."""
    wanted = getattr(bench.args, "uncertainty", None)
    planner = Planner(
        bench.profile,
        bench.highest_pa,
        min(bench.limits.rate_max_pa_per_s.value, FASTEST_PA_PER_S),
        sensors_of(bench.stand),
        bench.stand.scans_per_s,
        None if wanted is None else _standard(wanted),
        min(bench.args.cycles, FEWEST_CYCLES),
    )
    try:
        planner.ramp_u_pa()
    except ValueError:
        alone = bench.units.text(Dimension.PRESSURE, K * planner.fixed_u_pa, 2)
        source = "the I/P's calibration" if planner.inferred else "the accuracy of the pressure transmitter"
        raise BadRequest(
            f"--uncertainty {wanted}: {source} alone leaves ± {alone} (95 %), whatever the ramp; "
            "ask for more than that, or measure with a better transmitter"
        ) from None
    return planner


def _standard(text: str) -> float:
    """What a person wants, ± at 95 % as the sheet tells it, as a standard uncertainty [Pa]."""
    try:
        wanted = parse(text, Dimension.PRESSURE)
    except UnitError as error:
        raise BadRequest(f"--uncertainty: {error}") from None
    if wanted <= 0.0:
        raise BadRequest(f"--uncertainty {text}: must be above zero")
    return wanted / K


def told_plan(bench: "Bench") -> list[str]:
    """The plan in plain words."""
    planner = planner_of(bench)
    all_cycles = getattr(bench.args, "all_cycles", False)
    return plan_lines(planner, planner.plan(), bench.units, bench.args.cycles, all_cycles)


def check_can_pass(bench: "Bench") -> None:
    """Raises BadRequest where a tolerance is too narrow for this stand, unless `--coarse` was given."""
    planner = planner_of(bench)
    found = too_narrow(bench.profile, sensors_of(bench.stand), planner.plan().corner_u_pa)
    if not found:
        return
    words = "\n".join(too_narrow_words(one, bench.profile.action, bench.units) for one in found)
    if not bench.args.coarse:
        raise BadRequest(f"{words}\nNothing was moved. With --coarse the check goes on; {CANNOT_PASS}")


CANNOT_PASS = "what is too narrow for the stand can then fail or stay undecided, but not pass."


def judge_of(bench: "Bench") -> Judge | None:
    """Ends a check as soon as every verdict is certain; None where all cycles are wanted."""
    if getattr(bench.args, "all_cycles", False):
        return None
    sensors, most = sensors_of(bench.stand), bench.args.cycles

    def judge(samples: Samples, cycles: int) -> str:
        if not is_certain(analyse(samples, bench.profile, sensors)):
            return ""
        return f"every verdict was certain after {cycles} of {most} cycles"

    return judge
