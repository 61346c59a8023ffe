"""Can this stand pass a tolerance at all? Said before anything moves, from what is known beforehand.

The guard band on both sides of a tolerance is U (decision.py). Where both together are as wide as the
tolerance, nothing between its limits is far enough from both: it can fail, but not pass.
"""

from dataclasses import dataclass
from math import hypot, inf, sqrt

from rig.analysis.budget import RECTANGULAR
from rig.analysis.decision import can_pass
from rig.analysis.judge import limits_of
from rig.analysis.samples import Sensors
from rig.analysis.student import coverage_factor
from rig.profile.model import DecisionRule, Profile


@dataclass(frozen=True, slots=True)
class TooNarrow:
    """SI of the quantity. `accuracy` that a transmitter would need, half width; None: none is good enough."""

    key: str
    width: float  # of the tolerance
    needed: float  # width that this stand needs
    source: str  # what takes most of it
    accuracy: float | None


def too_narrow(profile: Profile, sensors: Sensors, ramp_u_pa: float) -> tuple[TooNarrow, ...]:
    """Tolerances that nothing can pass; `ramp_u_pa` is what the ramp adds to a pressure [standard].

    Empty for shared risk, where the value alone decides.
    """
    if profile.decision_rule is DecisionRule.SHARED:
        return ()
    found = []
    for key, limits in limits_of(profile).items():
        u, source, ramp_u, spread = _known_u(key, profile, sensors, ramp_u_pa)
        width = limits[1] - limits[0]
        if width < inf and not can_pass(limits, u):
            factor = 2.0 * coverage_factor(inf)
            room = (width / factor) ** 2 - ramp_u**2
            accuracy = sqrt(room) / (spread * RECTANGULAR) if room > 0.0 else None
            found.append(TooNarrow(key, width, factor * u, source, accuracy))
    return tuple(found)


def _known_u(
    key: str, profile: Profile, sensors: Sensors, ramp_u_pa: float
) -> tuple[float, str, float, float]:
    """Standard uncertainty, what gives most of it, the part that its transmitter cannot mend, and how many
    times the transmitter's accuracy counts."""
    pressure = sensors.pressure_accuracy_pa * RECTANGULAR
    travel = sqrt(2.0) * sensors.position_accuracy_m * RECTANGULAR  # a travel is a difference of two readings
    name = "the I/P's calibration" if sensors.pressure_is_inferred else "the pressure transmitter"
    if key == "travel":
        return travel, "the position transmitter", 0.0, sqrt(2.0)
    if key == "spring_only_upper":  # told at rated travel
        slope = (profile.bench_upper_pa - profile.bench_lower_pa) / profile.rated_travel_m
        other = hypot(ramp_u_pa, slope * travel)
        if slope * travel > pressure:
            name = "the position transmitter"
        return hypot(pressure, other), name, other, 1.0
    return hypot(pressure, ramp_u_pa), name, ramp_u_pa, 1.0
