"""What the adjuster does: pressure per turn, from the spring's slope and the thread, and from its response.

One turn moves the spring seat by a pitch: it shifts lift-off by k pitch / A (force balance). The slope k / A
is measured by every short stroke; the pitch is the profile's, until the response to a turn tells better.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

EIGHTH = 0.125
HANDS_TURNS = 0.06  # standard: what comes of "a quarter turn" by hand and eye; assumption
KNOWN_SHARE = 0.1  # relative standard uncertainty of a pitch from the profile and a measured slope
USUAL_PITCH_M, USUAL_SHARE = 2.0e-3, 0.35  # adjuster threads where the profile names none; assumption
# A thread named in the profile is taken for right or for any other; an adjuster for one whose turns arrive
# whole at the spring, or only in part, never twice the same (rust, lost motion). Assumptions.
RIGHT_THREAD, WRONG_SHARE = 0.7, 0.5
WHOLE_ADJUSTER, LATE_SHARES = 0.9, (0.35, 0.5, 0.65, 0.8, 0.95)
NO_RESPONSE_SHARE = 0.2  # of what the turn should have done: less is no response
STRANGE = 1.35  # response over expectation (or the other way round) beyond which the profile is doubted
BOLDEST = 2.0  # times the turns that the profile's thread would need: more only if turns truly arrive
RATIOS = np.exp(np.linspace(-1.4, 1.4, 561))  # what a turn may truly do, over what is expected of it


@dataclass(frozen=True, slots=True)
class Turned:
    """One adjustment: turns asked (in: positive), and lift-off before and after [Pa]."""

    turns: float
    before_pa: float
    after_pa: float

    @property
    def change_pa(self) -> float:
        return self.after_pa - self.before_pa


@dataclass(frozen=True, slots=True)
class PerTurn:
    """Pressure per turn in [Pa], positive where turning in raises lift-off; `learned` from a response."""

    value: float
    standard_uncertainty: float
    learned: bool


def expected_per_turn(pa_per_m: float, pitch_m: float | None) -> PerTurn | None:
    """k pitch / A [Pa], of a usual thread where the pitch is not known; None without a slope."""
    if pa_per_m <= 0.0:
        return None
    share = KNOWN_SHARE if pitch_m is not None else USUAL_SHARE
    value = pa_per_m * (pitch_m if pitch_m is not None else USUAL_PITCH_M)
    return PerTurn(value, share * value, learned=False)


def learned_per_turn(done: Sequence[Turned], expected: PerTurn | None) -> PerTurn | None:
    """Best knowledge after the turns done; `expected` as it is where none of them had a response.

    Bayes over the thread and over an adjuster whose turns arrive whole or in part: the expectation is the
    prior, the responses are the data, each with the error of a hand; the value is what the next turn may
    be taken to do, so a finer thread and turns that arrive in part come to much the same. Turns the other
    way than expected, or with nothing expected of
    them, are taken as they come: least squares of change over turns.
    """
    useful = [turned for turned in done if responded(turned, expected)]
    if not useful:
        return expected
    turns = sum(turned.turns**2 for turned in useful)
    value = sum(turned.turns * turned.change_pa for turned in useful) / turns
    if expected is None or value * expected.value <= 0.0:
        u = abs(value) * HANDS_TURNS * sqrt(len(useful) / turns)
        return PerTurn(value, max(u, 0.02 * abs(value)), learned=True)
    whole = WHOLE_ADJUSTER * _prior(expected)
    late = (1.0 - WHOLE_ADJUSTER) * _prior(expected)
    for turned in useful:
        whole *= _likelihood(turned, expected, (1.0,))
        late *= _likelihood(turned, expected, LATE_SHARES)
    arriving = sum(LATE_SHARES) / len(LATE_SHARES)  # what a late adjuster may be taken to do next
    everything = float(whole.sum() + late.sum())
    mean = float((whole + arriving * late) @ RATIOS) / everything
    square = float((whole + arriving**2 * late) @ RATIOS**2) / everything
    spread = sqrt(max(0.0, square - mean**2))
    return PerTurn(mean * expected.value, spread * abs(expected.value), learned=True)


def _prior(expected: PerTurn) -> NDArray[np.float64]:
    share = expected.standard_uncertainty / abs(expected.value)
    logs = np.log(RATIOS)
    right = np.exp(-0.5 * (logs / share) ** 2) / share
    if share >= USUAL_SHARE:  # a usual thread, not one that the profile names
        return right
    wrong = np.exp(-0.5 * (logs / WRONG_SHARE) ** 2) / WRONG_SHARE
    belief: NDArray[np.float64] = RIGHT_THREAD * right + (1.0 - RIGHT_THREAD) * wrong
    return belief


def _likelihood(turned: Turned, expected: PerTurn, shares: Sequence[float]) -> NDArray[np.float64]:
    """Of the response, for each ratio: change = one of the shares x (turns + error of the hand) x effect."""
    effect = RATIOS * abs(expected.value)
    likelihood = np.zeros_like(RATIOS)
    for share in shares:
        spread = HANDS_TURNS * share * effect
        off = abs(turned.change_pa) - share * abs(turned.turns) * effect
        likelihood += np.exp(-0.5 * (off / spread) ** 2) / spread / len(shares)
    return likelihood


def responded(turned: Turned, expected: PerTurn | None) -> bool:
    """Whether lift-off moved by a fair part of what the turn should have done."""
    if expected is None:
        return True
    return abs(turned.change_pa) > NO_RESPONSE_SHARE * abs(turned.turns * expected.value)


def is_strange(turned: Turned, expected: PerTurn | None) -> bool:
    """The response is too far from the expectation for a hand that is an eighth off."""
    if expected is None or not responded(turned, expected):
        return False
    ratio = turned.change_pa / (turned.turns * expected.value)
    slack = 1.0 + EIGHTH / max(abs(turned.turns), EIGHTH)
    return not 1.0 / (STRANGE * slack) < ratio < STRANGE * slack


def advised_turns(off_pa: float, per_turn: PerTurn, expected: PerTurn | None) -> float:
    """Turns (in: positive) that bring a lift-off that is `off_pa` too high to where it belongs.

    In eighths. Where the adjuster did less than its thread should, the turns may be arriving late: then no
    more than `BOLDEST` times what the thread says, so that they cannot throw the spring to the other side
    by more than it is off now.
    """
    turns = -off_pa / per_turn.value
    if expected is not None and per_turn.value * expected.value > 0.0:
        most = BOLDEST * abs(off_pa / expected.value)
        turns = max(-most, min(most, turns))
    return round(turns / EIGHTH) * EIGHTH


def turns_text(turns: float) -> str:
    """'1-1/4 turns', '1/8 turn', '1 turn'; without sign."""
    eighths = round(abs(turns) / EIGHTH)
    whole, over, under = eighths // 8, eighths % 8, 8
    while over and over % 2 == 0:
        over, under = over // 2, under // 2
    fraction = f"{over}/{under}" if over else ""
    number = "-".join(part for part in (str(whole) if whole else "", fraction) if part) or "0"
    return f"{number} turn{'s' if eighths > 8 else ''}"


def smallest_step_pa(per_turn: PerTurn) -> float:
    """What an eighth of a turn does [Pa]."""
    return abs(per_turn.value) * EIGHTH
