"""What is going to be done, how long it takes and how sure it will be, told before anything moves."""

from math import hypot

from rig.analysis.too_narrow import TooNarrow
from rig.procedure.planner import Planner
from rig.procedure.ramp import TOP_S, RampPlan
from rig.profile.model import Action
from rig.report.words import corner_name, quantity_name
from rig.units import QUANTITY_DIMENSION, Dimension, UnitSet

K = 2.0  # coverage factor in which an uncertainty is told beforehand: about 95 %
SETTLE_S = 7.0  # arming, the zero, the last venting
AIR_SHORT = ", more where the air is short"


def plan_lines(planner: Planner, plan: RampPlan, units: UnitSet, cycles: int, all_cycles: bool) -> list[str]:
    """Cycles and time, speeds, expected uncertainty; what cannot be reached is said."""
    return [
        _time(plan, cycles, all_cycles),
        _speeds(plan, units),
        _uncertainty(planner, plan, units),
        *_not_reached(planner, plan, units),
    ]


def _time(plan: RampPlan, cycles: int, all_cycles: bool) -> str:
    most_s = SETTLE_S + plan.expected_conditioning_s + cycles * plan.expected_cycle_s
    if all_cycles or cycles <= 2:
        number = "1 measured cycle" if cycles == 1 else f"{cycles} measured cycles"
        return f"Plan: one stroke to condition, then {number}: at least {_minutes(most_s)}{AIR_SHORT}."
    least_s = most_s - (cycles - 2) * plan.expected_cycle_s
    return (
        f"Plan: one stroke to condition, then 2 to {cycles} measured cycles, no more than it takes to be "
        f"certain: at least {_minutes(least_s)}, or {_minutes(most_s)} for all{AIR_SHORT}."
    )


def _speeds(plan: RampPlan, units: UnitSet) -> str:
    def told(rate: float) -> str:
        return units.text(Dimension.PRESSURE_RATE, rate, 2)

    words = f"Plan: {told(plan.slow_pa_per_s)} beside the corners, up to {told(plan.fast_pa_per_s)} elsewhere"
    if plan.second_pa_per_s < plan.fast_pa_per_s:
        words += f"; every second cycle slides at {told(plan.second_pa_per_s)}, to tell drag from friction"
    return f"{words}; held {TOP_S:.1f} s at the end of travel."


def _uncertainty(planner: Planner, plan: RampPlan, units: UnitSet) -> str:
    action = planner.profile.action

    def told(u_pa: float) -> str:
        return f"± {units.text(Dimension.PRESSURE, K * u_pa, 2)}"

    fixed = planner.fixed_u_pa
    leaving, meeting = hypot(fixed, plan.leaving_u_pa), hypot(fixed, plan.meeting_u_pa)
    first = f"{corner_name('lift_off', action)} and {corner_name('return_start', action)}"
    last = f"{corner_name('full_travel', action)} and {corner_name('reseat', action)}"
    source = "the I/P's calibration" if planner.inferred else "the pressure transmitter"
    return (
        f"Plan: expected {first} {told(leaving)}, {last} {told(meeting)} (95 %): "
        f"{told(fixed)} from {source}, {told(plan.corner_u_pa)} from the ramp."
    )


def _not_reached(planner: Planner, plan: RampPlan, units: UnitSet) -> list[str]:
    if planner.wanted_u_pa is None or plan.corner_u_pa <= plan.wanted_u_pa:
        return []
    wanted = units.text(Dimension.PRESSURE, K * planner.wanted_u_pa, 2)
    return [f"Plan: the ± {wanted} wanted will not be reached; this is the surest of the ramps tried."]


def too_narrow_words(found: TooNarrow, action: Action, units: UnitSet) -> str:
    """Which tolerance, why nothing can pass it here, and what it takes."""
    dimension = QUANTITY_DIMENSION[found.key]

    def told(value: float) -> str:
        return units.text(dimension, value, 2)

    words = (
        f"{quantity_name(found.key, action)}: the tolerance is {told(found.width)} wide, and with this stand "
        f"nothing can pass in less than {told(found.needed)}: the guard bands take it all, most of it "
        f"{found.source}. It takes "
    )
    if found.accuracy is not None:
        unit = Dimension.LENGTH if found.key == "travel" else Dimension.PRESSURE
        words += f"a transmitter good to ± {units.text(unit, found.accuracy, 2)}, or "
    return words + f"a tolerance wider than {told(found.needed)}."


def _minutes(seconds: float) -> str:
    whole = max(0, round(seconds))
    return f"{whole} s" if whole < 100 else f"{whole / 60.0:.1f} min"
