"""The coil spring: rate from its wire, deflection, adjuster. SI."""

STEEL_SHEAR_MODULUS_PA = 81.37e9  # cold-drawn wire as in machine-design textbooks


def coil_rate_n_per_m(wire_m: float, mean_diameter_m: float, coils: float, shear_pa: float) -> float:
    """Rate of a helical compression spring [N/m]: G d^4 / (8 D^3 N) (machine-design textbooks)."""
    return shear_pa * wire_m**4 / (8.0 * mean_diameter_m**3 * coils)


def active_coils(wire_m: float, mean_diameter_m: float, rate_n_per_m: float, shear_pa: float) -> float:
    """Active coils that give a rate: the same formula turned round."""
    return shear_pa * wire_m**4 / (8.0 * mean_diameter_m**3 * rate_n_per_m)


def free_length_m(solid_m: float, gaps_m: float, force_n: float, rate_n_per_m: float) -> float:
    """Length without load [m]: solid length, gaps left at full load, and the deflection under it."""
    return solid_m + gaps_m + force_n / rate_n_per_m


def turn_pa(rate_n_per_m: float, pitch_m: float, area_m2: float) -> float:
    """How far one turn of the adjuster shifts the bench range [Pa]: k pitch / A (force balance)."""
    return rate_n_per_m * pitch_m / area_m2
