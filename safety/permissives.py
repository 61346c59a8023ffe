"""What must be true before a person's event is obeyed. Each answer is the list of reasons against it."""

from collections.abc import Iterator

from safety.checks import NAMES, contacts_open, readbacks, signals_lost, supply
from safety.limits import PSI, Limits
from safety.observe import believable, signal_of
from safety.signals import Reading
from safety.state import GuardState, Mode

SETTLE_S = 1.0  # the slow filter's time constant: before that neither stillness nor zero can be told


def not_live(limits: Limits, reading: Reading) -> Iterator[str]:
    for expected in limits.signals:
        signal = signal_of(reading, expected.role)
        if not believable(signal):
            yield f"The {NAMES[expected.role]} signal is not live: {signal.health.value}."


def unhealthy(limits: Limits, state: GuardState, reading: Reading, *but: str) -> Iterator[str]:
    """Signals live and fresh, contacts closed, supply within limits; `but` the codes named."""
    yield from not_live(limits, reading)
    for check in (signals_lost, contacts_open, supply):
        yield from (found.text for found in check(limits, state, reading) if found.code not in but)


def against_arming(limits: Limits, state: GuardState, reading: Reading) -> tuple[str, ...]:
    """Everything that speaks against motion now; empty when the stand may be armed."""
    reasons = list(unhealthy(limits, state, reading))
    reasons += [found.text for found in readbacks(limits, state, reading)]
    if state.mode is Mode.RESTING and state.time_s - state.entered_s < SETTLE_S:
        reasons.append(f"The readings have not settled yet: wait {SETTLE_S:.0f} s at rest.")
    if not state.vented:
        reasons.append(_not_vented(limits, state, reading))
    if not still(limits, state):
        reasons.append("The stem is moving.")
    return (*reasons, *limits.other_refusals)


def against_clearing(limits: Limits, state: GuardState, reading: Reading) -> tuple[str, ...]:
    """Clearing needs healthy readings and a vented casing; a watchdog left to expire does not count."""
    reasons = list(unhealthy(limits, state, reading, "watchdog lost", "watchdog signal lost"))
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
    if reading.pressure_is_inferred:
        waited = state.time_s - state.vent_since_s
        return (
            "Nothing measures the casing pressure: it is taken as gone only after the vent has been open "
            f"for {limits.blind_s.value:.0f} s ({waited:.0f} s so far)."
        )
    bound = limits.gone_pa.value / PSI
    return (
        f"The casing pressure is not known to be gone: it reads {state.memory.pressure.quick / PSI:.2f} psi, "
        f"and must be within {bound:.2f} psi of zero with the vent open."
    )
