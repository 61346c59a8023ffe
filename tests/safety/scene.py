"""A quiet stand for tests of the guard: pressure and stem do what they are told, or what a test says."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from safety.guard import start, step
from safety.limits import PSI, Cap, Limits, Role, expect
from safety.signals import Command, Contact, Demand, Health, Reading, Signal
from safety.state import GuardState, Mode, PersonEvent

LOWER_PA, UPPER_PA, TRAVEL_M, REST_M = 10 * PSI, 30 * PSI, 0.030, 0.100
CONTACTS = (Role.EMERGENCY_STOP, Role.GUARD, Role.WATCHDOG, Role.IDENTITY)
EVERYTHING = expect(*Role)
EMPTIES = 0.6  # of the pressure is left after a scan with no output
BEEN: dict[Any, dict[str, Any]] = {}


def limits(**changed: Any) -> Limits:
    given: dict[str, Any] = {
        "pressure_max_pa": Cap(50 * PSI, "profile"),
        "travel_max_m": Cap(0.032, "profile"),
        "move_by_pa": Cap(16 * PSI, "profile"),
        "signals": EVERYTHING,
    }
    return Limits(**{**given, **changed})


def cap(value: float) -> Cap:
    return Cap(value, "stand")


class Scene:
    """Steps the guard scan by scan. Set `pressure_pa`, `position_m`, `fields` to take them from the plant."""

    def __init__(self, with_limits: Limits | None = None, dt: float = 0.02, inferred: bool = False) -> None:
        self.limits = with_limits or limits()
        self.dt, self.inferred = dt, inferred
        self.time_s, self.scans, self.serial = 0.0, 0, 0
        self.pressure_pa: float | None = None
        self.casing_pa = 0.0  # what the casing holds where no test says
        self.position_m: float | None = None
        self.health: dict[Role, Health] = {}
        self.fields: dict[str, Any] = {}
        self.asked: Demand | None = None
        self.state = start(self.limits, 0.0)
        self.command: Command = self.state.command

    # -- what the stand shows ----------------------------------------------------------------------

    def reading(self) -> Reading:
        pressure = self.casing_pa if self.pressure_pa is None else self.pressure_pa
        share = min(1.0, max(0.0, (pressure - LOWER_PA) / (UPPER_PA - LOWER_PA)))
        position = REST_M + TRAVEL_M * share if self.position_m is None else self.position_m
        reading = Reading(
            scan=self.scans,
            time_s=self.time_s,
            pressure=self._signal(Role.PRESSURE, pressure),
            position=self._signal(Role.POSITION, position),
            supply=self._signal(Role.SUPPLY, 400_000.0),
            output=self._signal(Role.OUTPUT, self.command.output_pa),
            emergency_stop_healthy=self._contact(Role.EMERGENCY_STOP, True),
            guard_closed=self._contact(Role.GUARD, True),
            supply_valve_open=self._contact(Role.SUPPLY_VALVE, self.command.supply_open),
            vent_valve_open=self._contact(Role.VENT_VALVE, self.command.vent_open),
            watchdog_armed=self._contact(Role.WATCHDOG, True),
            identity_right=self._contact(Role.IDENTITY, True),
            pressure_is_inferred=self.inferred,
        )
        return replace(reading, **self.fields)

    def _signal(self, role: Role, value: float) -> Signal:
        health = self.health.get(role, Health.GOOD)
        return Signal(value, health, self.time_s)

    def _contact(self, role: Role, closed: bool) -> Contact:
        return Contact(closed, self.health.get(role, Health.GOOD), self.time_s)

    def open(self, role: Role) -> None:
        """The contact of a role opens and stays open."""
        self.fields[role.value] = Contact(False, Health.GOOD, self.time_s)

    def freshen(self) -> None:
        """Contacts and signals set by hand are measured in every scan."""
        for name, value in self.fields.items():
            if isinstance(value, Contact | Signal):
                self.fields[name] = replace(value, time_s=self.time_s)

    def let_go(self) -> None:
        """From now on the air leaves as it should."""
        self.casing_pa, self.pressure_pa = self.reading().pressure.value, None

    # -- going on ----------------------------------------------------------------------------------

    def scan(self, demand: Demand | None = None, event: PersonEvent | None = None) -> GuardState:
        self.time_s += self.dt
        self.scans += 1
        self.freshen()
        self.casing_pa = max(self.command.output_pa, EMPTIES * self.casing_pa)
        self.state, self.command = step(self.limits, self.state, self.reading(), demand, event)
        return self.state

    def ask(self, psi: float, rate: float = 2.0, event: PersonEvent | None = None, **rest: Any) -> GuardState:
        """One scan with a fresh demand, pressures in psi and psi/s."""
        self.serial += 1
        stage = rest.pop("stage", "rise")
        self.asked = Demand(psi * PSI, rate * PSI, stage, serial=self.serial, **rest)
        return self.scan(self.asked, event)

    def keep_asking(self, seconds: float, psi: float, rate: float = 2.0, **rest: Any) -> GuardState:
        for _ in range(round(seconds / self.dt)):
            self.ask(psi, rate, **rest)
        return self.state

    def wait(self, seconds: float) -> GuardState:
        for _ in range(round(seconds / self.dt)):
            self.scan()
        return self.state

    # -- the modes ---------------------------------------------------------------------------------

    def _went(self, way: str, how: Callable[[], None]) -> "Scene":
        """Go there, or jump there if a scene that began alike has gone before: the guard is pure."""
        key = (way, self.limits, self.dt, self.inferred)
        fresh = self.scans == 0 and not self.fields and not self.health and self.pressure_pa is None
        if not fresh or key not in BEEN:
            how()
            if fresh:
                BEEN[key] = dict(self.__dict__, fields={}, health={})
        else:
            self.__dict__.update(BEEN[key], fields={}, health={})
        return self

    def resting(self) -> "Scene":
        self._went("resting", lambda: (self.wait(2.0), None)[1])
        assert self.state.mode is Mode.RESTING
        return self

    def armed(self) -> "Scene":
        self.resting().scan(event=PersonEvent.ARM)
        assert self.state.mode is Mode.RAMPING, self.state.refusals
        return self

    def holding(self, psi: float = 20.0) -> "Scene":
        """Armed, ramped to a pressure and steady there."""
        self._went(f"holding {psi}", lambda: (self.armed().keep_asking(psi / 5.0 + 6.0, psi, 5.0), None)[1])
        assert self.state.mode is Mode.RAMPING, self.state.trips
        assert self.command.output_pa == psi * PSI
        return self

    def hands_in(self, psi: float = 20.0) -> "Scene":
        self.holding(psi).ask(psi, 5.0, PersonEvent.HANDS_IN)
        assert self.state.mode is Mode.HANDS_IN, self.state.refusals
        return self

    def tripped(self) -> "Scene":
        """Tripped out of a hold with the casing still under pressure."""
        self.holding()
        self.pressure_pa = 20 * PSI
        self.scan(event=PersonEvent.SAFE_NOW)
        assert self.state.mode is Mode.TRIPPED
        return self

    def escalated(self) -> "Scene":
        self.tripped().wait(self.limits.fall_within_s.value + 1.0)
        assert self.state.mode is Mode.ESCALATED
        return self

    def venting(self) -> "Scene":
        self.holding().scan(event=PersonEvent.STOP)
        assert self.state.mode is Mode.VENTING
        return self

    def enter(self, mode: Mode) -> "Scene":
        return {
            Mode.RESTING: self.resting,
            Mode.RAMPING: self.holding,
            Mode.VENTING: self.venting,
            Mode.TRIPPED: self.tripped,
            Mode.ESCALATED: self.escalated,
            Mode.HANDS_IN: self.hands_in,
        }[mode]()

    @property
    def codes(self) -> list[str]:
        return [trip.code for trip in self.state.trips]
