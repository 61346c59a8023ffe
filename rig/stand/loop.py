"""The scan loop: read, judge, permit, write; once per slot, always in this order."""

from dataclasses import replace
from math import inf

from rig.stand.clock import Clock
from rig.stand.link import LinkFault
from rig.stand.notice import (
    ASTRAY,
    BY_HAND,
    LIMITED,
    LINK,
    MODE,
    REFUSED,
    TRIP,
    WARNING,
    WRITE,
    Notice,
    Teller,
)
from rig.stand.outputs import Outputs
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.guard import start, step
from safety.limits import Limits
from safety.observe import OFF_REST, believable, travel
from safety.signals import SAFE_COMMAND, Command, Demand, Reading
from safety.state import GuardState, Mode, PersonEvent
from safety.venting import by_hand

ASTRAY_WORDS = "An output does not hold what was written. Does another program write to this stand?"
NOT_BACK = (
    "The air is gone, but the stem has not come back to where it rested: something may hold the spring. "
    "The stem may move at any moment: keep clear of it."
)


class ScanLoop:
    """One `step` per scan, or its two halves `read` and `act` with the procedure in between.

    A device that shows another identity than the stand file's gets nothing written; with `known_only` neither
    does one that has not shown any yet.
    """

    def __init__(
        self, scanner: Scanner, outputs: Outputs, clock: Clock, limits: Limits, known_only: bool = True
    ) -> None:
        self._known_only = known_only
        self.lost_scans = 0
        self.state: GuardState = start(limits, clock.now())
        self._scanner = scanner
        self._outputs = outputs
        self._clock = clock
        self._limits = limits
        self._teller = Teller()
        self._slot = -1
        self._start_s: float | None = None
        self._last_s = -inf  # time of the last reading
        self._late_s = 0.0

    def step(self, demand: Demand | None = None, event: PersonEvent | None = None) -> Sample:
        return self.act(self.read(), demand, event)

    def read(self) -> Reading:
        """Wait for the slot and scan the stand. A failed exchange shows in the reading, it does not raise."""
        self._late_s = self._wait_for_slot()
        reading = self._scanner.scan(self._slot, self._outputs.starved)
        self._last_s = reading.time_s
        return reading

    def act(self, reading: Reading, demand: Demand | None, event: PersonEvent | None = None) -> Sample:
        """Let the guard judge, and write what it permits."""
        before = self.state
        self.state, command = step(self._limits, before, reading, demand, event)
        self._outputs.renew(self._scanner.returned)
        if self._is_astray(before.command, reading):
            self._outputs.say_again()
        if self.state.astray > before.astray:
            self._teller.tell(reading.time_s, ASTRAY, [ASTRAY_WORDS])
        written = self._write(command, reading.time_s)
        self._tell(before, reading.time_s)
        return Sample(
            reading=reading,
            demand=demand,
            command=command,
            mode=self.state.mode.value,
            late_s=self._late_s,
            lost_scans=self.lost_scans,
            written=written,
            vented=self.state.vented,
        )

    def make_safe(self) -> None:
        """The last thing to do, whatever else went wrong: safe outputs, tried once.

        A watchdog that the guard has left to expire stays unfed.
        """
        command = replace(SAFE_COMMAND, feed_watchdog=self.state.mode is not Mode.ESCALATED)
        self._write(command, self._clock.now())

    def take_notices(self) -> list[Notice]:
        """What happened since the last call."""
        return self._teller.take()

    def _is_astray(self, command: Command, reading: Reading) -> bool:
        """The stand reads back less safe than it was told: somebody else may be writing.

        It is told again at once; that it does not stay so is the guard's to see.
        """
        supply, vent, output = reading.supply_valve_open, reading.vent_valve_open, reading.output
        return (
            (believable(supply) and supply.closed and not command.supply_open)
            or (believable(vent) and not vent.closed and command.vent_open)
            or (believable(output) and output.value > command.output_pa + self._limits.readback_pa.value)
        )

    def _is_off_its_rest(self) -> bool:
        moved = travel(self.state)
        return moved is not None and moved > OFF_REST * self._limits.travel_max_m.value

    def _wait_for_slot(self) -> float:
        """Slots are start + k * period. Those that have passed are counted and left out, never caught up."""
        period_s = self._scanner.period_s
        self._slot += 1
        now_s = self._clock.now()
        if self._start_s is None or now_s < self._last_s:
            # A clock that was set back: slots begin anew, for to wait would leave the stand alone.
            self._start_s = now_s - self._slot * period_s
        while True:
            late_s = self._clock.wait_until(self._start_s + self._slot * period_s)
            if late_s < period_s:
                return late_s
            missed = int(late_s / period_s) + 1
            self._slot += missed
            self.lost_scans += missed

    def _write(self, command: Command, now_s: float) -> bool:
        strangers = self._scanner.strangers
        if self._known_only:
            strangers |= self._scanner.unproven
        try:
            self._outputs.apply(command, strangers)
        except LinkFault as fault:
            self._scanner.commanded_pa = None
            self._teller.tell(now_s, WRITE, [fault.text])
            return False
        self._scanner.commanded_pa = command.output_pa if command.feed_watchdog else None
        return True

    def _tell(self, before: GuardState, now_s: float) -> None:
        state, teller = self.state, self._teller
        if state.trips is not before.trips:
            known = {trip.code for trip in before.trips}
            for trip in state.trips:
                if trip.code not in known:
                    teller.tell_anyway(Notice(now_s, TRIP, trip.text, trip))
        if state.mode is not before.mode:
            teller.tell_anyway(Notice(now_s, MODE, f"{before.mode.value} -> {state.mode.value}"))
        if by_hand(state) and not by_hand(before):
            for line in by_hand(state):
                teller.tell_anyway(Notice(now_s, BY_HAND, line))
        if state.vented and not before.vented and self._is_off_its_rest():
            teller.tell_anyway(Notice(now_s, WARNING, NOT_BACK))
        if state.refusals:
            teller.tell(now_s, REFUSED, state.refusals)
        if state.limited:
            teller.tell(now_s, LIMITED, state.limited)
        if self._scanner.problems:
            teller.tell(now_s, LINK, self._scanner.problems)
