"""Results as objects: quantity, value, uncertainty, limits, outcome. Not measured is never a pass."""

from dataclasses import dataclass, field
from enum import StrEnum


class Outcome(StrEnum):
    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    STOPPED = "stopped"
    NOT_JUDGED = "not judged"  # no limit was asked of it
    NOT_MEASURED = "not measured"


QUANTITIES = (
    "lift_off",
    "sliding_intercept",
    "full_travel",
    "return_start",
    "reseat",
    "travel",
    "friction",
    "spring_rate",
    "spring_only_lower",
    "spring_only_upper",
    "seat_load",
    "hysteresis",
)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A measured value [SI] with its standard uncertainty [SI] and degrees of freedom (inf: known)."""

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = float("inf")
    method: str = ""


@dataclass(frozen=True, slots=True)
class Component:
    """One line of an uncertainty budget: standard uncertainty of the quantity from one source [SI]."""

    source: str  # plain words
    standard_uncertainty: float
    degrees_of_freedom: float = float("inf")
    statistical: bool = False  # GUM type A


@dataclass(frozen=True, slots=True)
class Quantity:
    """One line of a result. `value` and `expanded_uncertainty` (95 %) are SI, None when not measured."""

    key: str
    value: float | None
    expanded_uncertainty: float | None
    limits: tuple[float, float] | None  # SI
    outcome: Outcome
    method: str = ""
    why: str = ""  # why it was not measured, or what the outcome rests on
    standard_uncertainty: float | None = None  # [SI]
    degrees_of_freedom: float = float("inf")
    coverage_factor: float = 2.0
    budget: tuple[Component, ...] = ()
    conformity: float | None = None  # probability that the true value lies within the limits
    risk: str = ""  # of the outcome, in words


@dataclass(frozen=True, slots=True)
class CheckResult:
    outcome: Outcome
    basis: str
    quantities: dict[str, Quantity]
    cycles: tuple[dict[str, Estimate], ...] = ()  # the same keys, cycle by cycle
    advice: tuple[str, ...] = ()
    trips: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default_factory=tuple)
    ended: str = ""  # why there were no more cycles; empty where a record does not say
