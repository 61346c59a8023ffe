"""Coupling stem and plug where a person makes it; heights count from the actuator's own lower stop. SI."""

from dataclasses import replace

from simulator.actuator import AIR_TO_OPEN, Actuator


def height_m(actuator: Actuator, x_m: float) -> float:
    """Actuator stem above its own lower stop."""
    return x_m + actuator.slack_m


def uncoupled(actuator: Actuator) -> Actuator:
    """The connector undone: the stem runs between its own stops, packing and seat no longer touch it."""
    return replace(actuator, coupled=False)


def coupled_at(actuator: Actuator, height: float, plug_off_seat_m: float = 0.0) -> Actuator:
    """The connector made with the stem at `height` and the plug `plug_off_seat_m` off its seat.

    Air-to-open: slack = height - plug lift; force and volume at the seat follow from those at the stop.
    Air-to-close: the plug meets its seat that much beyond the present height.
    """
    if actuator.action == AIR_TO_OPEN:
        slack = height - plug_off_seat_m
        at_stop_n = actuator.preload_n - actuator.spring_rate_n_per_m * actuator.slack_m
        return replace(
            actuator,
            coupled=True,
            slack_m=slack,
            casing_volume_m3=actuator.casing_volume_m3 + actuator.area_m2 * (slack - actuator.slack_m),
            travel_m=min(actuator.stroke_m - slack, actuator.plug_stop_m),
            preload_n=at_stop_n + actuator.spring_rate_n_per_m * slack,
        )
    return replace(actuator, coupled=True, travel_m=min(height + plug_off_seat_m, actuator.stroke_m))
