"""Everything found in one cycle: four corners, the sliding curve, sticking."""

from dataclasses import dataclass, replace
from statistics import median

from rig.analysis.corner import Contact, Corner, Missing, find_corner, orient
from rig.analysis.curve import Curve, fit_curve
from rig.analysis.stick import SMOOTH, BreakAway, Sticking, break_away, find_sticking
from rig.analysis.strokes import Cycle, Leg, Strokes
from rig.profile.model import Action, Profile


@dataclass(frozen=True, slots=True)
class Findings:
    """One cycle. Corners by where they are: `lift` and `full` on the way up, `fall` and `reseat` down."""

    number: int
    lift: Corner | Missing
    full: Corner | Missing
    fall: Corner | Missing
    reseat: Corner | Missing
    curve: Curve | None
    sticking: Sticking
    break_away: BreakAway | None  # None: the stem left its rest smoothly
    highest_m: float  # the furthest that was surely reached [m from the rest reading]


# Assumption: a metal stop or seat with what carries it gives way by this stiffness, or half or many times it.
METAL_N_PER_M = 2e8
TURNS_SHARE = 0.8  # of a stroke that met no stop: what is beyond may be the turn


def examine(cycle: Cycle, strokes: Strokes, profile: Profile) -> Findings:
    """Find what there is in one cycle of `profile`'s valve; never raises on a poor one."""
    stop_m_per_pa = profile.area_m2 / METAL_N_PER_M
    stop = Contact(stop_m_per_pa, stop_m_per_pa, strokes.noise_x)  # the actuator's own, metal on metal
    opening = profile.action is Action.AIR_TO_OPEN
    low_contact = replace(stop, far=True) if opening else stop
    high_contact = stop if opening else None  # a seat, metal or soft
    low = median(cycle.up.travel[: max(5, round(0.5 / strokes.scan_s))].tolist())
    high = cycle.top_m
    stroke = high - low
    none = Missing("the stem did not travel far enough")
    if stroke <= 0.0:
        return Findings(cycle.number, none, none, none, none, None, SMOOTH, None, high)
    legs = [cycle.up] if cycle.down is None else [cycle.up, cycle.down]
    curve = fit_curve(cycle, low, high)
    bow = curve.bow_y if curve is not None else 0.0
    no_return = Missing("the stroke back was not recorded")

    def corner(leg: Leg | None, low_end: bool, upward: bool) -> Corner | Missing:
        if leg is None:
            return no_return
        data = orient(leg, low_end, upward, low if low_end else high)
        after_turn = low_end == upward  # then friction is still turning, and the stem is not on its contact
        contact = None if after_turn else low_contact if low_end else high_contact
        return find_corner(data, stroke, strokes.scan_s, data.sign * bow, after_turn, contact)

    full, reseat = corner(cycle.up, False, True), corner(cycle.down, True, False)
    lift = _levelled(corner(cycle.up, True, True), reseat)
    # Where the pressure ended the stroke the stem slows down and turns: that is no creeping in hops.
    even = high if isinstance(full, Corner) else low + TURNS_SHARE * stroke
    sticking = find_sticking(legs, low, even, strokes.noise_x, strokes.scan_s)
    away = None
    usual = sticking.hop_m if sticking.sticking else 0.0
    if isinstance(lift, Corner):
        away = break_away(orient(cycle.up, True, True, low), lift, strokes.noise_x, strokes.scan_s, usual)
    return Findings(
        number=cycle.number,
        lift=lift,
        full=full,
        fall=_levelled(corner(cycle.down, False, False), full),
        reseat=reseat,
        curve=curve,
        sticking=sticking,
        break_away=away,
        highest_m=high,
    )


def _levelled(corner: Corner | Missing, other: Corner | Missing) -> Corner | Missing:
    """A corner after a turn, read at the travel of the corner that came to the same contact by sliding."""
    if isinstance(corner, Corner) and isinstance(other, Corner):
        return corner.at_level_of(other)
    return corner
