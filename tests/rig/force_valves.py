"""Valves for the force tests, in round people's units so that a balance can be worked by hand."""

from dataclasses import replace
from typing import Any

from rig.forces.line import Line
from rig.profile.model import Action, Basis, Flow, Plug, Profile, Tolerance, Trim
from rig.units import UNIT_SETS, parse  # noqa: F401 - the tests' way to units

PEOPLE = UNIT_SETS["psi"]
LBF = 4.4482216152605  # N, exact (NIST SP 811, B.8: 4.448222 E+00)
INCH = 0.0254  # m, exact
PSI = LBF / INCH**2  # 6 894.757 Pa (NIST SP 811, B.8)

TRIM = Trim(
    seat_bore_m=2 * INCH,
    seat_line_load_n_per_m=60 * LBF / INCH,
    seat_line_load_source="the works' trim sheet",
    stem_diameter_m=0.5 * INCH,
    plug=Plug.PUSH_DOWN_TO_CLOSE,
    flow=Flow.FLOW_TO_OPEN,
    upstream_pa=100 * PSI,
    downstream_pa=20 * PSI,
    packing_friction_n=69 * LBF,
    moving_weight_n=20 * LBF,
)
OPENER = Profile(
    model="brine-letdown",
    title="Brine let-down valve",
    action=Action.AIR_TO_OPEN,
    area_m2=69 * INCH**2,
    rated_travel_m=1.125 * INCH,
    travel_surplus_m=INCH / 32,
    bench_lower_pa=10 * PSI,
    bench_upper_pa=30 * PSI,
    lower_tolerance=Tolerance(0.5 * PSI, 0.5 * PSI),
    upper_tolerance=Tolerance(1.0 * PSI, 1.0 * PSI),
    basis=Basis.SPRING_ONLY,
    casing_maximum_pa=55 * PSI,
    supply_pa=35 * PSI,
    trim=TRIM,
)
CLOSER = replace(
    OPENER,
    model="dosing-shutoff",
    title="Antiscalant dosing valve",
    action=Action.AIR_TO_CLOSE,
    bench_lower_pa=6 * PSI,
    bench_upper_pa=20 * PSI,
)


def with_trim(profile: Profile, **changes: Any) -> Profile:
    return replace(profile, trim=replace(profile.trim, **changes))


def people(line: Line) -> float:
    """A line's value in psi, lbf, in or in²."""
    assert line.value is not None, f"{line.name} needs {line.needs}"
    return line.value if line.dimension is None else PEOPLE.to(line.dimension, line.value)
