"""Step and settle: stop at stated points of pressure on the way up and on the way down, several times over.

Every point is come to from one side only, as friction keeps a memory of the side: first a little short of
it, where the error of the I/P shows, then on to it by what that error leaves, never past and back. A point is
settled when pressure and stem are steady by what is seen of them; no clock says so. Near the middle the
pressure is turned back and forth once a cycle, until the stem follows: the dead band.

Points are shares of the bench range: 0 at its lower end, 1 at its upper.
"""

from collections.abc import Generator
from dataclasses import dataclass, field, replace

from rig.analysis.point_table import POINTS
from rig.analysis.samples import REST, ZERO
from rig.analysis.step_stages import LAND, TURN, Doing, StepStage, Way, read_stage
from rig.procedure.quick_look import vented
from rig.procedure.ramp import PSI
from rig.procedure.watch import Stroke, Window
from rig.profile.model import Profile
from safety.signals import Demand, Reading

Steps = Generator[Demand, Reading, None]

DEAD_BAND_AT = (0.5,)
ZERO_S = 3.0
FAST_SHARE_PER_S, SLOW_SHARE_PER_S, CREEP_SHARE_PER_S = 0.1, 0.04, 0.0125  # of the span
SHORT_SHARE = 0.03  # of the span: how far before a point the error of the I/P is looked at, at least
NEAR_SHARE = 0.002  # of the span: near enough; the pressure that there was is what counts
NUDGES = 6
STEADY_SHARE = 0.0025  # of the span over half a second: pressure is steady
STEADY_S, READ_S = 1.0, 1.5
UNSEEN_S = 3.0  # without a casing transmitter nobody sees the casing fill: three of its usual lags and more
SETTLE_LIMIT_S, MOVE_LIMIT_S = 90.0, 400.0
BEYOND_SHARE = 0.05  # of the span, above the last point, before it is come to from above
MOVED_SHARE = 0.04  # of rated travel: how far a reversal follows the stem
CLEAR_OF_NOISE = 12.0  # standard deviations of one reading: at least so far
BAND_LIMIT_SHARE = 0.8  # of the span: a stem that did not follow by then has no dead band to be told
LANDED_SHARE = 0.3  # of the lower end: the stem has landed by then, and was seen standing on its rest
USUAL_STOP_S = 8.0  # for the progress display until the pace is known

WATCH = {
    ZERO: "Hands clear. The stem must stand still while the zero is taken.",
    REST: "The casing is venting: noise at the vent. Stay clear until the pressure is gone.",
    TURN: "The stem goes to the end of its travel. Keep hands out of the yoke.",
    LAND: "Watch the stem go to its rest without hanging. Keep hands out of the yoke.",
    Doing.APPROACH: "The stem goes to the next point. Keep hands out of the yoke.",
    Doing.HOLD: "The stem should stand still here. Listen for leaks at the casing.",
    Doing.DEAD_BAND: "The pressure is turned back and forth until the stem follows. Hands out of the yoke.",
}


@dataclass
class StepRun:
    """`run` goes through all points; `remarks` collects what did not go as planned, in plain words."""

    profile: Profile
    highest_pa: float
    fastest_pa_per_s: float
    accuracy_pa: float = 0.0  # of the I/P
    points: tuple[float, ...] = POINTS
    dead_band_at: tuple[float, ...] = DEAD_BAND_AT
    cycles: int = 3
    remarks: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.stroke = Stroke(self.profile.rated_travel_m)
        self.span_pa = self.profile.bench_upper_pa - self.profile.bench_lower_pa
        self._pressure = Window(STEADY_S)
        self._cycle, self._now_s = 0, 0.0
        self._done = 0  # stops so far
        self._demand_pa = 0.0  # where the output is going, or stands
        self._output_pa = 0.0  # what the guard lets out, as far as it is known here
        self._error_pa = 0.0  # casing pressure less demand, where it was steady last
        self._inferred = False
        self._began_s: float | None = None

    def run(self) -> Generator[Demand, Reading, list[str]]:
        yield from self._take_zero()
        for cycle in range(1, self.cycles + 1):
            self._cycle = cycle
            for point in self.points:
                yield from self._stop_at(point, Way.RISING)
                if point in self.dead_band_at:
                    yield from self._reverse_at(point)
            turned = yield from self._turn()
            for point in reversed(self.points if turned else self.points[:-1]):
                yield from self._stop_at(point, Way.FALLING)
            yield from self._land()
            yield from self._vented(REST)
        return self.remarks

    def pressure_of(self, point: float) -> float:
        return self.profile.bench_lower_pa + point * self.span_pa

    # -- stages ----------------------------------------------------------------------------------

    def _take_zero(self) -> Steps:
        yield from self._vented(ZERO)
        rest, began_s = Window(ZERO_S), self._now_s
        while self._now_s - began_s < ZERO_S:
            reading = yield from self._ask(0.0, 0.0, ZERO, vent=True)
            if reading.position.good:
                rest.add(reading.position.time_s, reading.position.value)
        if rest.full:
            self.stroke.rest_m = rest.mean
        else:
            self.remarks.append("The stem position was not live while the zero was taken.")
        self.stroke.motion.restart()

    def _stop_at(self, point: float, way: Way) -> Steps:
        """Come to the point from below (rising) or from above, and hold until it was read."""
        stage = str(StepStage(Doing.APPROACH, point, way))
        settled = yield from self._approach(
            self.pressure_of(point), 1.0 if way is Way.RISING else -1.0, stage
        )
        self._done += 1
        if not settled:
            where = f"{100.0 * point:g} % {way.value}"
            self.remarks.append(f"Cycle {self._cycle}: {where} was not read: nothing settled there.")
            return
        began_s, held = self._now_s, str(StepStage(Doing.HOLD, point, way))
        while self._now_s - began_s < READ_S:
            yield from self._ask(self._demand_pa, 0.0, held)

    def _approach(self, target_pa: float, sign: float, stage: str) -> Generator[Demand, Reading, bool]:
        """Short of it, look, then on by what is left, in the one direction; whether all was steady then."""
        short_pa = max(SHORT_SHARE * self.span_pa, 2.0 * self.accuracy_pa)
        first_pa = self._limited(target_pa - self._error_pa - sign * short_pa)
        if sign * (first_pa - self._demand_pa) > 0.0:
            yield from self._go(first_pa, FAST_SHARE_PER_S, stage)
        if not (yield from self._settle(stage)):
            return False
        for _ in range(NUDGES):
            left_pa = sign * (target_pa - self._seen_pa())
            if left_pa < NEAR_SHARE * self.span_pa:
                break
            step_pa = max(left_pa - 0.5 * NEAR_SHARE * self.span_pa, 0.5 * left_pa)
            goal_pa = self._limited(self._demand_pa + sign * step_pa)
            if goal_pa == self._demand_pa:
                break  # no more is allowed
            yield from self._go(goal_pa, SLOW_SHARE_PER_S, stage)
            if not (yield from self._settle(stage)):
                return False
        return abs(target_pa - self._seen_pa()) < SHORT_SHARE * self.span_pa

    def _reverse_at(self, point: float) -> Steps:
        """Back until the stem follows, hold, and forth again until it follows: both dead bands."""
        for way in (Way.FALLING, Way.TURNED, Way.RISING):
            stage = str(StepStage(Doing.DEAD_BAND, point, way))
            if way is Way.TURNED:
                yield from self._settle(stage)
                began_s = self._now_s
                while self._now_s - began_s < READ_S:
                    yield from self._ask(self._demand_pa, 0.0, stage)
            elif not (yield from self._follow(1.0 if way is Way.RISING else -1.0, stage)):
                where = f"at {100.0 * point:g} %, {way.value}"
                self.remarks.append(f"Cycle {self._cycle}: no dead band {where}: the stem did not follow.")
                return

    def _follow(self, sign: float, stage: str) -> Generator[Demand, Reading, bool]:
        """Creep until the stem has moved by `MOVED_SHARE`, the right way; whether it did."""
        start_m, from_pa = self.stroke.travel_m, self._demand_pa
        noise_m = self.stroke.motion.noise_m or 0.0
        enough_m = max(MOVED_SHARE * self.profile.rated_travel_m, CLEAR_OF_NOISE * noise_m)
        limit_pa = self._limited(from_pa + sign * BAND_LIMIT_SHARE * self.span_pa)
        while sign * (self.stroke.travel_m - start_m) < enough_m:
            if abs(self._output_pa - limit_pa) < 1.0:
                self._demand_pa = limit_pa
                return False
            rate = CREEP_SHARE_PER_S * self.span_pa
            yield from self._ask(limit_pa, rate, stage)
        self._demand_pa = self._output_pa
        return True

    def _turn(self) -> Generator[Demand, Reading, bool]:
        """A little above the last point, so that it can be come to from above; whether there was room."""
        top_pa = self._limited(self.pressure_of(self.points[-1] + BEYOND_SHARE) - self._error_pa)
        if top_pa < self.pressure_of(self.points[-1] + 0.5 * BEYOND_SHARE) - self._error_pa:
            return False
        yield from self._go(top_pa, SLOW_SHARE_PER_S, TURN)
        yield from self._settle(TURN)
        return True

    def _land(self) -> Steps:
        """Down past where the stem lands: there is the zero of travel."""
        began_s = self._now_s
        while self.stroke.pressure_pa > 0.1 * PSI and self._now_s - began_s < MOVE_LIMIT_S:
            low = self.stroke.pressure_pa < LANDED_SHARE * self.profile.bench_lower_pa
            if low and self.stroke.stem_steady:
                return
            yield from self._ask(0.0, SLOW_SHARE_PER_S * self.span_pa, LAND)

    def _vented(self, stage: str) -> Steps:
        """Until the pressure is gone and the stem is still."""
        venting, gone = vented(self.stroke, stage, self._keep), False
        try:
            demand = next(venting)
            while True:
                reading = yield replace(
                    demand,
                    cycle=self._cycle,
                    watch_for=WATCH[stage],
                    progress=self._progress(),
                    remaining_s=self._remaining_s(),
                )
                demand = venting.send(reading)
        except StopIteration as end:
            gone = bool(end.value)
        if not gone:
            self.remarks.append("The casing was not without pressure in the time allowed for venting.")
        self._demand_pa = self._output_pa = 0.0

    # -- parts -----------------------------------------------------------------------------------

    def _go(self, goal_pa: float, share_per_s: float, stage: str) -> Steps:
        """Ramp the demand to the goal."""
        rate = min(share_per_s * self.span_pa, self.fastest_pa_per_s)
        began_s, takes_s = self._now_s, abs(goal_pa - self._output_pa) / rate
        self._demand_pa = goal_pa
        while self._now_s - began_s < takes_s:
            yield from self._ask(goal_pa, rate, stage)

    def _settle(self, stage: str) -> Generator[Demand, Reading, bool]:
        """Until pressure and stem are steady by what is seen; whether that came in time."""
        began_s = self._now_s
        self._pressure.clear()
        self.stroke.motion.restart()
        while self._now_s - began_s < SETTLE_LIMIT_S:
            yield from self._ask(self._demand_pa, SLOW_SHARE_PER_S * self.span_pa, stage)
            unseen = self._inferred and self._now_s - began_s < UNSEEN_S
            steady = self._pressure.steady(STEADY_SHARE * self.span_pa)
            if steady and self.stroke.stem_steady and not unseen:
                self._error_pa = 0.0 if self._inferred else self._seen_pa() - self._demand_pa
                return True
        return False

    def _seen_pa(self) -> float:
        return self._pressure.mean

    def _limited(self, pressure_pa: float) -> float:
        return min(max(pressure_pa, 0.0), self.highest_pa)

    def _ask(
        self, pressure_pa: float, rate: float, stage: str, vent: bool = False
    ) -> Generator[Demand, Reading, Reading]:
        demand = Demand(
            pressure_pa=pressure_pa,
            rate_pa_per_s=rate,
            stage=stage,
            cycle=self._cycle,
            vent=vent,
            watch_for=_watch_for(stage),
            progress=self._progress(),
            remaining_s=self._remaining_s(),
        )
        before_s = self._now_s
        reading = yield demand
        self.stroke.see(reading)
        self._keep(demand, reading)
        if reading.output.good:
            self._output_pa = reading.output.value
        else:
            step = rate * (reading.time_s - before_s)
            self._output_pa += max(-step, min(step, pressure_pa - self._output_pa))
        return reading

    def _keep(self, demand: Demand, reading: Reading) -> None:
        self._now_s = reading.time_s
        if self._began_s is None:
            self._began_s = reading.time_s
        self._inferred = reading.pressure_is_inferred
        if reading.pressure.good:
            self._pressure.add(reading.pressure.time_s, reading.pressure.value)

    def _progress(self) -> float:
        return min(1.0, self._done / self._stops)

    def _remaining_s(self) -> float:
        """By the pace so far [s]."""
        if self._done == 0 or self._began_s is None:
            return USUAL_STOP_S * self._stops
        return (self._now_s - self._began_s) * (self._stops - self._done) / self._done

    @property
    def _stops(self) -> int:
        return self.cycles * 2 * len(self.points)


def _watch_for(stage: str) -> str:
    step = read_stage(stage)
    return WATCH[step.doing] if step is not None else WATCH[stage]
