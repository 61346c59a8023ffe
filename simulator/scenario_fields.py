"""Every key that a scenario file may hold: its dimension, and what it does to the healthy actuator."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from rig.units import Dimension
from simulator.actuator import AIR_TO_OPEN, Actuator, Friction
from simulator.air import conductance_si

Change = Callable[[Actuator, Any], Actuator]


@dataclass(frozen=True, slots=True)
class Field:
    """One key: `dimension` None is a plain number, a truth value or a word."""

    dimension: Dimension | None
    change: Change


def _set(name: str) -> Change:
    return lambda a, value: replace(a, **{name: value})


def _friction(name: str) -> Change:
    return lambda a, value: replace(a, friction=replace(a.friction, **{name: value}))


def _friction_factor(a: Actuator, factor: float) -> Actuator:
    f = a.friction
    return replace(a, friction=replace(f, coulomb_n=f.coulomb_n * factor))


def _rate_factor(a: Actuator, factor: float) -> Actuator:
    """Another spring, set so that it is right at half travel: the ends go off in opposite ways."""
    rate = a.spring_rate_n_per_m * factor
    middle = 0.5 * a.rated_travel_m * (a.spring_rate_n_per_m - rate)
    return replace(a, spring_rate_n_per_m=rate, preload_n=a.preload_n + middle)


def _adjuster_off(a: Actuator, shift_pa: float) -> Actuator:
    return replace(a, preload_n=a.preload_n + shift_pa * a.area_m2)


def _short_by(a: Actuator, short_m: float) -> Actuator:
    """Travel ends early, the closed end is as it should be: more than the right slack is taken out."""
    slack = a.slack_m + short_m if a.action == AIR_TO_OPEN else a.slack_m
    return replace(a, travel_m=a.travel_m - short_m, slack_m=slack)


def _not_seated_by(a: Actuator, gap_m: float) -> Actuator:
    """The plug stood so far off its seat when it was coupled: the stem goes on past the closed mark."""
    if a.action == AIR_TO_OPEN:
        preload = a.preload_n - a.spring_rate_n_per_m * gap_m
        return replace(a, travel_m=a.travel_m + gap_m, slack_m=a.slack_m - gap_m, preload_n=preload)
    return replace(a, travel_m=a.travel_m + gap_m)


def _slack_left_in(a: Actuator, how: str) -> Actuator:
    """At rest the actuator stands on its own stop. "set right": the adjuster hides it; "as coupled": not."""
    if how == "set right":
        return replace(a, slack_m=0.0, stroke_m=max(a.stroke_m, a.travel_m))
    preload = a.preload_n - a.spring_rate_n_per_m * a.slack_m
    return replace(a, slack_m=0.0, travel_m=a.stroke_m, preload_n=preload)


def _slack_taken_out(a: Actuator, taken_m: float) -> Actuator:
    """Air-to-open: the own stop stands so far below the seat and no farther; the adjuster is set right."""
    return replace(a, slack_m=taken_m, stroke_m=max(a.stroke_m, a.travel_m + taken_m))


def _stem_bent(a: Actuator, surplus: float) -> Actuator:
    """Friction grows by `surplus` towards full travel."""
    along = ((0.0, 1.0), (a.travel_m, 1.0 + surplus))
    return replace(a, friction=replace(a.friction, along=along))


def _galled(a: Actuator, surplus: float) -> Actuator:
    """A rough spot at six tenths of the travel, a twentieth of it wide."""
    at, half = 0.6 * a.travel_m, 0.025 * a.travel_m
    along = (
        (at - 2 * half, 1.0),
        (at - half, 1.0 + surplus),
        (at + half, 1.0 + surplus),
        (at + 2 * half, 1.0),
    )
    return replace(a, friction=replace(a.friction, along=along))


def _leak(a: Actuator, litres_per_s_bar: float) -> Actuator:
    return replace(a, leak_conductance=conductance_si(litres_per_s_bar))


def _tubing(a: Actuator, litres_per_s_bar: float) -> Actuator:
    return replace(a, tubing_conductance=conductance_si(litres_per_s_bar))


CONDITION: dict[str, Field] = {
    "friction_factor": Field(None, _friction_factor),
    "static_ratio": Field(None, _friction("static_ratio")),
    "stribeck_speed_m_per_s": Field(None, _friction("stribeck_m_per_s")),
    "healing_per_decade": Field(None, _friction("healing_per_decade")),
    "scatter": Field(Dimension.FRACTION, _friction("scatter")),
    "viscous_n_s_per_m": Field(None, _friction("viscous_n_s_per_m")),
    "bristle_stiffness": Field(Dimension.SPRING_RATE, _friction("bristle_n_per_m")),
    "spring_rate_factor": Field(None, _rate_factor),
    "adjuster_off": Field(Dimension.PRESSURE, _adjuster_off),
    "short_by": Field(Dimension.LENGTH, _short_by),
    "not_seated_by": Field(Dimension.LENGTH, _not_seated_by),
    "slack_left_in": Field(None, _slack_left_in),
    "slack_taken_out": Field(Dimension.LENGTH, _slack_taken_out),
    "stem_bent": Field(Dimension.FRACTION, _stem_bent),
    "galled": Field(Dimension.FRACTION, _galled),
    "leak_dm3_per_s_bar": Field(None, _leak),
    "tubing_dm3_per_s_bar": Field(None, _tubing),
    "connector_play": Field(Dimension.LENGTH, _set("connector_play_m")),
    "seat_stiffness": Field(Dimension.SPRING_RATE, _set("seat_stiffness_n_per_m")),
    "seat_rounding": Field(Dimension.LENGTH, _set("seat_rounding_m")),
    "mounting": Field(None, _set("mounting")),
    "moving_mass": Field(Dimension.MASS, _set("moving_mass_kg")),
    "casing_volume": Field(Dimension.VOLUME, _set("casing_volume_m3")),
    "area_change_per_m": Field(None, _set("area_change_per_m")),
    "unbalance": Field(Dimension.FORCE, _set("unbalance_n")),
    "end_bind_from": Field(Dimension.LENGTH, _set("end_bind_from_m")),
    "end_bind_rate": Field(Dimension.SPRING_RATE, _set("end_bind_n_per_m")),
    "adjuster_turns": Field(None, _set("adjuster_turns")),
    "coupled": Field(None, _set("coupled")),
}

ACTUATOR = {
    "action": None,
    "area": Dimension.AREA,
    "rated_travel": Dimension.LENGTH,
    "stroke": Dimension.LENGTH,
    "lower": Dimension.PRESSURE,
    "upper": Dimension.PRESSURE,
    "friction": Dimension.FRACTION,  # half band over the span from lower to upper
    "basis": None,
    "travel_surplus": Dimension.LENGTH,
}
AIR = {  # keys of the converter and the supply -> (field, dimension)
    "supply": ("supply_pa", Dimension.PRESSURE),
    "lag": ("lag_s", Dimension.TIME),
    "zero_error": ("zero_error_pa", Dimension.PRESSURE),
    "span_error": ("span_error", Dimension.FRACTION),
    "bow": ("bow_pa", Dimension.PRESSURE),
    "hysteresis": ("hysteresis_pa", Dimension.PRESSURE),
    "fill_dm3_per_s_bar": ("fill_conductance", None),
    "exhaust_dm3_per_s_bar": ("exhaust_conductance", None),
    "vent_dm3_per_s_bar": ("vent_conductance", None),
}
ERRORS = {  # keys of a transmitter -> (field, dimension)
    "noise": ("noise_share", Dimension.FRACTION),
    "zero": ("zero_share", Dimension.FRACTION),
    "span": ("span_share", Dimension.FRACTION),
    "lag": ("lag_s", Dimension.TIME),
    "resolution": ("resolution_share", Dimension.FRACTION),
    "update": ("update_s", Dimension.TIME),
}
INSTALLATION = {
    "position_reversed": ("position_reversed", None),
    "position_zero": ("position_zero_m", Dimension.LENGTH),
    "stop_cuts_valves": ("stop_cuts_valves", None),
}
TRUTH = {
    "contact_loss": Dimension.PRESSURE,
    "lift_off": Dimension.PRESSURE,
    "sliding_intercept": Dimension.PRESSURE,
    "full_travel": Dimension.PRESSURE,
    "at_rated_travel": Dimension.PRESSURE,
    "return_start": Dimension.PRESSURE,
    "reseat": Dimension.PRESSURE,
    "spring_only_lower": Dimension.PRESSURE,
    "spring_only_upper": Dimension.PRESSURE,
    "hysteresis": Dimension.PRESSURE,
    "friction": Dimension.FORCE,
    "spring_rate": Dimension.SPRING_RATE,
    "travel": Dimension.LENGTH,
    "slack": Dimension.LENGTH,
    "seat_load": Dimension.FORCE,
}
START = {
    "time": Dimension.TIME,
    "pressure": Dimension.PRESSURE,
    "travel": Dimension.LENGTH,
    "after": Dimension.TIME,
    "chance_per_s": None,
}
__all__ = ["ACTUATOR", "AIR", "CONDITION", "ERRORS", "INSTALLATION", "START", "TRUTH", "Field", "Friction"]
