"""A valve model's profile: what valve is this, and what is it rated for? No I/O. All values SI."""

from dataclasses import dataclass, field
from enum import StrEnum


class Action(StrEnum):
    AIR_TO_OPEN = "air-to-open"
    AIR_TO_CLOSE = "air-to-close"


class Basis(StrEnum):
    """What a bench range is meant on."""

    FRICTION_INCLUDED = "friction included"
    SPRING_ONLY = "spring only"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Allowed deviation from a rated value: rated - minus .. rated + plus, both >= 0."""

    minus: float
    plus: float


@dataclass(frozen=True, slots=True)
class Profile:
    model: str
    title: str
    action: Action
    area_m2: float
    rated_travel_m: float
    travel_surplus_m: float  # accepted above rated; below rated nothing is
    bench_lower_pa: float
    bench_upper_pa: float
    lower_tolerance: Tolerance  # [Pa]
    upper_tolerance: Tolerance  # [Pa]
    basis: Basis
    casing_maximum_pa: float
    supply_pa: float  # the air the valve will have in service
    spring_rate_n_per_m: float | None = None
    adjuster_pitch_m: float | None = None  # one turn of the adjuster
    required_seat_load_n: float | None = None
    actuator_stroke_m: float | None = None  # the actuator's own stroke, uncoupled
    serial_number: str = ""
    area_relative_uncertainty: float = 0.03  # half width; common practice, no source: 2-5 %
    notes: tuple[str, ...] = field(default_factory=tuple)
    source: str = ""

    @property
    def expected_rate_n_per_m(self) -> float:
        """Spring rate that the rated range implies [N/m]: A (p_upper - p_lower) / travel."""
        return self.area_m2 * (self.bench_upper_pa - self.bench_lower_pa) / self.rated_travel_m
