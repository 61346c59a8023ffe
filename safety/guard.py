"""The one gate: what of a demand may reach the stand in this scan. Pure, total, refusing by default.

Once per scan: `judge` the reading, `decide` a person's event if there is one, `permit` the demand;
`step` is the three in order. The demand's `serial` must grow with every new demand: the guard tells by it
that the procedure is alive, and renews nothing by itself.

An operating aid, not a certified safety function.
"""

from dataclasses import replace
from math import isfinite

from safety.checks import Finding, disagreements, findings
from safety.limits import Limits
from safety.observe import observe
from safety.output import frozen, refused, remembered, walk
from safety.permissives import against_arming, against_clearing, against_hands_in
from safety.signals import SAFE_COMMAND, Command, Demand, Reading
from safety.state import Event, GuardEvent, GuardState, Memory, Mode, PersonEvent, Run, follow
from safety.track import Mark
from safety.venting import after_trip, at_rest, while_venting


def start(limits: Limits, time_s: float) -> GuardState:
    """At rest, outputs safe, knowing nothing. Raises ValueError when the time is not a finite number."""
    if not isfinite(time_s):
        raise ValueError(f"the guard cannot start at {time_s} s")
    memory = Memory(last_good=(time_s,) * len(limits.signals))
    return GuardState(Mode.RESTING, time_s, time_s, memory=memory, valves_since_s=time_s)


def step(
    limits: Limits,
    state: GuardState,
    reading: Reading,
    demand: Demand | None,
    event: PersonEvent | None = None,
) -> tuple[GuardState, Command]:
    state = judge(limits, state, reading)
    if event is not None:
        state = decide(limits, state, reading, event)
    return permit(limits, state, reading, demand)


def judge(limits: Limits, state: GuardState, reading: Reading) -> GuardState:
    """Work the reading in, latch what it brings, and see whether venting does what it must."""
    passed_s = reading.time_s - state.time_s
    if not isfinite(passed_s) or passed_s < 0.0:
        return _lost_time(state, reading)
    gap = passed_s > limits.gap_max_s.value and state.mode is not Mode.RESTING
    vented_at_s, state = state.vented_at_s, observe(limits, state, reading)
    astray = max(0.0, state.astray - passed_s / limits.readback_forget_s.value)
    if any(True for _ in disagreements(limits, state, reading)):
        # An output that is not as it was told may let air in: what is gone now is not known to stay so.
        state, astray = replace(state, vented=False, vented_at_s=vented_at_s), astray + 1.0
    state = replace(state, astray=astray)
    found = findings(limits, state, reading)
    if gap:
        text = "No reading for too long: the machine slept, stalled, or its clock jumped."
        found = (Finding("scan gap", text, passed_s, limits.gap_max_s.value, "s"), *found)
    state = _latch_ripe(state, found)
    if state.mode is Mode.RESTING:
        return _happen(state, at_rest(limits, state))
    if state.mode is Mode.VENTING:
        return _happen(state, while_venting(limits, state))
    if state.mode is Mode.TRIPPED:
        return _happen(state, after_trip(limits, state, reading))
    return state


def decide(limits: Limits, state: GuardState, reading: Reading, event: PersonEvent) -> GuardState:
    """A person's event, obeyed or refused with reasons. What the table does not hold changes nothing."""
    if event is PersonEvent.SAFE_NOW:
        ordered = Finding("ordered safe", "A person ordered the outputs safe.", 1.0, 0.0, "order")
        return _latch(state, (ordered,), event)
    actual: Event = event
    if event is PersonEvent.HANDS_OUT and state.trips:
        actual = GuardEvent.HANDS_OUT_LATCHED
    after = follow(state, actual, state.time_s)
    if after is None:
        refusal = f"'{event.value}' has no meaning while {state.mode.value}."
        return replace(state, refusals=(*state.refusals, refusal))
    against = {
        PersonEvent.ARM: against_arming,
        PersonEvent.CLEAR: against_clearing,
        PersonEvent.HANDS_IN: against_hands_in,
    }.get(event)
    reasons = against(limits, state, reading) if against else ()
    if reasons:
        return replace(state, refusals=(*state.refusals, *reasons))
    return _entered(limits, state, after, reading, event)


def permit(
    limits: Limits, state: GuardState, reading: Reading, demand: Demand | None
) -> tuple[GuardState, Command]:
    """What may be written now. Called once after each `judge`."""
    if state.mode is Mode.RAMPING:
        state, command = _ramp(limits, state, reading, demand)
    elif state.mode is Mode.VENTING:
        command = _walk_down(limits, state)
    elif state.mode is Mode.HANDS_IN:
        command = frozen(limits, state, reading)
    elif state.mode is Mode.ESCALATED:
        command = replace(SAFE_COMMAND, feed_watchdog=False)
    else:
        command = SAFE_COMMAND
    return _written(limits, state, command), command


def _ramp(
    limits: Limits, state: GuardState, reading: Reading, demand: Demand | None
) -> tuple[GuardState, Command]:
    run, refusal = _accept(limits, state, demand)
    if refusal is not None:
        state = replace(state, refusals=(*state.refusals, refusal))
    if run.unfresh > limits.demand_fresh_scans.value:
        text = "No fresh demand from the procedure: it has stopped, or is too busy."
        limit = limits.demand_fresh_scans.value
        state = _latch(state, (Finding("no fresh demand", text, run.unfresh, limit, "scans"),))
        return state, SAFE_COMMAND
    wanted, output = run.demand, state.command.output_pa
    limited: tuple[str, ...] = ()
    if wanted is not None and wanted.vent:
        return replace(state, run=run), SAFE_COMMAND
    if wanted is not None and refusal is None:
        output, limited = walk(limits, state, reading, wanted, _passed_s(state))
    return replace(state, run=run, limited=limited), Command(output, True, False, True)


def _accept(limits: Limits, state: GuardState, demand: Demand | None) -> tuple[Run, str | None]:
    """The run with a fresh demand taken in, or one scan more without; and why a fresh one was refused."""
    run = state.run
    fresh = demand is not None and (run.demand is None or demand.serial > run.demand.serial)
    if demand is None or not fresh:
        return replace(run, unfresh=run.unfresh + 1), None
    reason = refused(limits, demand)
    if reason is not None:
        return replace(run, unfresh=run.unfresh + 1), reason
    before = run.demand
    same = before is not None and (demand.stage, demand.cycle) == (before.stage, before.cycle)
    return Run(run.since_s, demand, 0, run.stage_since_s if same else state.time_s), None


def _passed_s(state: GuardState) -> float:
    """Time since the last output was permitted [s]; none where that is not known."""
    return state.time_s - state.outputs[-1][0] if state.outputs else 0.0


def _walk_down(limits: Limits, state: GuardState) -> Command:
    """Orderly: the output walks down with the air on, then the vent opens. Slowly where a trip is latched."""
    if state.command.output_pa <= 0.0:
        return SAFE_COMMAND
    rate = (limits.slow_return_pa_per_s if state.trips else limits.stop_rate_pa_per_s).value
    fall = min(rate * _passed_s(state), limits.step_max_pa.value)
    return Command(max(0.0, state.command.output_pa - fall), True, False, True)


def _written(limits: Limits, state: GuardState, command: Command) -> GuardState:
    before = state.command
    vent_turned = command.vent_open is not before.vent_open
    turned = vent_turned or command.supply_open is not before.supply_open
    memory = replace(state.memory, falling=None, rising=None) if vent_turned else state.memory
    return replace(
        state,
        command=command,
        outputs=remembered(limits, state, command.output_pa),
        valves_since_s=state.time_s if turned else state.valves_since_s,
        memory=memory,
    )


def _entered(
    limits: Limits, before: GuardState, state: GuardState, reading: Reading, event: PersonEvent
) -> GuardState:
    """What a person's event brings along beside the mode."""
    now, memory, command = state.time_s, state.memory, state.command
    if event is PersonEvent.ARM:
        # Read-backs that disagreed for long at rest must not leave one garbled answer enough to trip.
        return replace(state, run=Run(since_s=now, stage_since_s=now), astray=0.0)
    if event is PersonEvent.CLEAR:
        return replace(state, trips=(), rest_position_m=None)
    if event is PersonEvent.HANDS_IN:
        return replace(state, held=Mark(now, memory.pressure.quick, memory.position.quick, command.output_pa))
    if event is PersonEvent.HANDS_OUT:
        # Air that was shut off may have bled away: it must not come back at once, after a trip not at all.
        measured = max(0.0, memory.pressure.quick)
        margin = 0.0 if state.trips else limits.follow_margin_pa.value
        bled = command.output_pa - measured > margin
        if bled and not reading.pressure_is_inferred:
            command = replace(command, output_pa=measured)
        since_s = state.run.since_s + (now - before.entered_s)  # time with hands in is not run time
        run = replace(state.run, unfresh=0, since_s=since_s, stage_since_s=now)
        return replace(state, command=command, run=run)
    return state


def _happen(state: GuardState, found: tuple[GuardEvent, Finding | None] | None) -> GuardState:
    """An event of the guard's own, with the finding that it brings if any."""
    if found is None:
        return state
    event, finding = found
    if finding is not None:
        return _latch(state, (finding,), event)
    return follow(state, event, state.time_s) or state


def _latch_ripe(state: GuardState, found: tuple[Finding, ...]) -> GuardState:
    """Latch the findings that have lasted; remember since when the others are there."""
    before = dict(state.since)
    since = {finding.code: before.get(finding.code, state.time_s) for finding in found}
    ripe = tuple(finding for finding in found if state.time_s - since[finding.code] >= finding.patience_s)
    if since != before:
        state = replace(state, since=tuple(since.items()))
    return _latch(state, ripe)


def _latch(state: GuardState, found: tuple[Finding, ...], event: Event = GuardEvent.TRIP) -> GuardState:
    """Append causes not yet listed, each code once. One already listed still goes where the table says."""
    if not found:
        return state
    listed = {trip.code: trip for trip in state.trips}
    for finding in found:
        listed.setdefault(finding.code, finding.latched(state.time_s))
    state = replace(state, trips=tuple(listed.values()))
    return follow(state, event, state.time_s) or state


def _lost_time(state: GuardState, reading: Reading) -> GuardState:
    """Time is not a number or runs backwards: nothing measured by it holds, so begin anew, tripped."""
    text = "The time of the reading runs backwards or is no number."
    now = reading.time_s if isfinite(reading.time_s) else state.time_s
    state = _latch(state, (Finding("time wrong", text, now - state.time_s, 0.0, "s"),))
    return replace(
        state,
        since=(),
        time_s=now,
        entered_s=min(state.entered_s, now),
        valves_since_s=min(state.valves_since_s, now),
        vented_at_s=min(state.vented_at_s, now),
        vented=False,
        outputs=(),
        refusals=(),
        limited=(),
        memory=Memory(last_good=tuple(min(when, now) for when in state.memory.last_good)),
        run=replace(
            state.run,
            since_s=min(state.run.since_s, now),
            stage_since_s=min(state.run.stage_since_s, now),
        ),
    )
