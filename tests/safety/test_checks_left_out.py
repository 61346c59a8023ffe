"""What the checks leave out, and which mode looks for what."""

from dataclasses import replace

import pytest

from safety import checks
from safety.checks import CHECKS, Check
from safety.limits import PSI
from safety.signals import Contact, Health
from safety.state import Mode, Run
from safety.track import Track

from .looks import BASE, NOW, READING, VENTING, found, level, mark, pressed, remember
from .scene import limits

# -- what is left out ---------------------------------------------------------------------------------


def test_a_quick_fall_while_venting_is_no_jump() -> None:
    fast = level(40.0 * PSI, step=-30.0 * PSI, step_s=0.02)  # 70 to 40 psi in a scan
    assert not found(checks.pressure_jumps, replace(remember(pressure=fast), command=VENTING))
    assert found(checks.pressure_jumps, remember(pressure=fast))  # with the vent shut


def test_a_rise_while_venting_is_a_jump_however_much_was_there() -> None:
    risen = remember(pressure=level(60.0 * PSI, step=10.0 * PSI, step_s=0.02))
    assert found(checks.pressure_jumps, replace(risen, command=VENTING))


def test_a_stem_that_was_not_looked_at_for_long_has_not_jumped() -> None:
    far = {"jump_share": 0.5, "travel_max_m": 0.5, "gap_max_s": 1.0}
    seen, unseen = (remember(position=level(0.0, step=0.4, step_s=passed)) for passed in (1.0, 1.5))
    assert found(checks.position_jumps, seen, **far)
    assert not found(checks.position_jumps, unseen, **far)


def test_an_inferred_pressure_cannot_jump_but_the_position_can() -> None:
    inferred = replace(READING, pressure_is_inferred=True)
    state = remember(pressure=level(0.0, step=1e9), position=level(0.0, step=1e9))
    assert not found(checks.pressure_jumps, state, inferred)
    assert [item.code for item in found(checks.position_jumps, state, inferred)] == ["position jumped"]


def test_an_inferred_pressure_cannot_drift_but_the_stem_can() -> None:
    inferred = replace(READING, pressure_is_inferred=True)
    state = replace(remember(pressure=level(1e9), position=level(1e9)), held=mark())
    assert [item.code for item in found(checks.hands_in, state, inferred)] == ["movement with hands in"]


NEEDS_A_MARK = (
    checks.pressure_ahead,
    checks.pressure_behind,
    checks.pressure_stuck,
    checks.stem_against_pressure,
    checks.hands_in,
)


@pytest.mark.parametrize("check", NEEDS_A_MARK)
def test_without_a_mark_there_is_nothing_to_measure_from(check: Check) -> None:
    wild = Track(NOW, 1e9, 1e9, -1e9, 1e9)
    assert not found(check, replace(remember(pressure=wild, position=wild), time_s=1e9))


@pytest.mark.parametrize("check", [checks.over_travel, checks.no_movement])
def test_without_a_rest_position_travel_is_not_known(check: Check) -> None:
    wild = level(1e9)
    assert not found(check, replace(remember(pressure=wild, position=wild), rest_position_m=None))
    assert not found(check, remember(pressure=wild, position=Track()))


def test_a_mark_made_a_moment_ago_finds_nothing_however_late_it_is() -> None:
    """What counts is the time since, on a machine that has been up for days."""
    late = 1e6
    here = mark(time_s=late - 1.0)
    state = replace(
        remember(falling=here, rising=here, stuck=replace(here, output_pa=1e6)),
        time_s=late,
        run=Run(since_s=late - 1.0, stage_since_s=late - 1.0),
    )
    for check in (checks.pressure_ahead, checks.pressure_behind, checks.pressure_stuck, checks.too_long):
        assert not found(check, state)


# -- which mode looks for what ------------------------------------------------------------------------

LIVE = {"over_pressure", "clock", "signals_lost", "contacts_open", "supply", "readbacks"}
PHYSICS = {
    "pressure_jumps",
    "position_jumps",
    "pressure_ahead",
    "pressure_behind",
    "pressure_stuck",
    "stem_against_pressure",
    "no_movement",
    "too_long",
}


def test_each_mode_looks_for_what_matters_in_it() -> None:
    assert {mode: {check.__name__ for check in done} for mode, done in CHECKS.items()} == {
        Mode.RESTING: {"over_pressure", "clock"},
        Mode.RAMPING: LIVE | PHYSICS | {"over_travel"},
        Mode.VENTING: LIVE | {"over_travel", "pressure_jumps", "pressure_ahead"},
        Mode.TRIPPED: LIVE | {"over_travel", "pressure_jumps"},
        Mode.ESCALATED: {"over_pressure", "over_travel"},
        Mode.HANDS_IN: LIVE | {"hands_in"},
    }


def test_all_findings_of_a_scan_are_told_together() -> None:
    reading = replace(pressed(1e9), guard_closed=Contact(False, Health.GOOD, NOW))
    codes = [item.code for item in checks.findings(limits(), BASE, reading)]
    assert codes[:2] == ["pressure above cap", "guard open"]
