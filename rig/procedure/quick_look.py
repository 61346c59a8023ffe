"""A quick look: vented, zero taken, one short stroke up to a little past lift-off and back, vented again."""

from collections import deque
from collections.abc import Callable, Generator
from dataclasses import dataclass, field

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO, Sensors
from rig.analysis.short_stroke import ShortStroke, read_short_stroke
from rig.procedure.ramp import PSI
from rig.procedure.rows import Rows
from rig.procedure.watch import Stroke, Window
from rig.profile.model import Profile
from safety.signals import Demand, Reading

Steps = Generator[Demand, Reading, None]
Keeper = Callable[[Demand, Reading], None]

GONE_PA = 0.25 * PSI  # with the casing open to the room, this much is zero error, not air
ZERO_S = 2.5
VENT_LIMIT_S, RISE_LIMIT_S, TOP_LIMIT_S = 120.0, 240.0, 8.0
FAST_PA_PER_S = 2.0 * PSI
SLOW_SHARE_OF_SPAN_PER_S = 0.05  # a span of 20 psi is ridden at 1 psi/s, as by a full check
SLOWEST_PA_PER_S, FASTEST_SLOW_PA_PER_S = 0.25 * PSI, 1.0 * PSI
SLIDE_SHARE, LEAST_SLIDE_PA = 0.2, 3.0 * PSI  # of the span: how far past lift-off
BELOW_LANDING_PA = 2.0 * PSI  # seen of the resting stem before the vent opens
BEFORE_LIFT_PA = 3.0 * PSI  # ride slowly from here
MOVED_SHARE = 0.02  # of rated travel
LEAST_SLOPE, MARK_PA = 0.35, 0.5 * PSI  # of the rated slope: soft seats give a tenth; judged over two marks

WATCH = {
    ZERO: "Hands clear. The stem must stand still while the zero is taken.",
    RISE: "Watch the stem: it should lift smoothly, without hops.",
    TOP: "The stem stands a little off its rest.",
    RETURN: "Watch the stem go back to its rest without hanging. Hands out of the yoke.",
    REST: "The casing is venting: noise at the vent. Stay clear until the pressure is gone.",
}


@dataclass
class QuickLook:
    """`run` returns what the short stroke told. `expected_pa`: where the stem should lift off."""

    profile: Profile
    stroke: Stroke
    sensors: Sensors
    highest_pa: float
    expected_pa: float
    rows: Rows = field(default_factory=Rows)

    def __post_init__(self) -> None:
        self._now_s = 0.0
        self._lift_pa: float | None = None
        span = self.profile.bench_upper_pa - self.profile.bench_lower_pa
        self._slow = min(max(SLOW_SHARE_OF_SPAN_PER_S * span, SLOWEST_PA_PER_S), FASTEST_SLOW_PA_PER_S)
        self._slide_pa = max(LEAST_SLIDE_PA, SLIDE_SHARE * span)
        self._sliding = Sliding(self.profile.rated_travel_m / span)

    def run(self) -> Generator[Demand, Reading, ShortStroke]:
        """One look; a second one where the stem lifted while the pressure still rose fast."""
        yield from self._once()
        if self._lift_pa is not None and self._lift_pa < self._slow_from() + 0.5 * PSI:
            self.expected_pa = self._lift_pa - 0.5 * PSI
            yield from self._once()
        return read_short_stroke(self.rows.samples(), self.sensors, self.profile.rated_travel_m)

    def _once(self) -> Steps:
        self.rows.clear()
        self._lift_pa = None
        yield from self._zero()
        yield from self._rise()
        yield from self._top()
        yield from self._return()
        yield from vented(self.stroke, REST, self._keep)

    def _zero(self) -> Steps:
        yield from vented(self.stroke, ZERO, self._keep)
        rest, began_s = Window(ZERO_S), self._now_s
        while self._now_s - began_s < ZERO_S:
            reading = yield from self._ask(0.0, 0.0, ZERO, vent=True)
            if reading.position.good:
                rest.add(reading.position.time_s, reading.position.value)
        if rest.full:
            self.stroke.rest_m = rest.mean
        self.stroke.motion.restart()

    def _slow_from(self) -> float:
        return max(0.0, self.expected_pa - BEFORE_LIFT_PA)

    def _rise(self) -> Steps:
        began_s = self._now_s
        self._sliding.clear()
        while self.stroke.pressure_pa < self.highest_pa - 0.1 * PSI and self._now_s - began_s < RISE_LIMIT_S:
            if self._lift_pa is None and self._sliding.now and self.stroke.share > MOVED_SHARE:
                self._lift_pa = self.stroke.pressure_pa
            if self._lift_pa is not None and self.stroke.pressure_pa > self._lift_pa + self._slide_pa:
                return
            fast = self.stroke.pressure_pa < self._slow_from()
            yield from self._ask(self.highest_pa, FAST_PA_PER_S if fast else self._slow, RISE)

    def _top(self) -> Steps:
        hold_pa, began_s = min(self.stroke.pressure_pa, self.highest_pa), self._now_s
        self.stroke.pressure.clear()
        while self._now_s - began_s < TOP_LIMIT_S:
            yield from self._ask(hold_pa, self._slow, TOP)
            steady = self.stroke.pressure.steady(0.05 * PSI) and self.stroke.stem_steady
            if self._now_s - began_s > 1.5 and steady:
                return

    def _return(self) -> Steps:
        landed_pa: float | None = None
        top = self.stroke.share
        self._sliding.clear()
        while self.stroke.pressure_pa > 0.1 * PSI:
            if landed_pa is None and self.stroke.share < 0.5 * top and not self._sliding.now:
                landed_pa = self.stroke.pressure_pa
            if landed_pa is not None and self.stroke.pressure_pa < landed_pa - BELOW_LANDING_PA:
                return
            yield from self._ask(0.0, self._slow, RETURN)

    def _ask(
        self, pressure_pa: float, rate: float, stage: str, vent: bool = False
    ) -> Generator[Demand, Reading, Reading]:
        demand = Demand(pressure_pa, rate, stage, cycle=1, vent=vent, watch_for=WATCH[stage])
        reading = yield demand
        self.stroke.see(reading)
        self._sliding.see(self.stroke.pressure.mean, self.stroke.travel_m)
        self._keep(demand, reading)
        return reading

    def _keep(self, demand: Demand, reading: Reading) -> None:
        self._now_s = reading.time_s
        self.rows.keep(demand, reading, 0 if demand.stage == ZERO else 1)


class Sliding:
    """Does the stem slide, or does it stand while a soft seat gives way? By travel over the last psi."""

    def __init__(self, expected_m_per_pa: float) -> None:
        self.least_m_per_pa = LEAST_SLOPE * expected_m_per_pa
        self._marks: deque[tuple[float, float]] = deque(maxlen=3)
        self.now = False

    def clear(self) -> None:
        self._marks.clear()
        self.now = False

    def see(self, pressure_pa: float, travel_m: float) -> None:
        if self._marks and abs(pressure_pa - self._marks[-1][0]) < MARK_PA:
            return
        self._marks.append((pressure_pa, travel_m))
        then_pa, then_m = self._marks[0]
        if len(self._marks) == 3:
            self.now = abs(travel_m - then_m) > self.least_m_per_pa * abs(pressure_pa - then_pa)


def vented(
    stroke: Stroke, stage: str, keep: Keeper = lambda demand, reading: None, proven_s: float = 0.0
) -> Generator[Demand, Reading, bool]:
    """Vent until the pressure is gone and the stem is still; whether it came to that."""
    demand = Demand(0.0, 0.0, stage, cycle=1, vent=True, watch_for=WATCH.get(stage, ""))
    began_s: float | None = None
    gone_since_s: float | None = None
    while True:
        reading = yield demand
        stroke.see(reading)
        keep(demand, reading)
        now_s = reading.time_s
        began_s = now_s if began_s is None else began_s
        gone = stroke.pressure.steady(0.05 * PSI) and abs(stroke.pressure_pa) < GONE_PA and stroke.stem_steady
        gone_since_s = (now_s if gone_since_s is None else gone_since_s) if gone else None
        if gone_since_s is not None and now_s - gone_since_s >= proven_s:
            return True
        if now_s - began_s > VENT_LIMIT_S:
            return False
