"""What `stemrig vent` tells: what it sees as the air goes, what reads back, what is left to do by hand."""

from collections.abc import Callable, Iterator

from rig.stand.limits import limits_without_profile
from rig.stand.make_safe import ReadBack, Safe, read_backs
from rig.stand.model import Stand
from rig.stand.notice import BY_HAND as BY_HAND_TOLD
from rig.stand.notice import MODE, TRIP, Notice
from rig.stand.sample import Sample
from rig.units import Dimension, UnitSet
from safety.signals import Health, Reading
from safety.state import Mode
from safety.venting import BY_HAND

TELL_EVERY_S = 1.0
VERDICTS = {
    Safe.VENTED: "Safe: the outputs were written, and no pressure is left in the casing by its transmitter.",
    Safe.UNMEASURED: "The outputs are safe. No transmitter measures the casing: it is taken to be empty only "
    "because the vent was open for long enough. Look at a gauge at the casing.",
    Safe.NOT_SAFE: "NOT SAFE: the stand does not obey, or the pressure does not go. By hand, now:",
    Safe.STOPPED: "Stopped by a person. The outputs were last told to be safe, but the casing is not known "
    "to be empty. By hand, now:",
    Safe.UNREACHABLE: "NOT SAFE: not all outputs could be written. By hand, now:",
    Safe.UNPROVEN: "NOT SAFE as far as is known: what answers was written and reads no pressure, but it "
    "never showed the identity of the stand file. By hand, at the stand that was meant, now:",
    Safe.WRONG_DEVICE: "NOT SAFE: the device that answers is not the stand file's, so it is left alone: it "
    "may be somebody else's stand. By hand, at the stand that was meant, now:",
}
DONE = (Safe.VENTED, Safe.UNMEASURED)
NOTHING_TOLD = (Safe.UNREACHABLE, Safe.WRONG_DEVICE)


class VentBoard:
    """Lines for a person, as the scans come."""

    def __init__(self, stand: Stand, units: UnitSet, say: Callable[[str], None]) -> None:
        self._stand, self._units, self._say = stand, units, say
        self._last: Sample | None = None
        self._began_s: float | None = None
        self._told_s: float | None = None
        self._told_by_hand = False

    def saw(self, sample: Sample, notices: list[Notice]) -> None:
        now_s = sample.reading.time_s
        self._began_s = now_s if self._began_s is None else self._began_s
        at = f"{now_s - self._began_s:6.1f} s  "
        for notice in notices:
            if notice.kind == TRIP and notice.trip is not None and notice.trip.code != "ordered safe":
                self._say(f"{at}seen: {notice.text}")
            elif notice.kind not in (TRIP, MODE, BY_HAND_TOLD):
                self._say(f"{at}{'; '.join(notice.text.splitlines())}")
        if (not sample.written or sample.mode == Mode.ESCALATED.value) and not self._told_by_hand:
            self._told_by_hand = True
            self._say("The stand does not do as it is told. This goes on trying; meanwhile, by hand:")
            self._by_hand()
        if self._told_s is None or now_s - self._told_s >= TELL_EVERY_S:
            self._told_s = now_s
            written = "outputs written" if sample.written else "OUTPUTS NOT WRITTEN"
            self._say(f"{at}{written}, {self._pressure(sample.reading)}")
        self._last = sample

    def ended(self, end: Safe) -> None:
        if self._last is not None and end not in NOTHING_TOLD:
            limits = limits_without_profile(self._stand)
            for line in _told(read_backs(self._stand, limits, self._last.reading)):
                self._say(line)
            self._say(f"  last seen: {self._pressure(self._last.reading)}")
        self._say(VERDICTS[end])
        if end not in DONE:
            self._by_hand()

    def _by_hand(self) -> None:
        for number, line in enumerate(BY_HAND, 1):
            self._say(f"  {number}. {line}")

    def _pressure(self, reading: Reading) -> str:
        if reading.pressure_is_inferred:
            return "casing pressure not measured on this stand"
        if reading.pressure.health is not Health.GOOD:
            return f"casing pressure NOT KNOWN (signal {reading.pressure.health.value})"
        return f"casing pressure {self._units.text(Dimension.PRESSURE, reading.pressure.value)}"


def _told(backs: Iterator[ReadBack]) -> Iterator[str]:
    words = {True: "reads back so", False: "DOES NOT READ BACK SO", None: "nothing reads back"}
    for back in backs:
        yield f"  {back.name}: told {back.told}, {words[back.obeys]}"
