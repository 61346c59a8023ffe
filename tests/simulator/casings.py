"""Casings and stems stripped to one element each, for checks against closed forms. SI, absolute pressures."""

from dataclasses import replace

from simulator.actuator import Actuator, Friction
from simulator.air import R_AIR, REFERENCE_DENSITY, REFERENCE_K
from simulator.march import Coefficients, State, march
from simulator.plant import Converter, Inputs, Plant

WIDE = 1.0  # m3/(s Pa): passes anything


def locked_casing(
    volume_m3: float, conductance: float, critical: float, room_pa: float, wall_w_per_k: float
) -> Coefficients:
    """A vessel behind one orifice: the stem is pressed to an unmoving seat, the I/P passes anything."""
    actuator = Actuator(
        area_m2=1e-9,
        rated_travel_m=0.02,
        stroke_m=0.02,
        travel_m=0.02,
        preload_n=1.0,
        spring_rate_n_per_m=1.0,
        seat_stiffness_n_per_m=1e12,
        slack_m=0.001,
        casing_volume_m3=volume_m3,
        tubing_conductance=conductance,
        tubing_critical_ratio=critical,
        wall_conductance_w_per_k=wall_w_per_k,
        friction=Friction(coulomb_n=0.1),
    )
    converter = Converter(
        lag_s=0.0, tubing_length_m=0.0, fill_conductance=WIDE, exhaust_conductance=WIDE,
        critical_ratio=critical, supply_droop_pa_s_per_kg=0.0,
    )  # fmt: skip
    plant = Plant(actuator, converter, room_pa=room_pa)
    return plant.coefficients(Inputs(supply_open=True, vent_open=False), 0.02)


def vessel_pressures(
    c: Coefficients, start_pa: float, pilot_pa: float, times_s: tuple[float, ...], dt: float
) -> list[float]:
    """Absolute pressures in the vessel at `times_s`, from `start_pa` at room temperature."""
    c = c._replace(pilot_target_pa=pilot_pa, supply_pa=max(pilot_pa, c.supply_pa))
    mass = start_pa * c.volume_m3 / (R_AIR * c.room_k)
    state = State(pilot_pa, start_pa, mass, 0.0, 0.0, 0.0)
    found, done = [], 0
    for time_s in times_s:
        steps = round(time_s / dt) - done
        state = march(state, c, steps, dt)
        done += steps
        found.append(state.casing_pa)
    return found


def extrapolated(coarse: list[float], fine: list[float]) -> list[float]:
    """Richardson: what an order-one scheme tends to, from steps dt and dt/2."""
    return [2.0 * f - c for c, f in zip(coarse, fine, strict=True)]


def volume_for_unit_rate(conductance: float) -> float:
    """Volume at which C rho0 R T0 / V is 1 per second (closed forms write C p0 / V)."""
    return conductance * REFERENCE_DENSITY * R_AIR * REFERENCE_K


def pulled_mass(friction: Friction, mass_kg: float, rate_n_per_m: float) -> Coefficients:
    """A free mass on a spring: the air has 1 m2, follows the I/P at once and has no stiffness of its own."""
    actuator = Actuator(
        area_m2=1.0,
        rated_travel_m=0.02,
        stroke_m=1e6,
        travel_m=1e6,
        slack_m=0.0,
        preload_n=0.0,
        spring_rate_n_per_m=rate_n_per_m,
        moving_mass_kg=mass_kg,
        casing_volume_m3=1e9,
        tubing_conductance=WIDE,
        friction=friction,
    )
    converter = Converter(lag_s=0.0, tubing_length_m=0.0, supply_droop_pa_s_per_kg=0.0)
    plant = Plant(actuator, converter)
    c = plant.coefficients(Inputs(), 0.02)
    return replace_contacts(c)


def replace_contacts(c: Coefficients) -> Coefficients:
    """No stops anywhere near."""
    return c._replace(low_m=-1e9, low_stop_m=-2e9, high_m=1e9, high_stop_m=2e9)


def pulled(c: Coefficients, state: State, force_n: float, steps: int, dt: float) -> State:
    """March under a constant outer force: the casing pressure is set, and no gas flows."""
    c = c._replace(tube=0.0, outlet=0.0, wall_w_per_k=0.0)
    state = state._replace(casing_pa=c.room_pa + force_n, pilot_pa=c.room_pa + force_n)
    return march(state, c, steps, dt)


def at_rest(c: Coefficients) -> State:
    """Mass at x = 0, nothing moving."""
    mass = c.room_pa * c.volume_m3 / (R_AIR * c.room_k)
    return State(c.room_pa, c.room_pa, mass, 0.0, 0.0, 0.0)


__all__ = [
    "at_rest",
    "extrapolated",
    "locked_casing",
    "pulled",
    "pulled_mass",
    "replace",
    "vessel_pressures",
    "volume_for_unit_rate",
]
