"""A stand made safe from a cold start: safe outputs written and read back, the pressure watched.

Nothing is needed but the stand file. The guard does it as after a trip: falling within one time, gone within
another, else the output module's watchdog is left to take the outputs down.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

from rig.stand.clock import Clock
from rig.stand.limits import limits_without_profile
from rig.stand.link import Bus
from rig.stand.loop import ScanLoop
from rig.stand.model import Stand
from rig.stand.notice import Notice
from rig.stand.outputs import Outputs
from rig.stand.run import VENT_WITHIN_S
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.limits import Limits
from safety.signals import Contact, Health, Reading
from safety.state import Mode, PersonEvent

HOLDS_S = 1.0  # safe means: so for this long without a break
REACH_WITHIN_S = 5.0  # one acknowledged write of every output; lost connections are tried again meanwhile
OBEY_WITHIN_S = 5.0  # for the read-backs to agree once the pressure is gone
SAY_AGAIN_S = 1.0  # everything is written anew this often: another program may be writing too
STARVED_WATCH_S = 15.0  # after the guard has come to its end: what the module's watchdog achieves


class Safe(Enum):
    """How it ended."""

    VENTED = "written, read back where that is fitted, and the pressure measured to be gone"
    UNMEASURED = "written, read back where that is fitted, but nothing measures the casing's pressure"
    NOT_SAFE = "the stand does not obey, or the pressure does not go"
    STOPPED = "a person stopped it before it was known to be safe"
    UNREACHABLE = "the outputs could not be written"
    UNPROVEN = "written and without pressure by what answers, which never showed the stand file's identity"
    WRONG_DEVICE = "another device than the stand file's answers; nothing was written after that was seen"


@dataclass(frozen=True, slots=True)
class ReadBack:
    """One output, what it was told, and what it reads back: None where nothing shows that."""

    name: str
    told: str
    obeys: bool | None


def make_safe(
    stand: Stand,
    buses: Mapping[str, Bus],
    clock: Clock,
    saw: Callable[[Sample, list[Notice]], None],
    stopped: Callable[[], bool] = lambda: False,
) -> Safe:
    """Write safe outputs again and again, and watch, until it is safe or known not to be.

    `saw` gets every scan. The buses need not be connected; the stand is left with safe outputs.
    """
    limits = limits_without_profile(stand)
    scanner, outputs = Scanner(stand, buses, clock), Outputs(stand, buses, clock)
    # What shows no identity is written all the same: better a stranger vented than a stand left alone.
    loop, watch = ScanLoop(scanner, outputs, clock, limits, known_only=False), _Watch(stand, limits)
    event: PersonEvent | None = PersonEvent.SAFE_NOW
    said_s = clock.now()
    while True:
        reading = loop.read()
        if _wrong_device(reading):
            return Safe.WRONG_DEVICE
        if reading.time_s - said_s >= SAY_AGAIN_S and loop.state.mode is not Mode.ESCALATED:
            outputs.renew(stand.modules)
            said_s = reading.time_s
        sample, event = loop.act(reading, None, event), None
        saw(sample, loop.take_notices())
        end = Safe.STOPPED if stopped() else watch.end(sample)
        if end is not None:
            loop.make_safe()
            return end


def read_backs(stand: Stand, limits: Limits, reading: Reading) -> Iterator[ReadBack]:
    """Every output that is fitted; `limits` say what is as good as zero."""
    if stand.vent_valve is not None:
        yield ReadBack("vent valve", "open", _holds(reading.vent_valve_open, True))
    if stand.supply_valve is not None:
        yield ReadBack("supply valve", "closed", _holds(reading.supply_valve_open, False))
    output = reading.output
    near = abs(output.value) <= limits.gone_pa.value if output.health is Health.GOOD else None
    yield ReadBack("I/P demand", "zero", near)


class _Watch:
    """Tells from one scan after another when it is over."""

    def __init__(self, stand: Stand, limits: Limits) -> None:
        self._stand, self._limits = stand, limits
        self._began_s: float | None = None
        self._reached = False
        self._safe_since_s: float | None = None
        self._vented_since_s: float | None = None
        self._escalated_s: float | None = None
        self._proven = False  # whatever answers has shown the identity of the stand file, or none is fitted

    def end(self, sample: Sample) -> Safe | None:
        now_s = sample.reading.time_s
        began_s = self._began_s = now_s if self._began_s is None else self._began_s
        self._reached |= sample.written and sample.command.feed_watchdog
        if not self._reached:
            return Safe.UNREACHABLE if now_s - began_s > REACH_WITHIN_S else None
        if self._is_safe(sample):
            inferred = sample.reading.pressure_is_inferred
            return Safe.UNMEASURED if inferred else Safe.VENTED
        too_long = now_s - began_s > VENT_WITHIN_S
        if self._disobeys(now_s) and not self._proven:
            return Safe.UNPROVEN
        return Safe.NOT_SAFE if too_long or self._disobeys(now_s) or self._at_its_end(sample) else None

    def _is_safe(self, sample: Sample) -> bool:
        now_s = sample.reading.time_s
        self._vented_since_s = _since(sample.vented, self._vented_since_s, now_s)
        obeys = all(back.obeys is not False for back in read_backs(self._stand, self._limits, sample.reading))
        written = sample.written or not sample.command.feed_watchdog
        identity = sample.reading.identity_right
        self._proven |= identity.health is Health.ABSENT or (
            identity.health is Health.GOOD and identity.closed
        )
        safe = sample.vented and obeys and written and self._proven
        self._safe_since_s = _since(safe, self._safe_since_s, now_s)
        return self._safe_since_s is not None and now_s - self._safe_since_s >= HOLDS_S

    def _disobeys(self, now_s: float) -> bool:
        """Without pressure, yet an output does not hold what it was told: air could come back."""
        return self._vented_since_s is not None and now_s - self._vented_since_s > OBEY_WITHIN_S + HOLDS_S

    def _at_its_end(self, sample: Sample) -> bool:
        escalated = sample.mode == Mode.ESCALATED.value
        self._escalated_s = _since(escalated, self._escalated_s, sample.reading.time_s)
        return self._escalated_s is not None and sample.reading.time_s - self._escalated_s > STARVED_WATCH_S


def _since(true: bool, since_s: float | None, now_s: float) -> float | None:
    """Since when it has been true without a break."""
    if not true:
        return None
    return now_s if since_s is None else since_s


def _holds(contact: Contact, wanted: bool) -> bool | None:
    return contact.closed is wanted if contact.health is Health.GOOD else None


def _wrong_device(reading: Reading) -> bool:
    """An identity register that answers, and holds something else."""
    return reading.identity_right.health is Health.GOOD and not reading.identity_right.closed
