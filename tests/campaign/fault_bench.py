"""One ride on the simulated stand in virtual time, with one fault at one moment, scored on the truth."""

from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import isnan
from pathlib import Path
from random import Random

from rig.cli.session import demo_actuator
from rig.profile.load import load_profile, profile_text, shipped_profiles
from rig.record.reader import read_record
from rig.record.writer import RecordWriter
from rig.stand.file import load_stand, stand_text
from rig.stand.limits import limits_for
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.notice import ASTRAY
from rig.stand.outputs import Outputs
from rig.stand.run import VENT_WITHIN_S, How, Run
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.limits import Limits, built_in
from safety.signals import Demand, Reading
from safety.state import Mode, PersonEvent
from simulator import SimulatedStand
from tests.campaign.fault_kinds import (
    AT_ONCE,
    FOREIGN_EVERY,
    NO_DEMAND,
    PSI,
    SIGNAL_LOST,
    WRITTEN,
    Kind,
    write_as_foreigner,
)

STAND, LOOK_S = "simulated", 0.005  # the truth is looked at four times a scan
RATE, HOLD_S, SETTLE_S = 3.0 * PSI, 3.0, 1.2
CAP_ABOVE = 6.0 * PSI  # a person's cap in every other ride, this far above the rated range
GONE_PA = 1.0 * PSI  # true pressure that counts as vented: what the guard calls air in the casing
GONE_WITHIN_S = built_in(60.0)  # then it escalates: three times as soon as in life, to save time
MOST_SCANS, MOST_SCANS_OF_STOPPED_TIME = 15_000, 1_000
AFTERWARDS_S = 5.0  # the outputs stay as they were left
WATCHDOG_S = 10.0  # nobody speaks to the module any more: when to look whether it vented by itself


class TroubledClock:
    """Virtual time that takes the stand along, and may sleep, leap, run back or stop."""

    def __init__(self, advance: Callable[[float], None], period_s: float) -> None:
        self._advance, self._period_s = advance, period_s
        self._plant_s = self.offset_s = 0.0
        self._stopped_s: float | None = None

    def now(self) -> float:
        return self._plant_s + self.offset_s if self._stopped_s is None else self._stopped_s

    def wait_until(self, time_s: float) -> float:
        """A stopped clock lets the stand go on; the scan cannot know."""
        if self._stopped_s is not None:
            self.sleep(self._period_s)
            return 0.0
        if time_s > self.now():
            self.sleep(time_s - self.now())
        return self.now() - time_s if self.now() - time_s > 1e-9 else 0.0

    def sleep(self, seconds: float) -> None:
        self._plant_s += seconds
        self._advance(self._plant_s)

    @property
    def stopped(self) -> bool:
        return self._stopped_s is not None

    def stop(self) -> None:
        self._stopped_s = self.now()


class ProcedureFails(Exception):  # noqa: N818
    pass


@dataclass
class Score:
    kind: str
    seed: int
    moment_s: float
    mode: str  # of the guard when it struck
    over_cap_pa: float = 0.0  # highest true casing pressure less the cap
    vent_scans: int | None = None  # from the fault to the first vent command after it
    bound_scans: int | None = None  # what the guard states, where it does
    left_scans: int | None = None  # from the fault to the end of RAMPING
    end: str = ""
    first_cause: str = ""
    called_gone_pa: float = 0.0  # highest true casing pressure at any scan that began to call it gone
    left_pa: float = 0.0  # true casing pressure at the end
    wrong: list[str] = field(default_factory=list)


class Bench:
    """Stand, loop and record of one ride, and the switches that a fault turns."""

    def __init__(self, kind: Kind, seed: int, valve: str = "") -> None:
        random = self.random = Random(f"{kind.name} {seed}")
        self.kind, self.seed = kind, seed
        self.name = random.choice(sorted(shipped_profiles()))
        self.name = valve or self.name
        self.profile, stand = load_profile(self.name), load_stand(STAND)
        # Every other ride without a person's cap, as most checks are; then the supply of the profile counts.
        cap_pa = self.profile.bench_upper_pa + CAP_ABOVE if seed % 2 == 0 else None
        limits = limits_for(self.profile, stand, cap_pa)
        self.limits: Limits = replace(limits, gone_within_s=GONE_WITHIN_S)
        self.machine = SimulatedStand(stand, demo_actuator(self.profile), seed=seed)
        self.clock = TroubledClock(self._advance, 1.0 / stand.scans_per_s)
        buses = {link: InProcessBus(self.machine) for link in stand.links}
        scanner = Scanner(stand, buses, self.clock)
        scanner.connect()
        self.loop = ScanLoop(scanner, Outputs(stand, buses, self.clock), self.clock, self.limits)
        self.highest_pa = self.limits.demand_max_pa
        if cap_pa is None:
            self.highest_pa = min(self.highest_pa, self.profile.supply_pa)
        self.top_pa = random.uniform(0.5, 1.0) * self.highest_pa
        self.hold_s = HOLD_S
        self.peak_pa = 0.0
        self.orders: list[PersonEvent] = []
        self.main_is_dead = self.main_is_silent = self.scan_is_dead = False
        self.disk_is_full = self.procedure_fails = False
        self.silent_scans: int | None = None
        self.mad: Demand | None = None
        self.foreign_every: int | None = None
        self.shown: list[Sample] = []
        self.told: set[str] = set()  # kinds of notice
        lasts_s = SETTLE_S + 2 * self.top_pa / RATE + HOLD_S
        self.moment_s = random.uniform(0.1, lasts_s)

    def _advance(self, to_s: float) -> None:
        while self.machine.time_s < to_s - 1e-9:
            look_s = LOOK_S if self.machine.outputs.casing_pa > GONE_PA else to_s
            self.machine.advance(min(to_s, self.machine.time_s + look_s))
            self.peak_pa = max(self.peak_pa, self.machine.outputs.casing_pa)

    def procedure(self) -> Generator[Demand, Reading, str]:
        """Up, a hold, down; what a check does, only faster."""
        reading = yield Demand(0.0, RATE, "rest")
        began_s = reading.time_s
        up_s = self.top_pa / RATE
        while (passed_s := reading.time_s - began_s) < 2 * up_s + self.hold_s:
            stage, target = ("up", self.top_pa) if passed_s < up_s + self.hold_s else ("down", 0.0)
            if self.procedure_fails:
                raise ProcedureFails
            reading = yield self.mad or Demand(target, RATE, stage)
        return "done"


def ride(kind: Kind, seed: int, folder: Path) -> Score:
    return ride_on(Bench(kind, seed), folder)


def ride_on(bench: Bench, folder: Path) -> Score:
    score = Score(bench.kind.name, bench.seed, bench.moment_s, "")
    record = RecordWriter(
        folder, profile_text(bench.name), stand_text(STAND), {}, rows_per_write=500, sync_every_s=None
    )
    with record:
        _Ride(bench, score, record).go()
    _judge(bench, score)
    score.wrong += _against_the_record(bench.shown, bench.loop, folder)
    return score


class _Ride:
    def __init__(self, bench: Bench, score: Score, record: RecordWriter) -> None:
        self.bench, self.score, self.record = bench, score, record
        self.run = Run(bench.procedure(), lambda: bench.orders.pop(0) if bench.orders else None)
        self.struck: int | None = None  # scan
        self.scans = 0
        self.last: Demand | None = None
        self.vented = False

    def go(self) -> None:
        bench = self.bench
        how = ""
        while self.run.ended is None and not how:
            self._strike()
            how = "lost" if bench.scan_is_dead else self._scan()
            most = MOST_SCANS_OF_STOPPED_TIME if bench.clock.stopped else MOST_SCANS
            if self.scans - (self.struck or 0) > most:
                how = "time stopped" if bench.clock.stopped else "never ended"
        if how == "lost":
            bench.clock.sleep(WATCHDOG_S)
        elif how == "vent":
            self._vent()
        elif how == "never ended":
            self.score.wrong.append(how)
        else:
            bench.loop.make_safe()
        self.score.end = how if how in ("lost", "never ended") else self._end()
        bench.clock.sleep(AFTERWARDS_S)

    def _end(self) -> str:
        mode = self.bench.loop.state.mode
        if mode in (Mode.TRIPPED, Mode.ESCALATED):
            return mode.value
        return self.run.ended.how.value if self.run.ended else "stopped"

    def _strike(self) -> None:
        bench = self.bench
        if self.struck is None and bench.clock.now() >= bench.moment_s:
            self.struck = self.scans
            self.score.mode = bench.loop.state.mode.value
            bench.kind.strike(bench, bench.random)
        if self.struck is not None and bench.foreign_every is not None:
            since = self.scans - self.struck
            if since == 0 or (bench.foreign_every and since % bench.foreign_every == 0):
                write_as_foreigner(bench)

    def _scan(self) -> str:
        """One scan; "vent" when the main process is gone or has failed."""
        bench, loop = self.bench, self.bench.loop
        if bench.main_is_dead:
            return "vent"
        reading = loop.read()
        event: PersonEvent | None = None
        if bench.main_is_silent:
            if bench.silent_scans is not None:
                bench.silent_scans -= 1
                bench.main_is_silent = bench.silent_scans > 0
        else:
            try:
                self.last, event = self.run.answer(reading)
            except ProcedureFails:
                return "vent"
        sample = loop.act(reading, self.last, event)
        self._saw(sample)
        if bench.main_is_silent:
            vented = sample.vented and sample.mode != Mode.RAMPING.value
            return "vent" if vented or sample.mode == Mode.ESCALATED.value else ""
        return "vent" if bench.disk_is_full else ""

    def _vent(self) -> None:
        """As the scan process does it once its parent is gone, and the main one where its own code fails."""
        loop = self.bench.loop
        event: PersonEvent | None = PersonEvent.SAFE_NOW
        for _ in range(round(VENT_WITHIN_S * 50)):
            self._saw(loop.step(None, event))
            event = None
            if loop.state.vented or loop.state.mode is Mode.ESCALATED:
                return

    def _saw(self, sample: Sample) -> None:
        bench, score = self.bench, self.score
        self.scans += 1
        notices = bench.loop.take_notices()
        bench.told |= {notice.kind for notice in notices}
        if not bench.main_is_silent:
            self.run.saw(sample, notices)
        if self.struck is not None and score.vent_scans is None and sample.command.vent_open:
            score.vent_scans = self.scans - self.struck
        if self.struck is not None and score.left_scans is None and sample.mode != Mode.RAMPING.value:
            score.left_scans = self.scans - self.struck
        if sample.vented and not self.vented:
            score.called_gone_pa = max(score.called_gone_pa, bench.machine.outputs.casing_pa)
        self.vented = sample.vented
        if bench.disk_is_full:
            return  # neither kept nor shown
        for notice in notices:
            self.record.event(notice.time_s, notice.kind, notice.text)
        self.record.sample(sample)
        bench.shown.append(sample)


def _judge(bench: Bench, score: Score) -> None:
    """Against the truth of the simulator, which the controller never sees."""
    limits, state, machine = bench.limits, bench.loop.state, bench.machine
    score.over_cap_pa = bench.peak_pa - limits.pressure_max_pa.value
    score.left_pa = machine.outputs.casing_pa
    score.first_cause = state.first_cause.code if state.first_cause else ""
    score.bound_scans = _bound(bench) if score.mode == Mode.RAMPING.value else None
    if score.mode != Mode.RAMPING.value:
        score.vent_scans = None
    casing = machine.stand.casing_pressure
    assert casing is not None
    accuracy_pa = casing.calibration.accuracy
    over_pa = bench.kind.over_psi * PSI if limits.pressure_max_pa.source == "person" else 0.0
    if score.over_cap_pa > over_pa + accuracy_pa:
        score.wrong.append("above the cap")
    if bench.peak_pa > bench.profile.casing_maximum_pa + accuracy_pa:
        score.wrong.append("above the casing's maximum")
    if bench.kind.named and ASTRAY not in bench.told:
        score.wrong.append("not told of")
    if score.left_pa > GONE_PA and state.mode is not Mode.ESCALATED:
        score.wrong.append("neither vented nor escalated")
    if score.called_gone_pa > GONE_PA:
        score.wrong.append(f"called vented at {score.called_gone_pa / PSI:.2f} psi")
    # A procedure that ended by itself before the guard's time was up is let down in order, and vented then.
    ended = score.end == How.FINISHED
    answered = score.left_scans if ended else score.vent_scans
    if score.bound_scans is not None and (answered is None or answered > score.bound_scans):
        what = "the procedure ended" if ended else "vent command"
        score.wrong.append(f"{what} after {answered} scans, stated {score.bound_scans}")
    for before, after in pairwise(bench.shown):
        tripped = before.mode in (Mode.TRIPPED.value, Mode.ESCALATED.value)
        if tripped and (after.command.output_pa > 0.0 or after.command.supply_open):
            score.wrong.append("air let in under a trip")
            break
    if any(sample.command.output_pa > limits.demand_max_pa for sample in bench.shown):
        score.wrong.append("commanded above the cap less its margin")


def _bound(bench: Bench) -> int | None:
    """The guard's own figures, as scans, and the two that see and answer."""
    per_s, limits = bench.machine.stand.scans_per_s, bench.limits
    patience = {
        AT_ONCE: 0.0,
        SIGNAL_LOST: limits.pressure_period_s * per_s,
        NO_DEMAND: limits.demand_fresh_scans.value,
        WRITTEN: limits.readback_scans.value * FOREIGN_EVERY,
    }.get(bench.kind.bound)
    if bench.kind.name == "clock stands still":
        patience = limits.same_time_scans.value
    return None if patience is None else round(patience) + 2


def _against_the_record(shown: list[Sample], loop: ScanLoop, folder: Path) -> list[str]:
    """What is on disk is what was shown: every sample, and every cause."""
    record = read_record(folder)
    kept = record.samples
    wrong = []
    if record.torn or not record.closed:
        wrong.append("record torn or not closed")
    if len(kept.time_s) != len(shown):
        return [*wrong, f"{len(shown)} samples shown, {len(kept.time_s)} kept"]
    for at, sample in enumerate(shown):
        pressure = sample.reading.pressure.value if sample.reading.pressure.good else float("nan")
        same = abs(kept.time_s[at] - sample.reading.time_s) < 1e-5 and (
            (isnan(pressure) and isnan(kept.pressure_pa[at])) or abs(kept.pressure_pa[at] - pressure) < 1.0
        )
        if not same or abs(kept.output_pa[at] - sample.command.output_pa) > 1.0:
            wrong.append(f"sample {at} kept otherwise than shown")
            break
    if shown and shown[-1].mode == loop.state.mode.value:
        told = {event.text for event in record.events if event.kind == "trip"}
        wrong += [f"trip not kept: {trip.code}" for trip in loop.state.trips if trip.text not in told]
    return wrong
