"""Every limit the guard enforces, each with where it came from. Pressures gauge [Pa], lengths [m], times [s].

A built-in value stands where nobody named one. Its reason is beside it; "assumption" marks those that no
standard or measurement backs. Three limits have no sensible default and must be given.
"""

# ruff: noqa: RUF009 - the defaults are frozen values, shared on purpose

from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import StrEnum
from math import isfinite

PSI = 6894.757  # Pa, rounded; used only to state round built-in values
SOURCES = ("profile", "stand", "built-in", "person")


class Role(StrEnum):
    """What a signal means. The names are those of `Reading`'s fields."""

    PRESSURE = "pressure"
    POSITION = "position"
    SUPPLY = "supply"
    OUTPUT = "output"
    EMERGENCY_STOP = "emergency_stop_healthy"
    GUARD = "guard_closed"
    SUPPLY_VALVE = "supply_valve_open"
    VENT_VALVE = "vent_valve_open"
    WATCHDOG = "watchdog_armed"
    IDENTITY = "identity_right"


@dataclass(frozen=True, slots=True)
class Cap:
    """A limit and who set it: "profile", "stand", "built-in" or "person".

    Raises ValueError for a value that is not a finite number of zero or more, or an unknown source.
    """

    value: float
    source: str

    def __post_init__(self) -> None:
        if not isfinite(self.value) or self.value < 0.0:
            raise ValueError(f"a limit must be a finite number of zero or more, not {self.value}")
        if self.source not in SOURCES:
            raise ValueError(f"the source of a limit is one of {', '.join(SOURCES)}, not {self.source!r}")


def lowest(*caps: Cap) -> Cap:
    """The cap that wins; the first of equals. Raises ValueError when there is none: none is no permission."""
    if not caps:
        raise ValueError("no cap was given: the guard never guesses one")
    return min(caps, key=lambda cap: cap.value)


def built_in(value: float) -> Cap:
    return Cap(value, "built-in")


@dataclass(frozen=True, slots=True)
class Expected:
    """A signal that is fitted and required, and how old its last good value may become."""

    role: Role
    period_s: Cap


# Assumption: 10 bar is what shop air and its fittings are made for.
HIGHEST_SUPPLY = built_in(1.0e6)

# Assumption: half a second is 10 to 25 scans, more than one lost answer and less than a person's start.
DEFAULT_PERIOD_S = built_in(0.5)


def expect(*roles: Role, period_s: Cap = DEFAULT_PERIOD_S) -> tuple[Expected, ...]:
    return tuple(Expected(role, period_s) for role in roles)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the guard holds a run to. Only the first three must be given."""

    pressure_max_pa: Cap  # casing, measured: `lowest` of the profile's, the stand's and others
    travel_max_m: Cap  # |position - rest| beyond it is over-travel
    move_by_pa: Cap  # at this casing pressure the stem must have left its rest
    signals: tuple[Expected, ...] = expect(Role.PRESSURE, Role.POSITION)
    other_refusals: tuple[str, ...] = ()  # permissives judged elsewhere: calibration, profile, lock file
    isolate_supply_hands_in: bool = True  # False: closing the supply would let the I/P bleed the casing down

    # Command. The margin keeps I/P span error (1-2 %) and transmitter noise from tripping at the top.
    demand_margin_pa: Cap = built_in(1.0 * PSI)
    rate_max_pa_per_s: Cap = built_in(6.0 * PSI)  # ramps are asked at 0.3-5 psi/s
    step_max_pa: Cap = built_in(1.0 * PSI)  # per scan: a late scan must not become a leap
    window_s: Cap = built_in(1.0)
    window_change_pa: Cap = built_in(8.0 * PSI)  # within the window, either way
    lead_max_pa: Cap = built_in(8.0 * PSI)  # command above measured; assumption: a big casing lags by less
    stop_rate_pa_per_s: Cap = built_in(4.0 * PSI)  # orderly stop
    slow_return_pa_per_s: Cap = built_in(0.5 * PSI)  # after a trip with hands in: people can step back
    demand_fresh_scans: Cap = built_in(25.0)  # half a second at 50 scans/s; assumption

    # Time.
    gap_max_s: Cap = built_in(1.0)  # between readings: more means sleep, a stall or a jumping clock
    same_time_scans: Cap = built_in(5.0)  # a coarse clock (15.6 ms) may repeat itself, a stopped one does
    stage_max_s: Cap = built_in(900.0)  # assumption: the slowest planned ramp takes under 400 s
    run_max_s: Cap = built_in(7200.0)  # assumption: a long check of a big casing is under an hour

    # Venting.
    gone_pa: Cap = built_in(0.5 * PSI)  # |pressure| up to here is zero error; assumption
    found_pa: Cap = built_in(1.0 * PSI)  # above this at rest there is air in the casing
    vent_least_s: Cap = built_in(1.0)  # vent open before a zero is believed; most casings are empty by then
    fall_step_pa: Cap = built_in(0.1 * PSI)  # this much lower (or higher) counts as progress
    fall_within_s: Cap = built_in(5.0)  # progress with the vent open; a solenoid needs 0.1 s, an I/P 0.5 s
    gone_within_s: Cap = built_in(180.0)  # 220 in2 through a small I/P's exhaust alone takes about 150 s
    blind_s: Cap = built_in(30.0)  # with no casing transmitter: how long to trust nothing; assumption

    # Pressure against the I/P's demand (left out where pressure is inferred).
    follow_margin_pa: Cap = built_in(3.0 * PSI)  # I/P error and hysteresis stay below 1 psi; assumption
    follow_s: Cap = built_in(10.0)  # a stem hop sets a slow casing back by 0.5-1 psi: 4-5 s
    # A healthy I/P gives no air above its highest recent demand, but for its error and noise; assumption
    ahead_pa: Cap = built_in(2.0 * PSI)
    rise_pa: Cap = built_in(1.5 * PSI)  # rise with no demand; a falling stem squeezes out about 0.5 psi
    lost_rate_pa_per_s: Cap = built_in(2.0 * PSI)  # falling with the output held; a hop shows 0.6 psi/s
    lost_s: Cap = built_in(0.2)
    stuck_s: Cap = built_in(2.0)
    stuck_pa: Cap = built_in(4.0 * PSI)  # output moved this far, pressure not by one count
    jump_pa: Cap = built_in(3.0 * PSI)  # above noise (6 x 0.25 % of 100 psi) ...
    jump_rate_pa_per_s: Cap = built_in(60.0 * PSI)  # ... and twice the fastest fill of the smallest casing
    empty_share: Cap = built_in(0.5)  # of the pressure let go in one scan: a vent needs 0.1 s for that

    # Stem against pressure. Shares are of travel_max_m.
    move_within_s: Cap = built_in(10.0)
    move_share: Cap = built_in(0.05)  # less than this is no movement
    still_pa: Cap = built_in(1.0 * PSI)  # pressure that has changed less than this has not changed ...
    drift_share: Cap = built_in(0.35)  # ... and moves no stem by more than this (12 psi span: 8 %; hops 3 %)
    jam_pa: Cap = built_in(10.0 * PSI)  # mid-travel, a stem moves within this; friction bands reach 6 psi
    jam_to_share: Cap = built_in(0.6)  # beyond it the stem may stand at its stop: 0.8 / (1.25 x 1.05)
    jump_share: Cap = built_in(0.6)  # of travel in one scan: no stem does that

    # Hands in the mechanism.
    hair_m: Cap = built_in(0.0005)  # four times the noise of a 2 in transmitter; assumption
    hold_pa: Cap = built_in(1.0 * PSI)  # pressure drifting this far moves a stem soon

    # Supply and read-backs.
    supply_max_pa: Cap = HIGHEST_SUPPLY
    supply_min_pa: Cap = built_in(0.0)  # not judged unless named
    readback_pa: Cap = built_in(1.5 * PSI)  # 0.5 % of 100 psi and four times a noise of 0.25 %; assumption
    readback_s: Cap = built_in(0.5)  # a valve's contact follows its command by then; assumption
    readback_scans: Cap = built_in(2.0)  # that disagree: one more trips, together or now and then ...
    readback_forget_s: Cap = built_in(10.0)  # ... each of them is forgotten after this long; assumption

    def __post_init__(self) -> None:
        """Raises ValueError when pressure or position is not required: without them there is no guard."""
        roles = {expected.role for expected in self.signals}
        if not {Role.PRESSURE, Role.POSITION} <= roles:
            raise ValueError("casing pressure and stem position must be among the required signals")

    @property
    def pressure_period_s(self) -> float:
        return next(item.period_s.value for item in self.signals if item.role is Role.PRESSURE)

    @property
    def demand_max_pa(self) -> float:
        """Highest output the guard permits [Pa]: the cap less the margin, never below zero."""
        return max(0.0, self.pressure_max_pa.value - self.demand_margin_pa.value)

    def told(self) -> Iterator[tuple[str, float, str]]:
        """Name, value (SI, unit in the name) and source of every limit, for the record."""
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, Cap):
                yield item.name, value.value, value.source
        for signal in self.signals:
            yield f"{signal.role}_period_s", signal.period_s.value, signal.period_s.source
