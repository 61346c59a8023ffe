"""One fault: what, how big, where, from when to when."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Trigger:
    """When a fault starts or ends: the first of those given that is reached; none given means at once.

    `travel_m` and `pressure_pa` are reached from below where `rising`, else from above.
    """

    time_s: float | None = None
    pressure_pa: float | None = None
    travel_m: float | None = None
    after_s: float | None = None  # since the fault began (an end only)
    stroke: int | None = None  # counts full ups of the stem: 1 is the first
    chance_per_s: float | None = None
    rising: bool = True


NOW = Trigger()
NEVER = Trigger(time_s=float("inf"))


@dataclass(frozen=True, slots=True)
class Fault:
    """`kind` is a name from `simulator.faults.kinds`; `size` in the unit that the kind states."""

    kind: str
    size: float = 1.0
    where: str = ""  # transmitter role, module or second role, as the kind needs it
    start: Trigger = field(default=NOW)
    end: Trigger = field(default=NEVER)
