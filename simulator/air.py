"""Air through orifices and lines: the flow law of ISO 6358-1:2013, gas constants of dry air. SI, absolute.

Flow from p1 to p2, r = p2/p1: q = C rho0 p1 sqrt(T0/T1) phi(r), phi = 1 for r <= b,
sqrt(1 - ((r-b)/(1-b))^2) above. For r > 0.99 phi goes on as a straight line to 0 at r = 1: the root has
an infinite slope there, which no fixed step can follow (assumption, seen as < 0.2 % of the choked flow).
"""

from math import sqrt

GAMMA = 1.4  # ratio of specific heats of a diatomic gas
R_AIR = 287.0475  # J/(kg K); universal constant over the molar mass 28.96546 g/mol (CoolProp `Air`)
REFERENCE_DENSITY = 1.185  # kg/m3 at the reference state of ISO 6358-1:2013, 65 % relative humidity
REFERENCE_PA = 100_000.0  # ISO 8778 reference pressure
REFERENCE_K = 293.15  # ISO 8778 reference temperature
ATMOSPHERE_PA = 101_325.0
LINEAR_FROM = 0.99


def flow_share(ratio: float, critical: float) -> float:
    """phi(r): share of the choked flow at pressure ratio r = p2/p1 (0..1)."""
    if ratio <= critical:
        return 1.0
    if ratio > LINEAR_FROM:
        return (1.0 - ratio) * flow_share(LINEAR_FROM, critical) / (1.0 - LINEAR_FROM)
    u = (ratio - critical) / (1.0 - critical)
    return sqrt(1.0 - u * u)


def mass_flow(conductance: float, critical: float, p1: float, p2: float, t1: float = REFERENCE_K) -> float:
    """Mass flow from p1 to p2 <= p1 [kg/s]; conductance C [m3/(s Pa)], pressures absolute [Pa], T1 [K]."""
    choked = conductance * REFERENCE_DENSITY * p1 * sqrt(REFERENCE_K / t1)
    return choked * flow_share(p2 / p1, critical)


def critical_ratio(gamma: float = GAMMA) -> float:
    """p2/p1 at which an ideal nozzle chokes: (2/(g+1))^(g/(g-1))."""
    return float((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def choked_nozzle_flow(area_m2: float, p1: float, t1: float, gas_constant: float = 287.05) -> float:
    """Mass flow of an ideal choked nozzle [kg/s]: p1 A / sqrt(T1) sqrt(g/R (2/(g+1))^((g+1)/(g-1)))."""
    g = GAMMA
    return p1 * area_m2 / sqrt(t1) * sqrt(g / gas_constant * (2.0 / (g + 1.0)) ** ((g + 1.0) / (g - 1.0)))


def conductance_si(litres_per_s_bar: float) -> float:
    """Sonic conductance from dm3/(s bar), as data sheets print it, to m3/(s Pa)."""
    return litres_per_s_bar * 1e-8


def sound_speed(t_k: float = REFERENCE_K) -> float:
    """Speed of sound in air [m/s]: sqrt(g R T), ideal gas."""
    return sqrt(GAMMA * R_AIR * t_k)


def tube_delay_s(length_m: float, t_k: float = REFERENCE_K) -> float:
    """How long a pressure change travels along a tube [s]: length over the speed of sound."""
    return length_m / sound_speed(t_k)
