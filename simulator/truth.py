"""What a perfect measurement would find: the definitions of every measurand, from the actuator alone. SI.

Corners are where the contact line and the running line cross. With R = friction / A at that travel:
lift-off P0 + R static, sliding intercept P0 + R, full travel P0 + k L/A + R, return P0 + k L/A - R,
reseat P0 - R (force balance along the stem). Spring-only ends hold at rated travel, never at the stop.
"""

from dataclasses import dataclass

from simulator.actuator import AIR_TO_OPEN, Actuator


@dataclass(frozen=True, slots=True)
class Truth:
    lift_off: float  # Pa: break-away pressure, static friction
    sliding_intercept: float  # Pa: running line back to x = 0
    full_travel: float  # Pa, at the far contact on the way up
    return_start: float  # Pa, leaving the far contact
    reseat: float  # Pa, back at x = 0
    travel: float  # m, contact to contact
    friction: float  # N, half band, mean along the travel
    spring_rate: float  # N/m
    spring_only_lower: float  # Pa at x = 0
    spring_only_upper: float  # Pa at rated travel
    seat_load: float  # N with no air (air-to-open) or at supply pressure (air-to-close)
    hysteresis: float  # Pa, widest gap between up and down at one travel
    slack: float  # m: how much farther the actuator could go on the closed side, were there no seat
    break_away_step: float  # Pa: lift-off less sliding intercept


def _mean_factor(actuator: Actuator, points: int = 200) -> float:
    factors = (actuator.friction.factor_at((i + 0.5) / points * actuator.travel_m) for i in range(points))
    return sum(factors) / points


def _widest_factor(actuator: Actuator) -> float:
    inside = [x for x, _ in actuator.friction.along if 0.0 <= x <= actuator.travel_m]
    return max(actuator.friction.factor_at(x) for x in (0.0, actuator.travel_m, *inside))


def ends_m(actuator: Actuator) -> tuple[float, float]:
    """First contact below and above, in x [m]."""
    top = actuator.stroke_m - actuator.slack_m
    if not actuator.coupled:
        return -actuator.slack_m, top
    return 0.0, min(actuator.travel_m, top)


def slack_m(actuator: Actuator) -> float:
    """Own stop to seat contact on the closed side; none where the stop comes first [m]."""
    if actuator.action == AIR_TO_OPEN:
        return max(0.0, actuator.slack_m)
    return max(0.0, actuator.stroke_m - actuator.slack_m - actuator.travel_m)


def balance_pa(actuator: Actuator, x_m: float, friction_n: float) -> float:
    """Pressure that balances spring, weight, unbalance and friction at x [Pa gauge]."""
    area = actuator.area_m2 * (1.0 + actuator.area_change_per_m * x_m)
    bind = actuator.end_bind_n_per_m * max(0.0, x_m - actuator.end_bind_from_m)
    force = actuator.rest_force_n + actuator.slope_n_per_m * x_m + bind + friction_n
    return force / area


def seat_load_n(actuator: Actuator, supply_pa: float) -> float:
    """Force on the seat in the closed end state [N]; none where a stop of the actuator carries the stem."""
    if not actuator.coupled:
        return 0.0
    sliding = actuator.friction.coulomb_n
    if actuator.action == AIR_TO_OPEN:
        held_off = actuator.slack_m <= 0.0
        return (
            0.0 if held_off else max(0.0, actuator.rest_force_n - sliding * actuator.friction.factor_at(0.0))
        )
    if actuator.travel_m >= actuator.stroke_m - actuator.slack_m:
        return 0.0
    far = actuator.travel_m
    full_pa = balance_pa(actuator, far, sliding * actuator.friction.factor_at(far))
    return max(0.0, actuator.area_m2 * (1.0 + actuator.area_change_per_m * far) * (supply_pa - full_pa))


def truth(actuator: Actuator, supply_pa: float = 0.0) -> Truth:
    """The true values of every quantity; `supply_pa` [Pa gauge] matters for an air-to-close seat load."""
    f = actuator.friction
    near, far = ends_m(actuator)
    coulomb = f.coulomb_n * (1.0 if actuator.coupled else actuator.actuator_friction_share)
    near_n, far_n = coulomb * f.factor_at(near), coulomb * f.factor_at(far)
    intercept = balance_pa(actuator, near, near_n)
    lift_off = balance_pa(actuator, near, near_n * f.static_ratio)
    return Truth(
        lift_off=lift_off,
        sliding_intercept=intercept,
        full_travel=balance_pa(actuator, far, far_n),
        return_start=balance_pa(actuator, far, -far_n),
        reseat=balance_pa(actuator, near, -near_n),
        travel=far - near,
        friction=coulomb * _mean_factor(actuator),
        spring_rate=actuator.slope_n_per_m,
        spring_only_lower=balance_pa(actuator, near, 0.0),
        spring_only_upper=balance_pa(actuator, actuator.rated_travel_m, 0.0),
        seat_load=seat_load_n(actuator, supply_pa),
        hysteresis=2.0 * coulomb * _widest_factor(actuator) / actuator.area_m2,
        slack=slack_m(actuator),
        break_away_step=lift_off - intercept,
    )
