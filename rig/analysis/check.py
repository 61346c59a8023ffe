"""A bench check's record in, its result out: the one entry to this room."""

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt

import numpy as np

from rig.analysis.advice import advise
from rig.analysis.corner import Corner
from rig.analysis.cycle import Findings, examine
from rig.analysis.drag import Drag, find_drag
from rig.analysis.instruments import Instruments, usual_lag
from rig.analysis.judge import judge, limits_of, overall
from rig.analysis.measured import Combined, Measured, Scatter, combine, estimates, pooled_scatter
from rig.analysis.quantities import Quantities, pool
from rig.analysis.result import QUANTITIES, CheckResult, Estimate, Quantity
from rig.analysis.samples import RISE, ZERO, Samples, Sensors
from rig.analysis.signs import signs_in_words
from rig.analysis.strokes import Strokes, find_strokes
from rig.profile.model import Action, Profile
from rig.units import UNIT_SETS, UnitSet

CORNERS = ("sliding_intercept", "full_travel", "return_start", "reseat")
ALIGN_ANEW_S = 0.03  # a lag that wrong bends the corners: align again
CONDITIONING_Z = 5.0  # a first cycle this far from the others is running-in, not scatter
ONLY_CONDITIONED = "Only the stroke at full speed was run, or part of it: values are coarse."
DRAWN_ON = (
    "The stem was not seen at its end of travel: the upper spring-only pressure is drawn on to rated travel "
    "from the part that was seen, as if the spring went on in the same way."
)
ON_ITS_SEAT = (
    "Seat load holds if the plug carries the spring: a stroke of the coupled valve cannot see slack left in. "
    "With no air the stem must stand above the actuator's own lower stop; stemrig couple proves it."
)


def analyse(
    samples: Samples,
    profile: Profile,
    sensors: Sensors,
    units: UnitSet = UNIT_SETS["psi"],
) -> CheckResult:
    """Measure and judge a bench check. Never raises on a poor record: what is missing is not measured.

    `units` are those of the advice, which is in words.
    """
    samples, conditioned = _conditioning_alone(samples)
    usual_s, _ = usual_lag(sensors, profile)
    strokes = find_strokes(samples, sensors, profile.rated_travel_m, usual_s)
    findings = [examine(cycle, strokes, profile) for cycle in strokes.cycles]
    drag = _drag(findings, strokes, sensors, profile)
    if abs(drag.tau_s) > ALIGN_ANEW_S:
        usual_s += drag.tau_s
        strokes = find_strokes(samples, sensors, profile.rated_travel_m, usual_s)
        findings = [examine(cycle, strokes, profile) for cycle in strokes.cycles]
    notes = [*([ONLY_CONDITIONED] if conditioned else []), *strokes.notes]
    if strokes.why:
        measured = {key: Measured(key, why=strokes.why) for key in QUANTITIES}
        return _result(measured, profile, False, notes, units)
    sticking = _sticking(findings)
    measured = measure(findings, profile, sensors, strokes, sticking)
    if _differs(findings, measured):
        notes.append("The first cycle differs from the others (running-in): it is left out.")
        measured = measure(findings[1:], profile, sensors, strokes, sticking)
    if measured["spring_only_upper"].seen and not measured["travel"].seen:
        notes.append(DRAWN_ON)
    if profile.action is Action.AIR_TO_OPEN and profile.needed_seat_load_n is not None:
        notes.append(ON_ITS_SEAT)
    if sensors.pressure_is_inferred:
        notes.append(
            "There is no transmitter for casing pressure: pressures come from the calibration of the I/P and "
            "carry its larger uncertainty."
        )
    elif drag.far:
        notes.append(
            f"The stem lags the pressure by {usual_s:.2f} s (drag of packing or guides): values are those "
            "of a stem that moves very slowly."
        )
    result = _result(measured, profile, sticking, notes, units)
    noises = pool(findings, strokes.noise_x)
    signs = signs_in_words(
        _freed(findings, drag), noises, drag, profile, sensors, strokes.scan_s, sticking, units
    )
    return replace(result, advice=(*result.advice, *signs))


def _freed(findings: Sequence[Findings], drag: Drag) -> list[Findings]:
    """Of what the speed of the ramp does to their sliding curves."""
    return [
        f if f.curve is None else replace(f, curve=f.curve.without(drag.tau_s, drag.uneven)) for f in findings
    ]


def _conditioning_alone(samples: Samples) -> tuple[Samples, bool]:
    """A run that ended in its conditioning stroke, which is cycle 0, has nothing better to tell from."""
    if len(samples.cycle) == 0 or samples.cycle.max() > 0 or not (samples.stage == RISE).any():
        return samples, False
    return replace(samples, cycle=np.where(samples.stage == ZERO, 0, 1)), True


def measure(
    findings: Sequence[Findings], profile: Profile, sensors: Sensors, strokes: Strokes, sticking: bool
) -> dict[str, Measured]:
    """All quantities from the given cycles, freed of what the speed of the ramp does to them."""
    noises = pool(findings, strokes.noise_x)
    drag = _drag(findings, strokes, sensors, profile)
    findings = _freed(findings, drag)
    lag_u = drag.uncertainty_s
    instruments = Instruments(sensors, profile, strokes, _corner_rate(findings), lag_u)
    build = Quantities(findings, profile, instruments, noises, sticking, drag)
    return {
        "lift_off": build.lift_off(),
        "sliding_intercept": build.corner("lift", "sliding_intercept"),
        "full_travel": build.full_travel(),
        "return_start": build.corner("fall", "return_start"),
        "reseat": build.corner("reseat", "reseat"),
        "travel": build.travel(),
        "friction": build.friction(),
        "spring_rate": build.spring_rate(),
        "spring_only_lower": build.spring_only("spring_only_lower"),
        "spring_only_upper": build.spring_only("spring_only_upper"),
        "seat_load": build.seat_load(),
        "hysteresis": build.hysteresis(),
    }


def _drag(findings: Sequence[Findings], strokes: Strokes, sensors: Sensors, profile: Profile) -> Drag:
    """What the speed of the ramp adds; without a casing transmitter all of it is filling, and not told apart
    from the bends of the I/P: then what is known beforehand stands."""
    lag_sd_s = usual_lag(sensors, profile)[1]
    if sensors.pressure_is_inferred:
        return Drag(0.0, lag_sd_s)
    curves = [f.curve for f in findings if f.curve is not None]
    slope = sum(c.slope for c in curves) / len(curves) if curves else 0.0
    noise = pool(findings, strokes.noise_x).slide * slope**2
    return find_drag(curves, noise, lag_sd_s)


def _corner_rate(findings: Sequence[Findings]) -> float:
    """Speed of the ramp beside the corners [Pa/s], the fastest of the four kinds' means."""
    means = []
    for where in ("lift", "full", "fall", "reseat"):
        rates = [abs(c.rate) for f in findings if isinstance(c := getattr(f, where), Corner)]
        means += [sum(rates) / len(rates)] if rates else []
    return max(means, default=0.0)


def _result(
    measured: dict[str, Measured],
    profile: Profile,
    sticking: bool,
    notes: list[str],
    units: UnitSet,
) -> CheckResult:
    scatter = pooled_scatter([measured[key] for key in CORNERS])
    limits = limits_of(profile)
    quantities: dict[str, Quantity] = {}
    for key in QUANTITIES:
        found: Combined | None = combine(measured[key], scatter) if measured[key].seen else None
        quantities[key] = judge(measured[key], found, limits.get(key), profile.decision_rule)
    return CheckResult(
        outcome=overall(quantities.values()),
        basis=profile.basis.value,
        quantities=quantities,
        cycles=_by_cycle(measured, scatter),
        advice=tuple(advise(quantities, profile, sticking, units)),
        notes=tuple(notes),
    )


def _by_cycle(measured: dict[str, Measured], scatter: Scatter) -> tuple[dict[str, Estimate], ...]:
    cycles: dict[int, dict[str, Estimate]] = {}
    for key, one in measured.items():
        for number, estimate in estimates(one, scatter).items():
            cycles.setdefault(number, {})[key] = estimate
    return tuple(cycles[number] for number in sorted(cycles))


def _sticking(findings: Sequence[Findings]) -> bool:
    """In at least half of the cycles the stem crept in hops, or left its rest by one."""
    sticking = sum(found.sticking.sticking or found.break_away is not None for found in findings)
    return 2 * sticking >= len(findings) and sticking > 0


def _differs(findings: Sequence[Findings], measured: dict[str, Measured]) -> bool:
    """Is the first cycle unlike the others, by more than their noise?"""
    if len(findings) < 3:
        return False
    for key in ("lift_off", "full_travel", "friction"):
        one = replace(measured[key], shared=())
        if len(one.seen) < 3 or one.seen[0].cycle != findings[0].number:
            continue
        first, others = one.seen[0], one.seen[1:]
        rest = sum(s.value for s in others) / len(others)
        spread = max(s.value for s in others) - min(s.value for s in others)
        noise = first.variance + sum(s.variance for s in others) / len(others) ** 2
        if abs(first.value - rest) > CONDITIONING_Z * sqrt(noise) + 2.0 * spread:
            return True
    return False
