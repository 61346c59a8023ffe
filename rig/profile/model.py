"""A valve model's profile: what valve is this, and what is it rated for? No I/O. All values SI."""

from dataclasses import dataclass, field
from enum import StrEnum
from math import pi


class Action(StrEnum):
    AIR_TO_OPEN = "air-to-open"
    AIR_TO_CLOSE = "air-to-close"


class Basis(StrEnum):
    """What a bench range is meant on."""

    FRICTION_INCLUDED = "friction included"
    SPRING_ONLY = "spring only"


class DecisionRule(StrEnum):
    """How near to a limit a value may lie and still be decided on (JCGM 106:2012, clause 8)."""

    GUARDED = "guarded acceptance"  # a guard band of U on both sides of each limit: undecided inside it
    SIMPLE = "simple acceptance"  # the value decides; refused to be called either way where U > tolerance / 4
    SHARED = "shared risk"  # the value decides, whatever its uncertainty


class Term(StrEnum):
    """Terms of IEC 61298-2 and ISA-51.1 that a job may limit; the value is the key in the file."""

    INACCURACY = "inaccuracy"
    HYSTERESIS = "hysteresis"
    DEAD_BAND = "dead_band"
    NON_REPEATABILITY = "non_repeatability"
    LINEARITY_TERMINAL = "linearity_terminal"
    LINEARITY_INDEPENDENT = "linearity_independent"
    LINEARITY_ZERO_BASED = "linearity_zero_based"


@dataclass(frozen=True, slots=True)
class TermLimit:
    """What a job allows of one term, and who says so."""

    term: Term
    at_most: float  # share of rated travel; of dead band: of the input span
    source: str  # as the person wrote it


class Plug(StrEnum):
    """Which way the stem pushes a plug onto its seat."""

    PUSH_DOWN_TO_CLOSE = "push-down-to-close"  # the stem is on the body's side of the seat
    PUSH_DOWN_TO_OPEN = "push-down-to-open"  # the stem is on the port's side of the seat


class Flow(StrEnum):
    FLOW_TO_OPEN = "flow-to-open"  # the inlet is on the port's side of the plug
    FLOW_TO_CLOSE = "flow-to-close"  # the inlet is on the body's side of the plug


class Mounting(StrEnum):
    """How the actuator stands on the valve in service; on the stand it is upright."""

    UPRIGHT = "upright"
    INVERTED = "inverted"
    ON_ITS_SIDE = "on its side"


@dataclass(frozen=True, slots=True)
class Trim:
    """Plug, seat, packing and what the process does to them. None: not known, so never counted as zero."""

    seat_bore_m: float | None = None
    seat_line_load_n_per_m: float | None = None  # for the leakage class wanted; published tables differ
    seat_line_load_source: str = ""
    stem_diameter_m: float | None = None
    balanced: bool = False
    balance_seal_bore_m: float | None = None  # of a balanced plug: bore that its seal runs in
    unbalanced_area_m2: float | None = None  # given instead of bores: seat area less seal area, signed
    plug: Plug | None = None
    flow: Flow | None = None
    upstream_pa: float | None = None  # at shut-off
    downstream_pa: float | None = None
    open_upstream_pa: float | None = None  # wide open
    open_downstream_pa: float | None = None
    packing_friction_n: float | None = None  # half band, allowed for
    moving_weight_n: float | None = None  # stem, plug and connector
    mounting: Mounting = Mounting.UPRIGHT

    @property
    def seat_line_times_load_n(self) -> float | None:
        """Seat load required [N]: load per length of seat line × π × seat bore; None without both."""
        if self.seat_line_load_n_per_m is None or self.seat_bore_m is None:
            return None
        return self.seat_line_load_n_per_m * pi * self.seat_bore_m


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
    trim: Trim = field(default_factory=Trim)
    obtainable_ranges_pa: tuple[tuple[float, float], ...] = ()  # bench ranges of the springs to be had
    decision_rule: DecisionRule = DecisionRule.GUARDED
    supply_margin_pa: float | None = None  # wanted above the lowest supply that does the work
    performance_limits: tuple[TermLimit, ...] = ()  # none of our own: what is allowed depends on the job

    @property
    def needed_seat_load_n(self) -> float | None:
        """As given, else load per length × circumference [N]; None where neither is known."""
        given = self.required_seat_load_n
        return self.trim.seat_line_times_load_n if given is None else given

    @property
    def expected_rate_n_per_m(self) -> float:
        """Spring rate that the rated range implies [N/m]: A (p_upper - p_lower) / travel."""
        return self.area_m2 * (self.bench_upper_pa - self.bench_lower_pa) / self.rated_travel_m
