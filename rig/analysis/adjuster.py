"""What the adjuster does: pressure per turn, from the spring's slope and the thread, and from its response.

One turn moves the spring seat by a pitch: it shifts lift-off by k pitch / A (force balance). The slope k / A
is measured by every short stroke; the pitch is the profile's, until the response to a turn tells better.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

EIGHTH = 0.125
HANDS_TURNS = 0.06  # standard: what comes of "a quarter turn" by hand and eye; assumption
KNOWN_SHARE = 0.1  # relative standard uncertainty of a pitch from the profile and a measured slope
NO_RESPONSE_SHARE = 0.2  # of what the turn should have done: less is no response
STRANGE = 1.35  # response over expectation (or the other way round) beyond which the profile is doubted
LATE_SHARE = 0.15  # of a turn that seemed lost: it may have been late, so the next is taken for a little more
BOLDEST = 2.0  # times the turns that the profile's thread would need: more only if turns truly arrive


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
    """k pitch / A [Pa]; None where the thread is not known."""
    if pitch_m is None or pa_per_m <= 0.0:
        return None
    value = pa_per_m * pitch_m
    return PerTurn(value, KNOWN_SHARE * value, learned=False)


def learned_per_turn(done: Sequence[Turned], expected: PerTurn | None) -> PerTurn | None:
    """Best knowledge after the turns done: least squares of change over turns, the expectation as one more
    observation. Turns that had no response tell nothing of the thread and are left out. Less response than
    expected has two explanations, a finer thread and turns that arrive late: it is not believed entirely."""
    useful = [turned for turned in done if responded(turned, expected)]
    if not useful:
        return expected
    turns = sum(turned.turns**2 for turned in useful)
    value = sum(turned.turns * turned.change_pa for turned in useful) / turns
    u = abs(value) * HANDS_TURNS * sqrt(len(useful)) / sqrt(turns)
    if expected is not None and 0.0 < value / expected.value < 1.0:
        value += LATE_SHARE * (expected.value - value)
    if expected is None or not 1.0 / STRANGE < value / expected.value < STRANGE:
        return PerTurn(value, max(u, 0.02 * abs(value)), learned=True)
    weight, prior = 1.0 / max(u, 1e-9) ** 2, 1.0 / expected.standard_uncertainty**2
    blend = (value * weight + expected.value * prior) / (weight + prior)
    return PerTurn(blend, 1.0 / sqrt(weight + prior), learned=True)


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
