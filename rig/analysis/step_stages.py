"""The stages of a step-and-settle run, as its procedure marks them and its record is read by.

A point is a share of the input span; its stage says in words which one, and from which side it was come to.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

TURN = "turn above the last point"
LAND = "down to rest"

_POINT = re.compile(r"(to|at|dead band at) (-?\d+(?:\.\d+)?) % (rising|falling|turned)")


class Doing(StrEnum):
    APPROACH = "to"
    HOLD = "at"  # settled: what is read counts
    DEAD_BAND = "dead band at"


class Way(StrEnum):
    RISING = "rising"
    FALLING = "falling"
    TURNED = "turned"  # of a dead band: held where the reversal is


@dataclass(frozen=True, slots=True)
class StepStage:
    doing: Doing
    point: float  # share of the input span
    way: Way

    def __str__(self) -> str:
        return f"{self.doing.value} {100.0 * self.point:.10g} % {self.way.value}"


def read_stage(text: str) -> StepStage | None:
    """None for a stage that belongs to no point."""
    found = _POINT.fullmatch(text)
    if found is None:
        return None
    return StepStage(Doing(found[1]), float(found[2]) / 100.0, Way(found[3]))
