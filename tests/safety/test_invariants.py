"""Whatever happens: a stand gone mad, a person at every button, and what must hold all the same.

Short form in the suite; the long form is `pytest tests/safety/test_invariants.py -m full -n0`.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from math import inf, isfinite, nan
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from safety.guard import start, step
from safety.limits import PSI, Role
from safety.signals import Command, Contact, Demand, Health, Reading, Signal
from safety.state import TRANSITIONS, GuardState, Mode, PersonEvent

from .scene import REST_M, cap, limits

SOME = limits(
    gone_within_s=cap(3.0),
    fall_within_s=cap(1.0),
    follow_s=cap(2.0),
    demand_fresh_scans=cap(5.0),
    blind_s=cap(2.0),
)
HEALTHS = st.sampled_from([Health.GOOD] * 6 + list(Health))
WILD = st.sampled_from([nan, inf, -inf, -5 * PSI, 0.0, 49 * PSI, 51 * PSI, 1e12])
PRESSURES = st.one_of(st.floats(0.0, 60 * PSI), st.sampled_from([0.0, 20 * PSI, 49.9 * PSI, 50.1 * PSI]))
STEPS: Counter[Mode] = Counter()


class Madness(RuleBasedStateMachine):
    """The plant follows the output unless told otherwise; every rule is one or several scans."""

    def __init__(self) -> None:
        super().__init__()
        self.state, self.command = start(SOME, 0.0), start(SOME, 0.0).command
        self.time_s, self.serial = 0.0, 0
        self.pressure_pa, self.position_m = 0.0, REST_M
        self.frozen = self.inferred = False
        self.health: dict[Role, Health] = {}
        self.opened: frozenset[Role] = frozenset()

    # -- one scan and what must hold of it ---------------------------------------------------------

    def scan(
        self,
        demand: Demand | None = None,
        event: PersonEvent | None = None,
        passed_s: float = 0.02,
        **over: float,
    ) -> None:
        self.time_s += passed_s
        if not self.frozen:
            aim = 0.0 if self.command.vent_open else self.command.output_pa
            self.pressure_pa += (aim - self.pressure_pa) * 0.1
            self.position_m = REST_M + 0.03 * min(1.0, max(0.0, (self.pressure_pa / PSI - 10.0) / 20.0))
        reading = self.reading(**over)
        before, written = self.state, self.command
        self.state, self.command = step(SOME, before, reading, demand, event)
        STEPS[self.state.mode] += 1
        self.check_command(written, reading)
        self.check_latch(before.trips, event)
        if before.mode is not self.state.mode:
            self.check_path(before.mode)
        if demand is not None and not demand.vent and self.refusable(demand):
            assert self.command.output_pa <= written.output_pa

    def reading(self, pressure_pa: float | None = None) -> Reading:
        def signal(role: Role, value: float) -> Signal:
            return Signal(value, self.health.get(role, Health.GOOD), self.time_s)

        def contact(role: Role, closed: bool) -> Contact:
            shut = closed is not (role in self.opened)
            return Contact(shut, self.health.get(role, Health.GOOD), self.time_s)

        return Reading(
            0,
            self.time_s,
            signal(Role.PRESSURE, self.pressure_pa if pressure_pa is None else pressure_pa),
            signal(Role.POSITION, self.position_m),
            signal(Role.SUPPLY, 4e5),
            signal(Role.OUTPUT, self.command.output_pa),
            contact(Role.EMERGENCY_STOP, True),
            contact(Role.GUARD, True),
            contact(Role.SUPPLY_VALVE, self.command.supply_open),
            contact(Role.VENT_VALVE, self.command.vent_open),
            contact(Role.WATCHDOG, True),
            contact(Role.IDENTITY, True),
            pressure_is_inferred=self.inferred,
        )

    def check_command(self, written: Command, reading: Reading) -> None:
        command, state = self.command, self.state
        assert command == state.command
        assert isfinite(command.output_pa)
        assert 0.0 <= command.output_pa <= SOME.demand_max_pa < SOME.pressure_max_pa.value
        assert not (command.vent_open and (command.output_pa > 0.0 or command.supply_open))
        assert command.feed_watchdog is (state.mode is not Mode.ESCALATED)
        rises = command.output_pa > written.output_pa
        assert not (rises and state.mode is not Mode.RAMPING)
        assert not (rises and state.trips)
        assert not (rises and any(s.health is not Health.GOOD for s in (reading.pressure, reading.position)))
        if rises and written.vent_open is False:
            assert command.output_pa - written.output_pa <= SOME.step_max_pa.value * (1 + 1e-9)
        if state.mode in (Mode.RESTING, Mode.TRIPPED, Mode.ESCALATED):
            assert (command.output_pa, command.supply_open, command.vent_open) == (0.0, False, True)
        if state.mode is Mode.HANDS_IN:
            assert command.output_pa <= written.output_pa
            assert not command.vent_open
            assert not command.supply_open
        if state.mode is Mode.RAMPING:
            assert not state.trips

    def check_latch(self, before: tuple[object, ...], event: PersonEvent | None) -> None:
        after = self.state.trips
        if event is PersonEvent.CLEAR and before and not after:
            assert self.state.mode is Mode.RESTING
            return
        assert after[: len(before)] == before
        assert len({trip.code for trip in after}) == len(after)
        if self.state.mode in (Mode.TRIPPED, Mode.ESCALATED):
            assert after
        if event is PersonEvent.SAFE_NOW:
            assert after
            assert self.state.mode in (Mode.TRIPPED, Mode.ESCALATED, Mode.HANDS_IN)

    def check_path(self, before: Mode) -> None:
        """One step of the table, or two where an event and a trip fell into one scan."""
        steps = {(mode, then) for (mode, _), then in TRANSITIONS.items()}
        after = self.state.mode
        middles = {then for mode, then in steps if mode is before}
        further = {then for mode, then in steps if mode in middles}
        assert (before, after) in steps or after in further

    @staticmethod
    def refusable(demand: Demand) -> bool:
        numbers = (demand.pressure_pa, demand.rate_pa_per_s)
        sound = all(isfinite(number) and number >= 0.0 for number in numbers)
        return not sound or demand.pressure_pa > SOME.pressure_max_pa.value

    def demand(self, pressure_pa: float, rate: float, vent: bool = False, fresh: bool = True) -> Demand:
        self.serial += fresh
        return Demand(pressure_pa, rate, "rise", vent=vent, serial=self.serial)

    # -- what may happen ---------------------------------------------------------------------------

    @rule(pressure=PRESSURES, rate=st.floats(0.0, 10 * PSI), scans=st.integers(1, 40))
    def ramp(self, pressure: float, rate: float, scans: int) -> None:
        for _ in range(scans):
            self.scan(self.demand(pressure, rate))

    @precondition(lambda self: self.state.mode is Mode.RESTING)
    @rule(height=st.floats(1 * PSI, 40 * PSI))
    def run_up(self, height: float) -> None:
        """Everything healthy, armed and ramped: without this most examples never leave the rest."""
        self.health, self.opened, self.frozen, self.inferred = {}, frozenset(), False, False
        for _ in range(80):
            self.scan()
        self.scan(self.demand(0.0, PSI), PersonEvent.ARM)
        for _ in range(60):
            self.scan(self.demand(height, 6 * PSI))

    @precondition(lambda self: self.state.mode is Mode.RAMPING)
    @rule()
    def hands_in(self) -> None:
        held = self.command.output_pa
        for _ in range(100):
            self.scan(self.demand(held, PSI))
        self.scan(self.demand(held, PSI), PersonEvent.HANDS_IN)
        for _ in range(20):
            self.scan()

    @precondition(lambda self: self.state.mode in (Mode.TRIPPED, Mode.ESCALATED))
    @rule()
    def clear_up(self) -> None:
        self.health, self.opened, self.frozen, self.inferred = {}, frozenset(), False, False
        for _ in range(1000):  # an absurd value takes its time to leave the filters
            self.scan()
            if self.state.vented:
                break
        self.scan(event=PersonEvent.CLEAR)
        assert self.state.mode is Mode.RESTING

    @rule(pressure=st.one_of(PRESSURES, WILD), rate=st.one_of(st.floats(0.0, 1e6), WILD), vent=st.booleans())
    def ask_anything(self, pressure: float, rate: float, vent: bool) -> None:
        self.scan(self.demand(pressure, rate, vent))

    @rule(scans=st.integers(1, 30), fresh=st.booleans())
    def fall_silent(self, scans: int, fresh: bool) -> None:
        for _ in range(scans):
            self.scan(None if fresh else self.demand(20 * PSI, PSI, fresh=False))

    @rule(event=st.sampled_from(PersonEvent))
    def press(self, event: PersonEvent) -> None:
        self.scan(self.demand(20 * PSI, PSI), event)

    @rule(role=st.sampled_from(Role), health=HEALTHS)
    def signal(self, role: Role, health: Health) -> None:
        self.health = {**self.health, role: health}

    @rule(roles=st.frozensets(st.sampled_from(Role), max_size=1))
    def contacts(self, roles: frozenset[Role]) -> None:
        self.opened = roles

    @rule(pressure=st.one_of(PRESSURES, WILD))
    def read_anything(self, pressure: float) -> None:
        self.scan(self.demand(20 * PSI, PSI), pressure_pa=pressure)

    @rule(frozen=st.booleans(), pressure=PRESSURES)
    def plant(self, frozen: bool, pressure: float) -> None:
        self.frozen, self.pressure_pa = frozen, pressure

    @rule(inferred=st.booleans())
    def transmitter(self, inferred: bool) -> None:
        self.inferred = inferred

    @rule(passed_s=st.sampled_from([-1.0, 0.0, 0.001, 0.5, 0.99, 1.01, 3600.0, nan, inf, -inf]))
    def clock(self, passed_s: float) -> None:
        now = self.time_s
        self.scan(self.demand(20 * PSI, PSI), passed_s=passed_s)
        if not isfinite(self.time_s):
            assert self.state.time_s == now
            self.time_s = now

    def teardown(self) -> None:
        """Every trip ends vented or escalated, whatever state the stand was left in."""
        if self.state.mode is Mode.HANDS_IN:
            self.scan(event=PersonEvent.HANDS_OUT)
        elif self.state.mode is Mode.RAMPING:
            self.scan(event=PersonEvent.STOP)
        limit_s = SOME.demand_max_pa / SOME.slow_return_pa_per_s.value + 20.0
        began = self.time_s
        while self.time_s - began < limit_s and not self.ended():
            self.scan(passed_s=0.1)
        assert self.ended()

    def ended(self) -> bool:
        if self.state.mode is Mode.TRIPPED:
            return self.state.vented
        return self.state.mode in (Mode.RESTING, Mode.ESCALATED)


QUICK = settings(
    max_examples=25,
    stateful_step_count=20,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


def test_the_invariants_hold_whatever_happens() -> None:
    run_state_machine_as_test(Madness, settings=QUICK)


@pytest.mark.full
def test_the_invariants_hold_over_a_hundred_thousand_steps() -> None:
    STEPS.clear()
    run_state_machine_as_test(
        Madness, settings=settings(QUICK, max_examples=600, stateful_step_count=50, derandomize=False)
    )
    print(f"{STEPS.total()} guard steps: {', '.join(f'{n} {mode}' for mode, n in STEPS.most_common())}")
    assert STEPS.total() >= 100_000
    assert all(STEPS[mode] >= 1000 for mode in Mode)


def forgets(state: GuardState, command: Command) -> tuple[GuardState, Command]:
    return replace(state, trips=state.trips[1:]) if len(state.trips) > 1 else state, command


def feeds_on(state: GuardState, command: Command) -> tuple[GuardState, Command]:
    command = replace(command, feed_watchdog=True)
    return replace(state, command=command), command


def lets_air_in(state: GuardState, command: Command) -> tuple[GuardState, Command]:
    command = replace(command, supply_open=True)
    return replace(state, command=command), command


def goes_too_high(state: GuardState, command: Command) -> tuple[GuardState, Command]:
    command = replace(command, output_pa=command.output_pa * 1.3)
    return replace(state, command=command), command


def never_gives_up(state: GuardState, command: Command) -> tuple[GuardState, Command]:
    return (replace(state, mode=Mode.TRIPPED) if state.mode is Mode.ESCALATED else state), command


@pytest.mark.parametrize("spoil", [forgets, feeds_on, lets_air_in, goes_too_high, never_gives_up])
def test_a_planted_fault_is_caught(spoil: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine can fail: a guard that does any of these does not get past it."""
    honest = step
    monkeypatch.setitem(Madness.scan.__globals__, "step", lambda *args: spoil(*honest(*args)))
    # It stops at the first failure. What it draws depends on which modules are loaded: let it try for long.
    once = settings(QUICK, max_examples=1000, phases=[Phase.generate], report_multiple_bugs=False)
    with pytest.raises(AssertionError):
        run_state_machine_as_test(Madness, settings=once)
