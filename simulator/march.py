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

from simulator.air import GAMMA, R_AIR

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
    """What stays as it is during one call; all from the actuator, the installation and the faults."""

    pilot_target_pa: float  # absolute
    pilot_lag_s: float
    supply_pa: float  # at the I/P's inlet, absolute
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
    friction_scale: float
    coulomb_n: float
    static_n: float
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


def march(state: State, c: Coefficients, steps: int, dt: float) -> State:
    """`steps` steps of `dt` [s]. One function on purpose: a call per element would halve the speed."""
    ps, p, mass, x, v, z = state
    (target, lag, supply, room, t_room, tube, b, fill, exhaust, bv, outlet, wall, v0, a0, a1, f0, k, m,
     visc, s0, s1, scale, fc, fs, vs, low, _, _, _, high, *_ , bind_from, bind) = c  # fmt: skip
    sqrt_, exp_ = sqrt, exp
    step_ip = dt / (lag + dt)
    inverse_b, inverse_bv = 1.0 / (1.0 - b), 1.0 / (1.0 - bv)
    u = (0.99 - b) * inverse_b
    line = 100.0 * sqrt_(1.0 - u * u)
    u = (0.99 - bv) * inverse_bv
    line_v = 100.0 * sqrt_(1.0 - u * u)
    tube_line, fill_supply = tube * line, fill * supply
    dm = dt / m
    heat = (GAMMA - 1.0) * wall
    s0_scaled, s1_scaled, half_a1, smooth = scale * s0, scale * s1, 0.5 * a1, fs <= fc
    g = fc
    for _ in range(steps):
        ps += (target - ps) * step_ip
        area = a0 + a1 * x
        volume = v0 + x * (a0 + half_a1 * x)
        if p <= ps:  # fill: the smaller of what the tubing and the I/P can pass
            r = p / ps
            if r > 0.99:
                slope = tube_line
                q = slope * (ps - p)
            else:
                q = tube * ps
                if r > b:
                    u = (r - b) * inverse_b
                    q *= sqrt_(1.0 - u * u)
                slope = q / (ps - p)
            r = p / supply
            if r < 1.0:
                cap = fill_supply
                if r > 0.99:
                    cap *= (1.0 - r) * line_v
                elif r > bv:
                    u = (r - bv) * inverse_bv
                    cap *= sqrt_(1.0 - u * u)
                if cap < q:
                    q = cap
                    slope = q / (supply - p)
            else:
                q = slope = 0.0
            gain = GAMMA_R * t_room * q
            out = 0.0
        else:  # exhaust, the same to the room
            r = ps / p
            if r > 0.99:
                q = tube_line * (p - ps)
                slope = tube_line
            else:
                q = tube * p
                if r > b:
                    u = (r - b) * inverse_b
                    q *= sqrt_(1.0 - u * u)
                slope = q / (p - ps)
            r = room / p
            if r < 1.0:
                cap = exhaust * p
                if r > 0.99:
                    cap *= (1.0 - r) * line_v
                elif r > bv:
                    u = (r - bv) * inverse_bv
                    cap *= sqrt_(1.0 - u * u)
                if cap < q:
                    q = cap
                    slope = q / (p - room)
            else:
                q = slope = 0.0
            gain = 0.0
            out = q
            q = -q
        if outlet > 0.0 and p > room:
            r = room / p
            if r > 0.99:
                loss = outlet * p * (1.0 - r) * line_v
            elif r > bv:
                u = (r - bv) * inverse_bv
                loss = outlet * p * sqrt_(1.0 - u * u)
            else:
                loss = outlet * p
            slope += loss / (p - room)
            out += loss
            q -= loss
        # the stem, with the air spring p A^2 / V among its stiffnesses
        force = area * (p - room) - f0 - k * x
        stiff = k + p * area * area / volume
        damp = visc
        if x < low or x > high:
            force, stiff, damp = _pressed(x, v, c, force, stiff, damp)
        if x > bind_from:
            force -= bind * (x - bind_from)
            stiff += bind
        if not smooth:
            u = v / vs
            u *= u
            g = fc + (fs - fc) * exp_(-u) if u < 30.0 else fc
        u = s0 * z / g
        u = 1.0 - u if v >= 0.0 else 1.0 + u
        if u > 0.0:
            stiff += s0_scaled * u
            damp += s1_scaled * u
        v = (v + dm * (force - s0_scaled * z)) / (1.0 + dm * (damp + dt * stiff))
        z = (z + dt * v) / (1.0 + dt * s0 * (v if v >= 0.0 else -v) / g)
        x += dt * v
        # the gas; its temperature follows from p V = m R T
        r = mass * R_AIR
        t = p * volume / r
        u = heat / r
        rise = (gain - GAMMA_R * t * out + heat * (t_room - t) - GAMMA * p * area * v) / volume
        rise = dt * rise / (1.0 + dt * (GAMMA_R * t_room * slope / volume + u))
        p += rise
        mass += dt * (q - slope * rise)
    return State(ps, p, mass, x, v, z)


def _pressed(
    x: float, v: float, c: Coefficients, force: float, stiff: float, damp: float
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
