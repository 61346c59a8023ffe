"""Forces along the travel: spring, friction band, air at a few pressures, seat. Points, no drawing."""

from dataclasses import dataclass

from rig.forces.knowns import Knowns
from rig.forces.process import Process
from rig.forces.stroke import Stroke


@dataclass(frozen=True, slots=True)
class AirLevel:
    """A pressure and the force it makes on the diaphragm, the same along the whole travel."""

    name: str
    pressure_pa: float
    force_n: float


@dataclass(frozen=True, slots=True)
class Diagram:
    """Straight lines from rest to full travel [N]; each pair is (at rest, at full travel)."""

    travel_m: float
    spring_n: tuple[float, float]
    friction_n: float | None  # half band about the spring's line
    process_n: tuple[float, float] | None  # spring and what process and mounting add against the air
    air: tuple[AirLevel, ...]
    seat_at_rest: bool  # the seat is at the left end (air-to-open), else at the right
    seat_n: tuple[float, float] | None  # the seat's load as a stretch of force at its end

    @property
    def highest_n(self) -> float:
        forces = [*self.spring_n, *(self.process_n or ()), *(level.force_n for level in self.air)]
        return float(max(forces)) + (self.friction_n or 0.0)


def diagram_of(knowns: Knowns, process: Process, stroke: Stroke) -> Diagram | None:
    """None where the spring's line is not known."""
    start, end = stroke.preload.value, stroke.spring_full.value
    area, travel = knowns.area.value, knowns.travel.value
    if start is None or end is None or area is None or travel is None:
        return None
    profile = knowns.profile
    levels = (
        ("lower", profile.bench_lower_pa),
        ("upper", profile.bench_upper_pa),
        ("supply", profile.supply_pa),
    )
    added = process.resisting_rest.value, process.resisting_full.value
    with_process = None
    if process.stated and added[0] is not None and added[1] is not None:
        with_process = (start + added[0], end + added[1])
    return Diagram(
        travel_m=travel,
        spring_n=(start, end),
        friction_n=knowns.friction.value,
        process_n=with_process,
        air=tuple(AirLevel(name, pressure, area * pressure) for name, pressure in levels),
        seat_at_rest=knowns.opens_with_air,
        seat_n=_seat(knowns, stroke, end, area),
    )


def _seat(knowns: Knowns, stroke: Stroke, end: float, area: float) -> tuple[float, float] | None:
    """Air-to-open: from nothing up to A × reseat. Air-to-close: from the sliding line up to the supply."""
    load = stroke.seat_load.value
    if load is None or load <= 0.0:
        return None
    if knowns.opens_with_air:
        return 0.0, load
    top = area * knowns.profile.supply_pa
    return top - load, top
