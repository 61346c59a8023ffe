"""The adjuster: turns for a wanted shift of the range. Tightening raises both ends alike."""

from rig.profile.thread import pressure_per_turn_pa, thread_pitch_m

__all__ = ["adjuster_turns", "pressure_per_turn_pa", "thread_pitch_m"]


def adjuster_turns(
    area_m2: float, pressure_change_pa: float, spring_rate_n_per_m: float, pitch_m: float
) -> float:
    """Turns that shift the range by `pressure_change_pa`: A · ΔP / (k · pitch). Positive: tighten the spring.

    Raises ValueError unless area, rate and pitch are above zero.
    """
    if not (area_m2 > 0.0 and spring_rate_n_per_m > 0.0 and pitch_m > 0.0):
        raise ValueError(
            f"area {area_m2} m2, rate {spring_rate_n_per_m} N/m and pitch {pitch_m} m must be above 0"
        )
    return pressure_change_pa / pressure_per_turn_pa(area_m2, spring_rate_n_per_m, pitch_m)
