"""Where a spring is set, in either meaning of a bench range, and the rate that a range implies."""

from dataclasses import dataclass

from rig.forces.line import Line, derived
from rig.profile.model import Basis
from rig.units import Dimension

PRESSURE = Dimension.PRESSURE
SPRING_LOWER = "spring-only lower end"


@dataclass(frozen=True, slots=True)
class Setting:
    """Where a spring is set: its pressure at rest, spring only and with friction on the way up; its rate."""

    spring_lower: Line
    lift_off: Line
    rate: Line


def setting_of(lower: Line, friction_pa: Line, basis: Basis, rate: Line, opens_with_air: bool) -> Setting:
    """A spring whose lower end is set to `lower`, meant on `basis`. Only one of the two needs friction."""
    if basis is Basis.SPRING_ONLY:
        spring = derived("spring_lower", SPRING_LOWER, PRESSURE, "{}", lambda p: p, lower)
        return Setting(spring, past_friction(spring, friction_pa, opens_with_air), rate)
    lift_off = derived("lift_off", lift_off_name(opens_with_air), PRESSURE, "{}", lambda p: p, lower)
    minus = derived("spring_lower", SPRING_LOWER, PRESSURE, "{} − {}", lambda p, f: p - f, lower, friction_pa)
    return Setting(minus, lift_off, rate)


def lift_off_name(opens_with_air: bool) -> str:
    return "lift-off" if opens_with_air else "leaves open stop"


def past_friction(spring: Line, friction_pa: Line, opens_with_air: bool) -> Line:
    name = lift_off_name(opens_with_air)
    return derived("lift_off", name, PRESSURE, "{} + {}", lambda p, f: p + f, spring, friction_pa)


def range_rate(area: Line, lower: Line, upper: Line, travel: Line) -> Line:
    """Spring rate that a bench range implies [N/m]: A (p_upper − p_lower) / travel."""
    return derived(
        "rate",
        "spring rate",
        Dimension.SPRING_RATE,
        "{} × ({} − {}) ÷ {}",
        lambda a, high, low, x: a * (high - low) / x,
        area,
        upper,
        lower,
        travel,
    )
