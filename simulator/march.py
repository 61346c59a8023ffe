"""The tight loop: gas in the casing and the stem under friction, by a linearly implicit Euler step.

All stiffnesses (flow slopes, wall heat, contacts, bristles, air spring) stand in the denominators, so the
step is stable at any length; its order is one. Absolute pressures [Pa], SI. Plain floats: numpy scalars
would cost three times as much here.

    gas:   V dp/dt = g R (T_in q_in - T q_out) + (g-1) hA (T_wall - T) - g p A dx/dt,   dm/dt = q_in - q_out
           (energy and mass balance of an ideal gas in a moving volume; textbook thermodynamics)
    stem:  M dv/dt = A (p - p_room) - F0 - k x - contact - s (s0 z + s1 dz/dt) - c v
    LuGre: dz/dt = v - s0 |v| z / g(v), g(v) = Fc + (Fs - Fc) exp(-(v/vs)^2)     (IEEE TAC 40, 1995, 419-425)
"""

from math import exp, sqrt
from typing import NamedTuple

from simulator.air import GAMMA, LINEAR_FROM, R_AIR, REFERENCE_K, flow_share

GAMMA_R = GAMMA * R_AIR


class State(NamedTuple):
    """What the loop carries from step to step."""

    pilot_pa: float  # regulated pressure at the I/P's outlet, absolute
    casing_pa: float  # absolute
    air_kg: float  # in the casing
    x_m: float
    v_m_per_s: float
    bristle_m: float


class Coefficients(NamedTuple):
    """What stays as it is during one call; the first four change from call to call, the rest seldom."""

    pilot_target_pa: float  # absolute
    supply_pa: float  # at the I/P's inlet, absolute
    friction_scale: float
    static_n: float
    pilot_lag_s: float
    room_pa: float
    room_k: float
    tube: float  # C rho0 of the tubing [kg/(s Pa)]
    tube_critical: float
    fill: float  # C rho0 of the I/P, filling
    exhaust: float  # C rho0 of the I/P, exhausting
    valve_critical: float
    outlet: float  # C rho0 of vent valve and leaks to the room
    wall_w_per_k: float
    volume_m3: float  # at x = 0
    area_m2: float  # at x = 0
    area_slope_m: float  # dA/dx
    rest_force_n: float
    slope_n_per_m: float
    mass_kg: float
    viscous: float
    bristle: float  # s0
    bristle_damping: float  # s1
    coulomb_n: float
    stribeck_m_per_s: float
    low_m: float  # first contact below
    low_stiffness: float
    low_rounding_m: float
    low_stop_m: float  # the actuator's own stop, at or below the first contact
    high_m: float  # first contact above
    high_stiffness: float
    high_rounding_m: float
    high_stop_m: float
    stop_stiffness: float
    contact_damping: float
    bind_from_m: float
    bind_n_per_m: float


def contact(depth: float, stiffness: float, rounding: float) -> tuple[float, float]:
    """Force and stiffness of a contact pressed in by `depth` >= 0: parabolic foot of length `rounding`."""
    if depth < rounding:
        return 0.5 * stiffness * depth * depth / rounding, stiffness * depth / rounding
    return stiffness * (depth - 0.5 * rounding), stiffness


def orifice(c: float, critical: float, line: float, high: float, low: float) -> float:
    """Mass flow [kg/s] from `high` to `low` <= `high`: ISO 6358-1 with C rho0 in `c`; see simulator.air."""
    r = low / high
    if r <= critical:
        return c * high
    if r > LINEAR_FROM:
        return c * line * (high - low)
    u = (r - critical) / (1.0 - critical)
    return c * high * sqrt(1.0 - u * u)


def line_of(critical: float) -> float:
    """Slope of the straight end of phi: phi(0.99) / 0.01."""
    return flow_share(LINEAR_FROM, critical) / (1.0 - LINEAR_FROM)


def exchange(p: float, ps: float, c: Coefficients, line: float, line_v: float) -> tuple[float, float, float]:
    """Mass flow in, mass flow out [kg/s] and the slope of their difference over p [kg/(s Pa)].

    All as of air at the reference temperature. Between I/P and casing the smaller flow of tubing and I/P
    counts (assumption: what is in series acts through its narrowest part). The slope is the chord to where
    the flow ends: with it in the denominator no step can overshoot that pressure.
    """
    flow_in = flow_out = slope = 0.0
    if p <= ps:
        if p < c.supply_pa:
            flow_in = orifice(c.tube, c.tube_critical, line, ps, p)
            slope = flow_in / (ps - p) if p < ps else c.tube * line
            most = orifice(c.fill, c.valve_critical, line_v, c.supply_pa, p)
            if most < flow_in:
                flow_in, slope = most, most / (c.supply_pa - p)
    elif p > c.room_pa:
        flow_out = orifice(c.tube, c.tube_critical, line, p, ps)
        slope = flow_out / (p - ps)
        most = orifice(c.exhaust, c.valve_critical, line_v, p, c.room_pa)
        if most < flow_out:
            flow_out, slope = most, most / (p - c.room_pa)
    if c.outlet > 0.0 and p > c.room_pa:
        loss = orifice(c.outlet, c.valve_critical, line_v, p, c.room_pa)
        slope += loss / (p - c.room_pa)
        flow_out += loss
    return flow_in, flow_out, slope


def march(state: State, c: Coefficients, steps: int, dt: float) -> State:
    """`steps` steps of `dt` [s]."""
    ps, p, mass, x, v, z = state
    target, room, t_room, f0, k, visc = (
        c.pilot_target_pa, c.room_pa, c.room_k, c.rest_force_n, c.slope_n_per_m, c.viscous
    )  # fmt: skip
    a0, a1, v0, low, high, bind = c.area_m2, c.area_slope_m, c.volume_m3, c.low_m, c.high_m, c.bind_from_m
    fc, extra, vs, s0 = c.coulomb_n, c.static_n - c.coulomb_n, c.stribeck_m_per_s, c.bristle
    s0_scaled, s1_scaled = c.friction_scale * s0, c.friction_scale * c.bristle_damping
    line, line_v = line_of(c.tube_critical), line_of(c.valve_critical)
    pilot_share, dm, heat = dt / (c.pilot_lag_s + dt), dt / c.mass_kg, (GAMMA - 1.0) * c.wall_w_per_k
    g = fc
    for _ in range(steps):
        ps += (target - ps) * pilot_share
        area = a0 + a1 * x
        volume = v0 + x * (a0 + 0.5 * a1 * x)
        gas = mass * R_AIR
        t = p * volume / gas  # p V = m R T
        flow_in, flow_out, slope = exchange(p, ps, c, line, line_v)
        if flow_out > 0.0:  # upstream is what is in the casing
            u = sqrt(REFERENCE_K / t)
            flow_out *= u
            slope *= u
        # what the flows alone do to the pressure in this step, and what a moving stem takes from it
        room_for_air = volume + dt * (GAMMA_R * t_room * slope + heat * volume / gas)
        rise = dt * (GAMMA_R * (t_room * flow_in - t * flow_out) + heat * (t_room - t)) / room_for_air
        taken = GAMMA * p * area / room_for_air
        # the stem at the end of the step, against the pressure at the end of the step
        force = area * (p + rise - room) - f0 - k * x
        stiff = k + area * max(taken, p * area / volume)
        damp = visc
        if x < low or x > high:
            force, stiff, damp = _pressed(x, c, force, stiff, damp)
        if x > bind:
            force -= c.bind_n_per_m * (x - bind)
            stiff += c.bind_n_per_m
        if extra > 0.0:
            u = v / vs
            g = fc + extra * exp(-u * u)
        free = 1.0 - s0 * (z if v >= 0.0 else -z) / g
        if free > 0.0:
            stiff += s0_scaled * free
            damp += s1_scaled * free
        before = v
        v = (before + dm * (force - s0_scaled * z)) / (1.0 + dm * (damp + dt * stiff))
        ahead = x + dt * v
        if ahead < low <= x or ahead > high >= x:
            force, stiff = _landing(x, ahead, c, force, stiff)
            v = (before + dm * (force - s0_scaled * z)) / (1.0 + dm * (damp + dt * stiff))
        z = (z + dt * v) / (1.0 + dt * s0 * (v if v >= 0.0 else -v) / g)
        x += dt * v
        # the gas
        rise -= dt * taken * v
        p += rise
        mass += dt * (flow_in - flow_out - slope * rise)
    return State(ps, p, mass, x, v, z)


def _landing(x: float, ahead: float, c: Coefficients, force: float, stiff: float) -> tuple[float, float]:
    """A contact that would be met within this step bears at its end, so that no stem is thrown back by it."""
    if ahead < c.low_m:
        depth = c.low_m - ahead
        chord = contact(depth, c.low_stiffness, c.low_rounding_m)[0] / depth
        return force + chord * (c.low_m - x), stiff + chord
    depth = ahead - c.high_m
    chord = contact(depth, c.high_stiffness, c.high_rounding_m)[0] / depth
    return force - chord * (x - c.high_m), stiff + chord


def _pressed(
    x: float, c: Coefficients, force: float, stiff: float, damp: float
) -> tuple[float, float, float]:
    """Seat and stops that x presses on, added to force, stiffness and damping."""
    if x < c.low_m:
        push, more = contact(c.low_m - x, c.low_stiffness, c.low_rounding_m)
        if x < c.low_stop_m:
            push += c.stop_stiffness * (c.low_stop_m - x)
            more += c.stop_stiffness
        return force + push, stiff + more, damp + c.contact_damping
    push, more = contact(x - c.high_m, c.high_stiffness, c.high_rounding_m)
    if x > c.high_stop_m:
        push += c.stop_stiffness * (x - c.high_stop_m)
        more += c.stop_stiffness
    return force - push, stiff + more, damp + c.contact_damping
