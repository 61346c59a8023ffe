"""The guard's limits for one valve on one stand: the lowest cap wins, and each says where it came from."""

from dataclasses import replace

from rig.profile.model import Profile
from rig.stand.model import RtuLink, Stand
from safety.limits import DEFAULT_PERIOD_S, HIGHEST_SUPPLY, PSI, Cap, Limits, Role, built_in, expect, lowest

# Assumption: nothing a shop's stand should ever put on a casing, whatever the files say.
HIGHEST_EVER = built_in(90.0 * PSI)
OVER_TRAVEL = 1.25  # times rated travel where the actuator's own stroke is not in the profile; assumption
PROOFS = frozenset({Role.WATCHDOG, Role.IDENTITY})  # the scanner asks for these about once a second
PROOF_PERIOD_S = built_in(3.0)  # two of them may go astray
SCANS_AFTER_QUIET = 3.0
SUPPLY_ROOM = 1.25  # times nominal: above it the supply's regulator has failed; assumption
SHORT_TRAVEL = 0.8  # times rated: from there on a stem may stand at a stop, short travel included
STROKE_ROOM = 1.05  # squeeze of the stops and span error of the transmitter; assumption


def limits_for(
    profile: Profile, stand: Stand, cap_pa: float | None = None, other_refusals: tuple[str, ...] = ()
) -> Limits:
    """Limits from profile, stand and an optional cap typed by a person [Pa gauge].

    `other_refusals` are missing permissives found outside the guard (calibration overdue, not confirmed).
    """
    caps = [Cap(profile.casing_maximum_pa, "profile"), Cap(stand.maximum_pressure_pa, "stand"), HIGHEST_EVER]
    if cap_pa is not None:
        caps.append(Cap(cap_pa, "person"))
    stroke_m = profile.actuator_stroke_m or OVER_TRAVEL * profile.rated_travel_m
    travel_max_m = STROKE_ROOM * max(stroke_m, profile.rated_travel_m)
    limits = Limits(
        isolate_supply_hands_in=stand.hands_in.isolating_valve,  # else the I/P would bleed the casing down
        pressure_max_pa=lowest(*caps),
        travel_max_m=Cap(travel_max_m, "profile"),
        jam_to_share=Cap(SHORT_TRAVEL * profile.rated_travel_m / travel_max_m, "profile"),
        move_by_pa=Cap(profile.bench_upper_pa, "profile"),
        supply_max_pa=supply_max(stand),
        # Too little to lift the stem at all: the air is off. More than that, and still too little for full
        # travel, is something to find out about this valve, not a danger.
        supply_min_pa=Cap(profile.bench_lower_pa, "profile"),
        signals=expect(*_fitted(stand, PROOFS, False), period_s=signal_period_s(stand))
        + expect(*_fitted(stand, PROOFS, True), period_s=PROOF_PERIOD_S),
        other_refusals=other_refusals,
    )
    if stand.maximum_rate_pa_per_s is None:
        return limits
    return replace(limits, rate_max_pa_per_s=Cap(stand.maximum_rate_pa_per_s, "stand"))


def limits_without_profile(stand: Stand) -> Limits:
    """To make a stand safe with no valve known: nothing is raised, so only the stand's own cap counts."""
    span_m = Cap(stand.stem_position.scale.span, "stand")
    return Limits(
        pressure_max_pa=lowest(Cap(stand.maximum_pressure_pa, "stand"), HIGHEST_EVER),
        travel_max_m=span_m,
        move_by_pa=HIGHEST_EVER,
        signals=expect(Role.PRESSURE, Role.POSITION, period_s=signal_period_s(stand)),
    )


def limits_for_coupling(limits: Limits, profile: Profile) -> Limits:
    """The same limits for a run in which stem and plug are connected: a coupled stem rests above the
    actuator's own stop, mid-travel as the guard sees it, and stands there until lift-off. Standing there
    counts as jammed only beyond that."""
    jam = limits.jam_pa.value + profile.bench_lower_pa
    return replace(limits, jam_pa=Cap(jam, "profile"))


def supply_max(stand: Stand) -> Cap:
    """Supply pressure above which a run trips [Pa]: `SUPPLY_ROOM` times nominal, or the built-in limit."""
    return lowest(Cap(SUPPLY_ROOM * stand.supply_pressure_pa, "stand"), HIGHEST_SUPPLY)


def signal_period_s(stand: Stand) -> Cap:
    """How old the last good value of a signal may become [s]: longer where one lost answer costs more.

    After a lost answer a serial line is left quiet until a late one can no longer come; the signals must
    outlast that, and the scan in which they are asked again.
    """
    quiet_s = max(
        (
            max(link.deadline_s, link.slowest_reply_s)
            for link in stand.links.values()
            if isinstance(link, RtuLink)
        ),
        default=0.0,
    )
    needed_s = quiet_s + SCANS_AFTER_QUIET / stand.scans_per_s
    return DEFAULT_PERIOD_S if needed_s <= DEFAULT_PERIOD_S.value else Cap(needed_s, "stand")


def _fitted(stand: Stand, among: frozenset[Role], inside: bool) -> tuple[Role, ...]:
    """Roles the stand has; pressure and position are always required, read or inferred."""
    fitted = {
        Role.PRESSURE: True,
        Role.POSITION: True,
        Role.SUPPLY: stand.supply_pressure is not None,
        Role.OUTPUT: stand.demand_readback is not None,
        Role.EMERGENCY_STOP: stand.emergency_stop_healthy is not None,
        Role.GUARD: stand.guard_closed is not None,
        Role.SUPPLY_VALVE: stand.supply_valve_readback is not None,
        Role.VENT_VALVE: stand.vent_valve_readback is not None,
        # A watchdog with no register to read back cannot be proven to be armed.
        Role.WATCHDOG: any(
            module.watchdog is not None and module.watchdog.timeout_register is not None
            for module in stand.modules.values()
        ),
        Role.IDENTITY: any(module.identity is not None for module in stand.modules.values()),
    }
    return tuple(role for role, there in fitted.items() if there and (role in among) is inside)
