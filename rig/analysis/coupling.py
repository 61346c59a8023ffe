"""Coupling: where to make the connector, and what the strokes before and after say of how it was made.

All SI, along the stroke coordinate; heights count from the actuator's own lower stop, where it rests alone
without air. X is the rated travel, S the actuator's own stroke. Air-to-open: the plug sits at the lower end
and the surplus S - X must be left below it. Air-to-close: the plug meets its seat on the way up, and the
surplus must be left above it. Everywhere: the gap is what the actuator could still go on the closed side.
"""

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import sqrt

from rig.analysis.result import Estimate
from rig.profile.model import Action

INCH = 0.0254
USUAL_SLACK_M = 0.25 * INCH  # 1-3/8 in of stroke on 1-1/8 in of travel; common practice, no source
LEAST_SLACK_M = INCH / 16  # less is said: a seat lapped twice eats it; assumption
ON_STOP_M = 0.012 * INCH  # this near its own stop the stem rests on it: read-out and squeeze; assumption
SLIP_M = 0.005 * INCH  # a closed position that moves this much between strokes is no noise; assumption
PACKING_SHARE = 0.15  # friction that grows by less is the actuator's alone; assumption
SURE = 2.0  # standard uncertainties


class Way(StrEnum):
    HELD_LIFT = "held lift"
    TOP_STOP = "top stop"
    SHORT_LIFT = "short lift"


class Verdict(StrEnum):
    """How the coupling turned out, each with its own cause and way back."""

    RIGHT = "coupled right"
    NOT_SEATED = "travel beyond rated"
    SLACK_LEFT_IN = "slack not taken out"
    SHORT = "short travel"
    SLIPPED = "connector slipped"
    NUTS_LOOSE = "jam nuts loose"
    NOT_MADE = "connector not made"
    TOO_EARLY = "connector made too early"
    NOT_PROVEN = "not proven"


@dataclass(frozen=True, slots=True)
class Alone:
    """What the uncoupled stroke told of the actuator. None: it was not seen."""

    stroke_m: Estimate
    spring_only_pa: Estimate | None  # at its own lower stop
    friction_n: Estimate | None  # half band
    pa_per_m: Estimate | None  # rate / area

    def slack_m(self, rated_travel_m: float) -> float:
        """S - X: what must end up on the closed side."""
        return self.stroke_m.value - rated_travel_m


@dataclass(frozen=True, slots=True)
class Connected:
    """What the strokes after coupling told. `closed_m`: heights of the closed position, stroke by stroke."""

    travel_m: Estimate | None
    spring_only_pa: Estimate | None
    friction_n: Estimate | None
    seat_load_n: Estimate | None
    closed_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Rated:
    """What the profile asks."""

    action: Action
    travel_m: float
    surplus_m: float
    area_m2: float
    needed_seat_load_n: float | None = None

    @property
    def aim_m(self) -> float:
        """Travel aimed at: half way into the surplus, for below rated nothing is accepted."""
        return self.travel_m + 0.5 * self.surplus_m


@dataclass(frozen=True, slots=True)
class Proof:
    """The findings behind the verdict, as far as they could be had."""

    verdict: Verdict
    why: str = ""  # what could not be measured, or what the verdict rests on
    gap_m: Estimate | None = None  # S - travel: how far the actuator is off its own stop when closed
    rise_pa: Estimate | None = None  # of the spring-only pressure at closed, measured
    expected_rise_pa: Estimate | None = None  # rate x gap / area
    packing_n: Estimate | None = None  # friction now less friction alone
    seat_load_n: Estimate | None = None
    moved_m: float = 0.0  # most that the closed position moved between strokes

    @property
    def seat_load_proven(self) -> bool:
        return self.gap_m is not None and self.gap_m.value > SURE * self.gap_m.standard_uncertainty


def recommended(
    action: Action, resolution_m: float, tolerance_m: float, top_pa: float, highest_pa: float
) -> tuple[Way, str]:
    """The way that the stand can go best, and why. `top_pa`: what puts the actuator on its upper stop."""
    if resolution_m <= tolerance_m:
        return (
            Way.HELD_LIFT,
            "the stand reads the stem finely enough to hold it where the slack ends up right",
        )
    if action is Action.AIR_TO_CLOSE:
        return Way.TOP_STOP, "the stem is read too coarsely to hold it, and its open stop needs no air"
    if top_pa <= highest_pa:
        return Way.TOP_STOP, "the stem is read too coarsely to hold it; its upper stop holds it"
    return (
        Way.SHORT_LIFT,
        "the stem is read too coarsely to hold it, and the air does not reach its upper stop",
    )


def hold_height_m(action: Action, stroke_m: float, aim_m: float) -> float:
    """Height at which to hold the stem with the plug on its seat: S - travel, or travel (air-to-close)."""
    return stroke_m - aim_m if action is Action.AIR_TO_OPEN else aim_m


def judge_coupling(rated: Rated, alone: Alone | None, after: Connected, noise_m: float = 0.0) -> Proof:
    """The verdict, from the gravest finding down. `noise_m`: doubt of one closed position."""
    moved, verdict = _moved(after.closed_m, max(SLIP_M, 4.0 * noise_m))
    gap, packing = (
        _gap(rated.action, alone, after),
        _less(after.friction_n, alone.friction_n if alone else None),
    )
    rise, expected = _rises(rated.action, alone, after, gap)
    if verdict is None:
        verdict = _by_place(rated, alone, after, packing)
    why = "" if after.travel_m is not None else "travel could not be measured"
    return Proof(verdict, why, gap, rise, expected, packing, after.seat_load_n, moved)


def _moved(closed_m: tuple[float, ...], limit_m: float) -> tuple[float, Verdict | None]:
    """How far the closed position went between strokes; steps one way in most of them are turns."""
    steps = [b - a for a, b in pairwise(closed_m)]
    if not steps:
        return 0.0, None
    largest = max(steps, key=abs)
    clear = [step for step in steps if abs(step) > limit_m]
    if not clear:
        return largest, None
    one_way = len({step > 0.0 for step in clear}) == 1
    return largest, Verdict.NUTS_LOOSE if one_way and len(clear) > 1 else Verdict.SLIPPED


def _by_place(rated: Rated, alone: Alone | None, after: Connected, packing: Estimate | None) -> Verdict:
    travel = after.travel_m
    if travel is None or not after.closed_m:
        return Verdict.NOT_PROVEN
    doubt = SURE * travel.standard_uncertainty
    if _on_stop(rated.action, alone, after):
        same = alone is not None and abs(travel.value - alone.stroke_m.value) < 2.0 * ON_STOP_M
        return Verdict.NOT_MADE if same and _no_packing(alone, packing) else Verdict.SLACK_LEFT_IN
    if travel.value + doubt < rated.travel_m:
        return Verdict.SHORT
    if travel.value - doubt > rated.travel_m + rated.surplus_m:
        return Verdict.NOT_SEATED
    if not rated.travel_m <= travel.value <= rated.travel_m + rated.surplus_m:
        return Verdict.SHORT if travel.value < rated.travel_m else Verdict.NOT_SEATED
    return Verdict.RIGHT


def _on_stop(action: Action, alone: Alone | None, after: Connected) -> bool:
    """Whether the closed position is one of the actuator's own stops."""
    closed = after.closed_m[-1]
    if action is Action.AIR_TO_OPEN:
        return closed < ON_STOP_M
    return alone is not None and closed > alone.stroke_m.value - ON_STOP_M


def _no_packing(alone: Alone | None, packing: Estimate | None) -> bool:
    if alone is None or alone.friction_n is None or packing is None:
        return False
    return packing.value < max(PACKING_SHARE * alone.friction_n.value, SURE * packing.standard_uncertainty)


def _gap(action: Action, alone: Alone | None, after: Connected) -> Estimate | None:
    """How far the actuator is off its own stop when closed. By place, not as S - travel: a valve with an
    open stop of its own has less travel than the actuator leaves it."""
    if alone is None or after.travel_m is None or not after.closed_m:
        return None
    closed = Estimate(after.closed_m[-1], after.travel_m.standard_uncertainty)
    return closed if action is Action.AIR_TO_OPEN else _less(alone.stroke_m, closed)


def _rises(
    action: Action, alone: Alone | None, after: Connected, gap: Estimate | None
) -> tuple[Estimate | None, Estimate | None]:
    """Rise of the pressure at closed, measured and expected. Air-to-close: it closes earlier than the
    actuator's stop would be met, and its lower end stays where it was, so there is nothing to compare."""
    if alone is None or action is Action.AIR_TO_CLOSE:
        return None, None
    rise = _less(after.spring_only_pa, alone.spring_only_pa)
    if gap is None or alone.pa_per_m is None:
        return rise, None
    slope = alone.pa_per_m
    doubt = sqrt(
        (slope.value * gap.standard_uncertainty) ** 2 + (gap.value * slope.standard_uncertainty) ** 2
    )
    return rise, Estimate(slope.value * gap.value, doubt)


def _less(a: Estimate | None, b: Estimate | None) -> Estimate | None:
    if a is None or b is None:
        return None
    return Estimate(a.value - b.value, sqrt(a.standard_uncertainty**2 + b.standard_uncertainty**2))
