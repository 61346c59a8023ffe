"""What a perfect measurement would find: the definitions of every measurand, from the actuator alone. SI.

Corners are where the contact line and the running line cross. With R = friction / A at that travel:
lift-off P0 + R static, sliding intercept P0 + R, full travel P0 + k L/A + R, return P0 + k L/A - R,
reseat P0 - R (force balance along the stem). Spring-only ends hold at rated travel, never at the stop.
It is the truth of the valve as it is before any fault begins, and as if there were air enough.
"""

from dataclasses import dataclass
from math import exp

from simulator.actuator import AIR_TO_OPEN, Actuator
from simulator.march import contact
from simulator.plant import Inputs, contacts, sunk_m


@dataclass(frozen=True, slots=True)
class Truth:
    contact_loss: float  # Pa: the contact at x = 0 bears nothing any more; from the second stroke on
    lift_off: float  # Pa: break-away pressure of the plug, static friction
    sliding_intercept: float  # Pa: running line back to x = 0
    full_travel: float  # Pa, at the far contact on the way up
    at_rated_travel: float  # Pa, passing rated travel on the way up; never beyond the contact
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
    break_away_step: float  # Pa: what static friction adds to lift-off


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
    """Force on the seat in the closed end state [N]; what a stop of the actuator carries is not on it."""
    a = actuator
    if not a.coupled:
        return 0.0
    low, low_stiff, low_rounding, low_stop, high, high_stiff, high_rounding, high_stop = contacts(a, Inputs())
    sliding = a.friction.coulomb_n
    if a.action == AIR_TO_OPEN:
        force = a.rest_force_n - sliding * a.friction.factor_at(0.0)
        return 0.0 if a.slack_m <= 0.0 else _borne(a, force, low_stiff, low_rounding, low - low_stop)
    if a.travel_m >= high_stop:
        return 0.0
    full_pa = balance_pa(a, high, sliding * a.friction.factor_at(high))
    force = a.area_m2 * (1.0 + a.area_change_per_m * high) * (supply_pa - full_pa)
    return _borne(a, force, high_stiff, high_rounding, high_stop - high)


def _borne(a: Actuator, force_n: float, stiffness: float, rounding_m: float, gap_m: float) -> float:
    """What a contact bears of a force, the actuator's own stop standing `gap_m` behind it [N]."""
    if force_n <= 0.0:
        return 0.0
    depth = sunk_m(force_n, stiffness, rounding_m, gap_m, a.stop_stiffness_n_per_m)
    return contact(depth, stiffness, rounding_m)[0]


def contact_loss_pa(a: Actuator) -> float:
    """Where the contact at x = 0 bears nothing any more on a slow rise, after a stroke before it [Pa gauge].

    Friction, left pointing up by the way down, turns over while the contact gives back the d it had sunk:
    along the bristles of LuGre, Ff(d) = Fs - (Fs + Fc) exp(-s0 d / Fs). A stiff contact is lost at about the
    reseat pressure, a soft one near lift-off. In a loose connector the stem's own share of Fs stands for Fs.
    """
    f = a.friction
    low, stiffness, rounding, low_stop, *_ = contacts(a, Inputs())
    scale = f.factor_at(low) * (1.0 if a.coupled else a.actuator_friction_share)
    force = a.rest_force_n + a.slope_n_per_m * low - scale * f.coulomb_n
    depth = sunk_m(max(0.0, force), stiffness, rounding, low - low_stop, a.stop_stiffness_n_per_m)
    static = f.static_ratio * f.coulomb_n
    if static == 0.0:
        return balance_pa(a, low, 0.0)
    own = static * (a.actuator_friction_share if a.coupled and a.connector_play_m > 0.0 else 1.0)
    turned = own - (own + f.coulomb_n) * exp(-f.bristle_n_per_m * depth / static)
    return balance_pa(a, low, scale * turned)


def truth(actuator: Actuator, supply_pa: float = 0.0) -> Truth:
    """The true values of every quantity; `supply_pa` [Pa gauge] matters for an air-to-close seat load."""
    f = actuator.friction
    near, far = ends_m(actuator)
    coulomb = f.coulomb_n * (1.0 if actuator.coupled else actuator.actuator_friction_share)
    near_n, far_n = coulomb * f.factor_at(near), coulomb * f.factor_at(far)
    play = actuator.connector_play_m if actuator.coupled else 0.0  # the stem goes alone so far
    lifts_at, rated = near + play, min(actuator.rated_travel_m, far)
    leaving = actuator.actuator_friction_share if play > 0.0 else 1.0
    intercept = balance_pa(actuator, near, near_n)
    sliding_n = coulomb * f.factor_at(lifts_at)
    lift_off = balance_pa(actuator, lifts_at, sliding_n * f.static_ratio)
    return Truth(
        contact_loss=contact_loss_pa(actuator),
        lift_off=lift_off,
        sliding_intercept=intercept,
        full_travel=balance_pa(actuator, far, far_n),
        at_rated_travel=balance_pa(actuator, rated, coulomb * f.factor_at(rated)),
        return_start=balance_pa(actuator, far, -far_n * leaving),
        reseat=balance_pa(actuator, near, -near_n),
        travel=far - near,
        friction=coulomb * _mean_factor(actuator),
        spring_rate=actuator.slope_n_per_m,
        spring_only_lower=balance_pa(actuator, near, 0.0),
        spring_only_upper=balance_pa(actuator, actuator.rated_travel_m, 0.0),
        seat_load=seat_load_n(actuator, supply_pa),
        hysteresis=2.0 * coulomb * _widest_factor(actuator) / actuator.area_m2,
        slack=slack_m(actuator),
        break_away_step=lift_off - balance_pa(actuator, lifts_at, sliding_n),
    )
