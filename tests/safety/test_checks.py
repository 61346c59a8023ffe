"""Each check at its limit, one count inside and one count outside, in both directions where there are two."""

from collections.abc import Callable
from dataclasses import replace
from math import inf, nan, nextafter

import pytest

from safety import checks
from safety.checks import Check
from safety.limits import Role
from safety.signals import Command, Contact, Health, Reading, Signal
from safety.state import DISCREDITING, GuardState, Run
from safety.track import Track

from .looks import (
    ASTRAY,
    BASE,
    HELD,
    NOW,
    ON_SUPPLY,
    OUTPUT_ASTRAY,
    READING,
    VENTING,
    found,
    level,
    mark,
    pressed,
    remember,
)
from .scene import limits

Build = Callable[[float], tuple[GuardState, Reading]]

# name: (check, limits, value at the limit, "above" or "below" finds, code, patience, unit, build)
CASES: dict[str, tuple[Check, dict[str, float], float, str, str, float, str, Build]] = {
    "cap": (
        checks.over_pressure, {"pressure_max_pa": 4096.0}, 4096.0, "above",
        "pressure above cap", 0.0, "Pa", lambda v: (BASE, pressed(v)),
    ),
    "cap, outside the live range": (
        checks.over_pressure, {"pressure_max_pa": 4096.0}, 4096.0, "above",
        "pressure above cap", 0.0, "Pa", lambda v: (BASE, pressed(v, Health.OUT_OF_RANGE)),
    ),
    "travel": (
        checks.over_travel, {"travel_max_m": 0.5}, 0.5, "above",
        "over-travel", 0.0, "m", lambda v: (remember(position=level(v)), READING),
    ),
    "travel, other sense": (
        checks.over_travel, {"travel_max_m": 0.5}, 0.5, "above",
        "over-travel", 0.0, "m", lambda v: (remember(position=level(-v)), READING),
    ),
    "supply high": (
        checks.supply, {"supply_max_pa": 4096.0}, 4096.0, "above",
        "supply too high", 0.0, "Pa", lambda v: (BASE, ON_SUPPLY["supply"](v)),
    ),
    "supply low": (
        checks.supply, {"supply_min_pa": 4096.0, "readback_s": 0.3}, 4096.0, "below",
        "supply lost", 0.3, "Pa", lambda v: (BASE, ON_SUPPLY["supply"](v)),
    ),
    "output read-back high": (
        checks.readbacks, {"readback_pa": 512.0}, 1024.0 + 512.0, "above",
        "output disagrees", 0.0, "Pa",
        lambda v: (
            replace(ASTRAY, outputs=((1.0, 512.0), (2.0, 1024.0), (3.0, 768.0))),
            replace(READING, output=Signal(v, Health.GOOD, NOW)),
        ),
    ),
    "output read-back low": (
        checks.readbacks, {"readback_pa": 256.0}, 512.0 - 256.0, "below",
        "output disagrees", 0.0, "Pa",
        lambda v: (
            replace(ASTRAY, outputs=((1.0, 1024.0), (2.0, 512.0), (3.0, 768.0))),
            replace(READING, output=Signal(v, Health.GOOD, NOW)),
        ),
    ),
    "read-backs that disagree": (
        checks.readbacks, {"readback_scans": 4.0}, 4.0, "above", "output disagrees", 0.0, "Pa",
        lambda v: (replace(BASE, astray=v, outputs=((1.0, 512.0),)), OUTPUT_ASTRAY),
    ),
    "output read-back above the cap": (
        checks.readbacks, {"pressure_max_pa": 4096.0, "readback_pa": 512.0}, 4096.0 + 512.0, "above",
        "output disagrees", 0.0, "Pa",
        lambda v: (
            replace(BASE, outputs=((1.0, 512.0),)),
            replace(READING, output=Signal(v, Health.GOOD, NOW)),
        ),
    ),
    "valves have had their time": (
        checks.readbacks, {"readback_s": 0.5}, 0.5, "above", "vent valve read-back disagrees", 0.0, "contact",
        lambda v: (
            replace(ASTRAY, time_s=v, valves_since_s=0.0),
            replace(READING, vent_valve_open=Contact(True, Health.GOOD, NOW)),
        ),
    ),
    "supply high, outside the live range": (
        checks.supply, {"supply_max_pa": 4096.0}, 4096.0, "above",
        "supply too high", 0.0, "Pa",
        lambda v: (BASE, replace(READING, supply=Signal(v, Health.OUT_OF_RANGE, NOW))),
    ),
    "pressure jumps up": (
        checks.pressure_jumps, {"jump_pa": 1024.0, "jump_rate_pa_per_s": 512.0}, 1024.0 + 256.0, "above",
        "pressure jumped", 0.0, "Pa",
        lambda v: (remember(pressure=level(0.0, step=v, step_s=0.5)), READING),
    ),
    "pressure jumps down": (
        checks.pressure_jumps, {"jump_pa": 1024.0, "jump_rate_pa_per_s": 512.0}, 1024.0 + 256.0, "above",
        "pressure jumped", 0.0, "Pa",
        lambda v: (remember(pressure=level(0.0, step=-v, step_s=0.5)), READING),
    ),
    "pressure jumps up while venting": (
        checks.pressure_jumps, {"jump_pa": 1024.0, "jump_rate_pa_per_s": 512.0}, 1024.0 + 256.0, "above",
        "pressure jumped", 0.0, "Pa",
        lambda v: (replace(remember(pressure=level(0.0, step=v, step_s=0.5)), command=VENTING), READING),
    ),
    "pressure gone at once while venting": (
        checks.pressure_jumps, {"jump_pa": 1024.0, "jump_rate_pa_per_s": 512.0, "empty_share": 0.5},
        4096.0, "above", "pressure jumped", 0.0, "Pa",
        lambda v: (
            replace(remember(pressure=level(8192.0 - v, step=-v, step_s=0.5)), command=VENTING), READING
        ),
    ),
    "the last of the pressure gone at once while venting": (
        checks.pressure_jumps, {"jump_pa": 1024.0, "jump_rate_pa_per_s": 512.0, "empty_share": 0.5},
        1024.0 + 256.0, "above", "pressure jumped", 0.0, "Pa",
        lambda v: (replace(remember(pressure=level(0.0, step=-v, step_s=0.5)), command=VENTING), READING),
    ),
    "position jumps": (
        checks.position_jumps, {"jump_share": 0.5, "travel_max_m": 0.5}, 0.25, "above",
        "position jumped", 0.0, "m", lambda v: (remember(position=level(0.0, step=v)), READING),
    ),
    "position jumps back": (
        checks.position_jumps, {"jump_share": 0.5, "travel_max_m": 0.5}, 0.25, "above",
        "position jumped", 0.0, "m", lambda v: (remember(position=level(0.0, step=-v)), READING),
    ),
    "pressure rising": (
        checks.pressure_ahead, {"rise_pa": 512.0}, 512.0 + 1024.0, "above",
        "pressure rising with no demand", 0.0, "Pa",
        lambda v: (
            remember(
                pressure=replace(level(9e9), recent=(v, 9e9)), falling=mark(pressure_pa=1024.0, time_s=NOW)
            ),
            READING,
        ),
    ),
    "not falling, vent closed": (
        checks.pressure_ahead, {"follow_s": 8.0, "fall_within_s": 4.0}, 8.0, "above",
        "pressure not falling", 0.0, "s",
        lambda v: (replace(remember(falling=mark(time_s=0.0)), time_s=v), READING),
    ),
    "not falling, vent open": (
        checks.pressure_ahead, {"follow_s": 8.0, "fall_within_s": 4.0}, 4.0, "above",
        "pressure not falling", 0.0, "s",
        lambda v: (replace(remember(falling=mark(time_s=0.0)), time_s=v, command=VENTING), READING),
    ),
    "not following": (
        checks.pressure_behind, {"follow_s": 8.0}, 8.0, "above",
        "pressure not following", 0.0, "s",
        lambda v: (replace(remember(rising=mark(time_s=0.0)), time_s=v), READING),
    ),
    "pressure lost": (
        checks.pressure_behind, {"lost_rate_pa_per_s": 4096.0, "lost_s": 0.3}, 4096.0, "above",
        "pressure lost", 0.3, "Pa/s",
        lambda v: (remember(pressure=Track(NOW, 0.0, 0.0, v * 0.75), rising=mark()), READING),
    ),
    "stuck, output moved up": (
        checks.pressure_stuck, {"stuck_s": 4.0, "stuck_pa": 512.0}, 512.0, "above",
        "pressure signal stuck", 0.0, "s",
        lambda v: (
            replace(remember(stuck=mark(time_s=NOW - 5.0)), command=replace(HELD, output_pa=v)), READING,
        ),
    ),
    "stuck, output moved down": (
        checks.pressure_stuck, {"stuck_s": 4.0, "stuck_pa": 512.0}, 512.0, "above",
        "pressure signal stuck", 0.0, "s",
        lambda v: (remember(stuck=mark(time_s=NOW - 5.0, output_pa=v)), READING),
    ),
    "stuck for long enough": (
        checks.pressure_stuck, {"stuck_s": 4.0, "stuck_pa": 512.0}, 4.0, "above",
        "pressure signal stuck", 0.0, "s",
        lambda v: (replace(remember(stuck=mark(time_s=0.0, output_pa=1024.0)), time_s=v), READING),
    ),
    "stem without pressure": (
        checks.stem_against_pressure, {"drift_share": 0.5, "travel_max_m": 0.5}, 0.25, "above",
        "stem moved without pressure", 0.0, "m",
        lambda v: (remember(position=level(v), unmoved_pressure=mark()), READING),
    ),
    "stem without pressure, back": (
        checks.stem_against_pressure, {"drift_share": 0.5, "travel_max_m": 0.5}, 0.25, "above",
        "stem moved without pressure", 0.0, "m",
        lambda v: (remember(position=level(-v), unmoved_pressure=mark()), READING),
    ),
    "jammed going up": (
        checks.stem_against_pressure, {"jam_pa": 4096.0}, 4096.0, "above",
        "stem jammed", 0.0, "Pa", lambda v: (remember(pressure=level(v), unmoved_stem=mark()), READING),
    ),
    "jammed coming down": (
        checks.stem_against_pressure, {"jam_pa": 4096.0}, 4096.0, "above",
        "stem jammed", 0.0, "Pa", lambda v: (remember(pressure=level(-v), unmoved_stem=mark()), READING),
    ),
    "no movement: pressure": (
        checks.no_movement, {"move_by_pa": 4096.0, "move_within_s": 7.0, "blind_s": 9.0}, 4096.0, "above",
        "stem not moving", 7.0, "m", lambda v: (remember(pressure=level(v)), READING),
    ),
    "no movement: travel": (
        checks.no_movement, {"move_by_pa": 0.0, "move_share": 0.5, "travel_max_m": 0.5}, 0.25, "below",
        "stem not moving", 10.0, "m",
        lambda v: (remember(pressure=level(1.0), position=level(v)), READING),
    ),
    "no movement: travel, other sense": (
        checks.no_movement, {"move_by_pa": 0.0, "move_share": 0.5, "travel_max_m": 0.5}, 0.25, "below",
        "stem not moving", 10.0, "m",
        lambda v: (remember(pressure=level(1.0), position=level(-v)), READING),
    ),
    "no movement, pressure inferred": (
        checks.no_movement, {"move_by_pa": 4096.0, "move_within_s": 7.0, "blind_s": 9.0}, 4096.0, "above",
        "stem not moving", 9.0, "m",
        lambda v: (remember(pressure=level(v)), replace(READING, pressure_is_inferred=True)),
    ),
    "stage": (
        checks.too_long, {"stage_max_s": 8.0}, 8.0, "above", "stage too long", 0.0, "s",
        lambda v: (replace(BASE, time_s=v, run=Run(since_s=v, stage_since_s=0.0)), READING),
    ),
    "run": (
        checks.too_long, {"run_max_s": 8.0}, 8.0, "above", "run too long", 0.0, "s",
        lambda v: (replace(BASE, time_s=v, run=Run(since_s=0.0, stage_since_s=v)), READING),
    ),
    "a hair of movement": (
        checks.hands_in, {"hair_m": 0.25}, 0.25, "above", "movement with hands in", 0.0, "m",
        lambda v: (replace(remember(position=level(v)), held=mark()), READING),
    ),
    "a hair of movement back": (
        checks.hands_in, {"hair_m": 0.25}, 0.25, "above", "movement with hands in", 0.0, "m",
        lambda v: (replace(remember(position=level(-v)), held=mark()), READING),
    ),
    "held pressure up": (
        checks.hands_in, {"hold_pa": 512.0}, 512.0, "above", "held pressure drifting", 0.0, "Pa",
        lambda v: (replace(remember(pressure=level(v)), held=mark()), READING),
    ),
    "held pressure down": (
        checks.hands_in, {"hold_pa": 512.0}, 512.0, "above", "held pressure drifting", 0.0, "Pa",
        lambda v: (replace(remember(pressure=level(-v)), held=mark()), READING),
    ),
    "clock stands still": (
        checks.clock, {"same_time_scans": 3.0}, 3, "count above", "time stands still", 0.0, "scans",
        lambda v: (remember(same_time=int(v)), READING),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(CASES))
def test_at_the_limit_one_count_inside_and_one_count_outside(name: str) -> None:
    check, changed, limit, side, code, patience_s, unit, build = CASES[name]
    lower, upper = (
        (limit - 1, limit + 1) if "count" in side else (nextafter(limit, -inf), nextafter(limit, inf))
    )
    outside, inside = (lower, upper) if side == "below" else (upper, lower)

    def codes(value: float) -> list[str]:
        return [item.code for item in found(check, *build(value), **changed)]

    assert code not in codes(inside)
    assert code not in codes(limit)
    assert code in codes(outside)
    finding = next(item for item in found(check, *build(outside), **changed) if item.code == code)
    assert (finding.patience_s, finding.unit) == (patience_s, unit)


@pytest.mark.parametrize("name", list(CASES))
def test_a_finding_holds_the_value_and_the_limit_that_it_passed(name: str) -> None:
    check, changed, limit, side, code, _, _, build = CASES[name]
    outside = limit * 0.5 if side == "below" else limit * 1.5
    finding = next(item for item in found(check, *build(outside), **changed) if item.code == code)
    beyond = finding.value < finding.limit if code in BELOW else finding.value > finding.limit
    assert beyond or code.endswith("disagrees") or code == "time stands still"
    assert finding.text.endswith((".", "?"))


def test_every_cause_that_discredits_the_pressure_signal_is_one_that_is_found() -> None:
    assert DISCREDITING - {case[4] for case in CASES.values()} == {"casing pressure signal lost"}


BELOW = ("supply lost", "stem not moving")


def test_the_text_of_an_over_pressure_names_who_set_the_cap() -> None:
    (finding,) = checks.over_pressure(limits(), BASE, pressed(1e9))
    assert finding.text == "The casing pressure is above the cap set by: profile."
    assert (finding.value, finding.limit) == (1e9, limits().pressure_max_pa.value)


@pytest.mark.parametrize("health", [Health.FAILED, Health.UNKNOWN, Health.ABSENT])
def test_a_failed_pressure_is_no_over_pressure(health: Health) -> None:
    assert not found(checks.over_pressure, BASE, pressed(1e9, health))


def test_infinite_pressure_is_too_much_and_no_number_is_not_compared() -> None:
    assert found(checks.over_pressure, BASE, pressed(inf))
    assert not found(checks.over_pressure, BASE, pressed(nan))


# -- ages ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize(("age", "lost"), [(0.0, False), (0.25, False), (0.5, False), (0.50001, True)])
def test_each_required_signal_expires_after_its_own_period(role: Role, age: float, lost: bool) -> None:
    good = tuple(NOW - age if item is role else NOW for item in Role)
    state, some = remember(last_good=good), limits()
    dead = replace(READING, **{role.value: replace(getattr(READING, role), health=Health.UNKNOWN)})
    (*findings,) = checks.signals_lost(some, state, dead)
    names = [item.code for item in findings]
    assert names == ([f"{checks.NAMES[role]} signal lost"] if lost else [])
    if lost:
        assert findings[0].text == f"No good value of the {checks.NAMES[role]} for 0.50 s (now: unknown)."
        assert (findings[0].value, findings[0].limit) == (pytest.approx(age), 0.5)
        assert (findings[0].unit, findings[0].patience_s) == ("s", 0.0)


def test_all_that_are_lost_together_are_one_cause_and_pressure_names_it() -> None:
    """However the limits order them: whether the pressure signal is believed later hangs on it."""
    some = limits(signals=tuple(reversed(limits().signals)))
    (finding,) = checks.signals_lost(some, remember(last_good=(NOW - 1.0,) * len(Role)), READING)
    assert finding.code == "casing pressure signal lost"
    assert finding.text.startswith(
        "No good value of the casing pressure for 1.00 s (now: good). Nor of: stem"
    )
    assert finding.text.endswith(", identity.")
    assert all(name in finding.text for name in checks.NAMES.values())


def test_every_role_has_a_name_for_people() -> None:
    assert len(set(checks.NAMES.values())) == len(Role)


# -- contacts -----------------------------------------------------------------------------------------

CODES = {
    Role.EMERGENCY_STOP: "emergency stop",
    Role.GUARD: "guard open",
    Role.WATCHDOG: "watchdog lost",
    Role.IDENTITY: "identity wrong",
}


@pytest.mark.parametrize("role", list(CODES))
@pytest.mark.parametrize("required", [True, False])
def test_an_open_contact_is_found_whether_it_is_required_or_not(role: Role, required: bool) -> None:
    some = limits() if required else limits(signals=limits().signals[:2])
    reading = replace(READING, **{role.value: Contact(False, Health.GOOD, NOW)})
    (finding,) = checks.contacts_open(some, BASE, reading)
    assert (finding.code, finding.value, finding.limit) == (CODES[role], 0.0, 1.0)
    assert (finding.unit, finding.patience_s) == ("contact", 0.0)


@pytest.mark.parametrize("health", [Health.FAILED, Health.UNKNOWN, Health.ABSENT, Health.OUT_OF_RANGE])
def test_a_contact_that_did_not_answer_is_not_taken_for_open(health: Health) -> None:
    """It expires instead, like every other signal."""
    for role in CODES:
        reading = replace(READING, **{role.value: Contact(False, health, NOW)})
        assert not found(checks.contacts_open, BASE, reading)


def test_closed_contacts_are_no_finding() -> None:
    assert not found(checks.contacts_open, BASE)


# -- read-backs and supply ----------------------------------------------------------------------------


@pytest.mark.parametrize("role", [Role.SUPPLY_VALVE, Role.VENT_VALVE])
@pytest.mark.parametrize("wanted", [True, False])
@pytest.mark.parametrize("shown", [True, False])
def test_a_valve_must_read_back_as_written(role: Role, wanted: bool, shown: bool) -> None:
    other = Role.VENT_VALVE if role is Role.SUPPLY_VALVE else Role.SUPPLY_VALVE
    command = Command(0.0, wanted, wanted, True)
    reading = replace(
        READING,
        **{
            role.value: Contact(shown, Health.GOOD, NOW),
            other.value: Contact(wanted, Health.GOOD, NOW),
        },
    )
    result = found(checks.readbacks, replace(ASTRAY, command=command), reading)
    if shown is wanted:
        assert result == []
    else:
        assert [item.code for item in result] == [f"{checks.NAMES[role]} disagrees"]
        assert (result[0].value, result[0].limit, result[0].unit) == (shown, wanted, "contact")
        assert result[0].patience_s == 0.0
    assert not found(checks.readbacks, replace(BASE, command=command), reading)  # not often enough
    just_turned = replace(ASTRAY, command=command, valves_since_s=NOW - 0.5)
    assert not found(checks.readbacks, just_turned, reading, readback_s=0.5)
    assert not found(
        checks.readbacks, replace(just_turned, valves_since_s=NOW - 0.25), reading, readback_s=0.5
    )


@pytest.mark.parametrize("health", [Health.FAILED, Health.UNKNOWN, Health.ABSENT])
def test_a_read_back_that_did_not_answer_is_not_compared(health: Health) -> None:
    reading = replace(
        READING,
        output=Signal(1e9, health, NOW),
        supply_valve_open=Contact(False, health, NOW),
        vent_valve_open=Contact(True, health, NOW),
        supply=Signal(1e9, health, NOW),
    )
    state = replace(ASTRAY, outputs=((1.0, 0.0),))
    assert not found(checks.readbacks, state, reading)
    assert not found(checks.supply, state, reading)


def test_an_output_far_above_the_cap_that_is_not_believed_hurries_nothing() -> None:
    """One valve read-back that disagrees once is forgiven, whatever number a failed signal carries."""
    reading = replace(
        READING, output=Signal(1e9, Health.FAILED, NOW), vent_valve_open=Contact(True, Health.GOOD, NOW)
    )
    state = replace(BASE, command=Command(0.0, True, False, True), outputs=((1.0, 0.0),))
    assert not found(checks.readbacks, state, reading)
    assert found(checks.readbacks, replace(state, astray=ASTRAY.astray), reading)


def test_before_anything_was_written_the_output_is_not_compared() -> None:
    reading = replace(READING, output=Signal(1e9, Health.GOOD, NOW))
    aligned = replace(ASTRAY, command=Command(0.0, False, True, True))
    assert not found(checks.readbacks, aligned, reading)


def test_low_supply_matters_only_while_the_supply_is_open() -> None:
    low = replace(READING, supply=Signal(1.0, Health.GOOD, NOW))
    shut = replace(BASE, command=replace(HELD, supply_open=False))
    assert not found(checks.supply, shut, low, supply_min_pa=4096.0)
    below_range = replace(READING, supply=Signal(1.0, Health.OUT_OF_RANGE, NOW))  # hold and time out
    assert not found(checks.supply, BASE, below_range, supply_min_pa=4096.0)
    assert found(checks.supply, BASE, low, supply_min_pa=4096.0)
