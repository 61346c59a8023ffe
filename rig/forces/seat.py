"""The load a seat needs: given, or load per length of seat line times its circumference. None is built in."""

from math import pi

from rig.forces.line import Line, derived, given
from rig.profile.model import Profile
from rig.units import Dimension


def line_load_times_circumference(profile: Profile) -> Line:
    """Seat load required [N] = load per length of seat line × π × seat bore."""
    trim = profile.trim
    line_load = trim.seat_line_load_n_per_m
    need = "required seat load (or seat line load and seat bore)"
    per_length = given("seat_line_load", "seat line load", Dimension.LINE_LOAD, line_load, need=need)
    bore = given("seat_bore", "seat bore", Dimension.LENGTH, trim.seat_bore_m if line_load else 0.0)
    source = trim.seat_line_load_source
    return derived(
        "seat_load_required",
        "seat load required",
        Dimension.FORCE,
        "{} × π × {}",
        lambda load, d: load * pi * d,
        per_length,
        bore,
        note=f"seat line load: {source}" if source else "",
    )


def seat_load_required(profile: Profile) -> Line:
    """As the profile gives it; computed only where it does not."""
    load = profile.required_seat_load_n
    if load is None:
        return line_load_times_circumference(profile)
    return given("seat_load_required", "seat load required", Dimension.FORCE, load, "given in the profile")
