"""What the simulated valve is made of. SI; x is the stroke coordinate: 0 at rest without air, up with air.

Air-to-open: the seat is at x = 0, the actuator's own lower stop `slack_m` below it.
Air-to-close: at x = 0 the stem rests on the actuator's own stop, the seat is at x = `travel_m`.
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise

from simulator.air import conductance_si

GRAVITY = 9.80665  # m/s2, standard
AIR_TO_OPEN, AIR_TO_CLOSE = "air-to-open", "air-to-close"
# Weight of stem and plug as extra preload: upright the plug hangs below the actuator, as on most valves.
WEIGHT_SIGN = {"upright": 1.0, "inverted": -1.0, "on its side": 0.0}


@dataclass(frozen=True, slots=True)
class Friction:
    """Packing, guides and plug seal together, as one LuGre element (Canudas de Wit et al. 1995).

    g(v) = coulomb (1 + (static_ratio - 1) exp(-(v/vs)^2)); values along the stroke scale with `along`.
    """

    coulomb_n: float = 230.0  # half band
    static_ratio: float = 1.0  # static over sliding
    stribeck_m_per_s: float = 5e-4
    viscous_n_s_per_m: float = 1500.0
    bristle_n_per_m: float = 1.2e7  # stiffness before sliding
    bristle_damping_n_s_per_m: float = 0.0
    along: tuple[tuple[float, float], ...] = ()  # (x [m], factor), straight lines between
    healing_per_decade: float = 0.0  # static_ratio gains this for every tenfold rest time beyond 1 s
    scatter: float = 0.0  # relative spread of static friction from hop to hop (event-driven model)

    def factor_at(self, x_m: float) -> float:
        """Friction at x relative to `coulomb_n`."""
        points = self.along
        if not points:
            return 1.0
        if x_m <= points[0][0]:
            return points[0][1]
        for (x0, f0), (x1, f1) in pairwise(points):
            if x_m <= x1:
                return f0 + (f1 - f0) * (x_m - x0) / (x1 - x0)
        return points[-1][1]


@dataclass(frozen=True, slots=True)
class Actuator:
    """One actuator with the valve it is coupled to, in a given condition."""

    area_m2: float
    rated_travel_m: float
    stroke_m: float  # the actuator's own, stop to stop
    travel_m: float  # as coupled: from x = 0 to the far contact
    preload_n: float  # spring force at x = 0, without weight
    spring_rate_n_per_m: float
    action: str = AIR_TO_OPEN
    slack_m: float = 0.0  # own stop to x = 0: what coupling left between the stem at rest and its stop
    friction: Friction = field(default_factory=Friction)
    actuator_friction_share: float = 0.15  # of `coulomb_n`: what is left when uncoupled
    moving_mass_kg: float = 20.0
    mounting: str = "on its side"
    casing_volume_m3: float = 2.6e-3  # casing and tubing at x = 0
    tubing_conductance: float = conductance_si(0.6)  # m3/(s Pa)
    tubing_critical_ratio: float = 0.3
    wall_conductance_w_per_k: float = 4.0  # gas to casing wall, h A; assumption: thermal lag of some seconds
    leak_conductance: float = 0.0  # diaphragm, casing joint and stem seal to the room
    seat_stiffness_n_per_m: float = 1e8
    seat_rounding_m: float = 0.0  # a soft seat takes this much to come to its full stiffness
    stop_stiffness_n_per_m: float = 3e8
    contact_damping_n_s_per_m: float = 2e4  # assumption: landing without bounce
    area_change_per_m: float = 0.0  # effective area varies: A (1 + change x)
    unbalance_n: float = 0.0  # process force against lift at x = 0; zero on the bench
    unbalance_n_per_m: float = 0.0
    end_bind_from_m: float = float("inf")  # end coils close beyond this x ...
    end_bind_n_per_m: float = 0.0  # ... and add this rate
    connector_play_m: float = 0.0  # loose connector: stem moves this far before the plug follows
    adjuster_pitch_m: float = 2e-3
    adjuster_turns: float = 0.0  # turned in since `preload_n` was set
    coupled: bool = True
    plug_stop_m: float = float("inf")  # the valve's own open stop above its seat, where it has one

    @property
    def weight_n(self) -> float:
        return WEIGHT_SIGN[self.mounting] * GRAVITY * self.moving_mass_kg

    @property
    def rest_force_n(self) -> float:
        """Everything air must overcome at x = 0 but friction [N]: spring, adjuster, weight, unbalance."""
        turned = self.spring_rate_n_per_m * self.adjuster_pitch_m * self.adjuster_turns
        return self.preload_n + turned + self.weight_n + self.unbalance_n

    @property
    def slope_n_per_m(self) -> float:
        """Spring rate as the stem feels it."""
        return self.spring_rate_n_per_m + self.unbalance_n_per_m

    def turned(self, turns: float) -> "Actuator":
        """The same actuator with its adjuster turned in by `turns` more."""
        return replace(self, adjuster_turns=self.adjuster_turns + turns)


def actuator_for(
    *,
    area_m2: float,
    rated_travel_m: float,
    lower_pa: float,
    upper_pa: float,
    stroke_m: float | None = None,
    friction_fraction: float = 0.03,
    basis_friction_included: bool = True,
    action: str = AIR_TO_OPEN,
    travel_surplus_m: float = 1e-4,
) -> Actuator:
    """A healthy actuator for a rated bench range [Pa gauge].

    Friction's half band is `friction_fraction` of the range's lower-to-upper span. With friction included
    the stem starts to move at `lower_pa` and comes to rated travel at `upper_pa`; spring only, the mean of
    up and down does.
    """
    span_pa = upper_pa - lower_pa
    rate = area_m2 * span_pa / rated_travel_m
    friction = Friction(coulomb_n=friction_fraction * span_pa * area_m2)
    spring_lower_n = area_m2 * lower_pa - (friction.coulomb_n if basis_friction_included else 0.0)
    travel = rated_travel_m + travel_surplus_m
    stroke = stroke_m if stroke_m is not None else rated_travel_m + 6.35e-3
    slack = max(0.0, stroke - travel) if action == AIR_TO_OPEN else 0.0
    return Actuator(
        area_m2=area_m2,
        rated_travel_m=rated_travel_m,
        stroke_m=max(stroke, travel),
        travel_m=travel,
        preload_n=spring_lower_n,
        spring_rate_n_per_m=rate,
        action=action,
        slack_m=slack,
        friction=friction,
        moving_mass_kg=2.0 + 230.0 * area_m2,  # assumption: 18 kg at 105 in2
        casing_volume_m3=0.2e-3 + 0.03 * area_m2,  # assumption: 30 mm of clearance under the diaphragm
        adjuster_pitch_m=2e-3,
    )
