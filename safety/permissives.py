"""What must be true before a person's event is obeyed. Each answer is the list of reasons against it."""

from collections.abc import Iterator

from safety.checks import NAMES, OPENED, contacts_open, disagreements, expired, supply
from safety.limits import PSI, Limits, Role
from safety.observe import believable, signal_of
from safety.signals import Reading
from safety.state import GAUGE, GuardState, Mode

SETTLE_S = 1.0  # the slow filter's time constant: before that neither stillness nor zero can be told


def not_live(limits: Limits, reading: Reading) -> Iterator[str]:
    for expected in limits.signals:
        signal = signal_of(reading, expected.role)
        if not believable(signal):
            yield f"The {NAMES[expected.role]} signal is not live: {signal.health.value}."


def unhealthy(limits: Limits, state: GuardState, reading: Reading, but: Role | None = None) -> Iterator[str]:
    """Signals live and fresh, contacts closed, supply within limits; `but` for one role's age and contact."""
    yield from not_live(limits, reading)
    yield from (lost.text for role, lost in expired(limits, state, reading).items() if role is not but)
    for check in (contacts_open, supply):
        for found in check(limits, state, reading):
            if but is None or found.code != OPENED[but][0]:
                yield found.text


def against_arming(limits: Limits, state: GuardState, reading: Reading) -> tuple[str, ...]:
    """Everything that speaks against motion now; empty when the stand may be armed."""
    reasons = list(unhealthy(limits, state, reading))
    reasons += [found.text for found in disagreements(limits, state, reading)]
    if state.mode is Mode.RESTING and state.time_s - state.entered_s < SETTLE_S:
        reasons.append(f"The readings have not settled yet: wait {SETTLE_S:.0f} s at rest.")
    if not state.vented:
        reasons.append(_not_vented(limits, state, reading))
    if not still(limits, state):
        reasons.append("The stem is moving.")
    return (*reasons, *limits.other_refusals)


def against_clearing(limits: Limits, state: GuardState, reading: Reading) -> tuple[str, ...]:
    """Clearing needs healthy readings and a vented casing; a watchdog left to expire does not count."""
    reasons = list(unhealthy(limits, state, reading, Role.WATCHDOG))
    if not state.vented:
        reasons.append(_not_vented(limits, state, reading))
    return tuple(reasons)


def against_hands_in(limits: Limits, state: GuardState, reading: Reading) -> tuple[str, ...]:
    """Hands may go in only where nothing moves and nothing is about to."""
    reasons = list(unhealthy(limits, state, reading))
    if state.command.vent_open:
        reasons.append("The vent is open: nothing is being held.")
    if state.run.demand is None or (
        min(state.run.demand.pressure_pa, limits.demand_max_pa) != state.command.output_pa
    ):
        reasons.append("The output is still on its way: wait until the demand is steady.")
    if abs(state.memory.pressure.rate) > limits.fall_step_pa.value:
        reasons.append("The pressure is not steady yet.")
    if not still(limits, state):
        reasons.append("The stem is moving.")
    return tuple(reasons)


def still(limits: Limits, state: GuardState) -> bool:
    """No movement beyond a hair between the two filters; never still where the position is unknown."""
    return abs(state.memory.position.quick - state.memory.position.slow) <= limits.hair_m.value


def _not_vented(limits: Limits, state: GuardState, reading: Reading) -> str:
    bound, least = limits.gone_pa.value / PSI, limits.vent_least_s.value
    pressure = state.memory.pressure
    reads = f"reads {pressure.quick / PSI:.2f} psi" if pressure.known else "has not been read yet"
    words = [
        f"The casing pressure is not known to be gone: it {reads}, "
        f"and must be within {bound:.2f} psi of zero, with the vent open for {least:.0f} s."
    ]
    if reading.pressure_is_inferred:
        words = ["Nothing measures the casing pressure."]
    elif state.pressure_doubted:
        words.append(GAUGE)
    if reading.pressure_is_inferred or state.pressure_doubted:
        waited, needed = state.time_s - state.valves_since_s, limits.blind_s.value
        words.append(
            f"It is taken as gone only {needed:.0f} s after the vent opened ({waited:.0f} s so far)."
        )
    return " ".join(words)
