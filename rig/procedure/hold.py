"""The controlled hold: bring the stem to a travel and keep it there through the I/P, without hunting.

Creep and park. The stem is brought near quickly, crept up to the target from below in small steps of
pressure, and *parked*: the pressure is taken back by half the friction band and the output frozen, so that
the stem stands in the middle of its band and no drift smaller than half the band moves it. A controller with
integral action hunts on a sticking stem; this one never corrects once it is parked.

Where a hop of the stem is larger than the tolerance the landing is a matter of luck: the stem is taken back
by more than a band and tried again from another place, a few times, and then it is said.
"""

from collections.abc import Generator
from dataclasses import dataclass, field

from rig.procedure.ramp import PSI
from rig.procedure.watch import Stroke, Window
from safety.signals import Demand, Reading

INCH = 0.0254  # m; the amounts below are round numbers in psi and inches
TOLERANCE_M = 0.005 * INCH
FAST_PA_PER_S, SLOW_PA_PER_S = 2.0 * PSI, 1.0 * PSI
FINEST_STEP_PA, CREEP_STEP_PA = 0.01 * PSI, 0.05 * PSI
LOOK_EVERY_S = 0.4  # between creeping steps: the position is read as a mean over half of it
NEAR_M = 0.030 * INCH  # creep from here on, or from three hops before the target
STRIDE_SHARE = 0.7  # of what is left, in one stride: a stem that sticks must not be carried past
PRE_SLIDE_M = 0.0004 * INCH  # the stem gives this much back when it is parked (0.2-1 mil; measured)
LANDED_SHARE = 0.8  # of the tolerance: what counts as landed, the rest is for parking and noise
PARKED_SHARE = 0.9  # of the tolerance: noise may hide the rest
SETTLE_LIMIT_S = 6.0
PROVE_S = 2.0
HOP_M = 0.0015 * INCH  # smaller movements between two looks are creeping, not hopping

Steps = Generator[Demand, Reading, None]


@dataclass(frozen=True, slots=True)
class HoldPlan:
    """Where to hold, and what is known of the stem: SI, along the stroke coordinate."""

    target_m: float
    gain_m_per_pa: float  # travel per pressure of the sliding stem: A / k
    half_band_pa: float  # friction / area
    lift_off_pa: float  # the stem leaves its rest somewhere here
    highest_pa: float  # never asked beyond this
    hop_m: float = 0.0  # size of a hop where the stem was seen to hop
    tolerance_m: float = TOLERANCE_M
    limit_s: float = 240.0
    tries: int = 12
    stage: str = "controlled hold"
    watch_for: str = "Hands out of the yoke: the stem is being moved to where it will be held."


@dataclass(frozen=True, slots=True)
class Held:
    """How it went. `why` is empty where the stem stands within tolerance."""

    reached: bool
    why: str
    travel_m: float
    pressure_pa: float  # demand, frozen
    seconds: float
    tries: int
    hop_m: float  # largest usual hop seen on the way


@dataclass
class Hold:
    """`reach` moves the stem and parks it; `demand` then keeps it there; `off` watches it."""

    stroke: Stroke
    plan: HoldPlan
    demand_pa: float = 0.0
    hops: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._place = Window(0.5 * LOOK_EVERY_S)
        self._now_s = self._began_s = 0.0
        self._error_pa = 0.0  # of the I/P: demand less casing pressure once it is steady
        self._rate = FAST_PA_PER_S
        self._off_since_s: float | None = None
        self._try = 0
        self._broke: tuple[float, float] | None = None  # (demand, travel) when it last broke away upward

    @property
    def travel_m(self) -> float:
        return self._place.mean

    @property
    def aim_m(self) -> float:
        return self.plan.target_m + PRE_SLIDE_M

    # -- reaching ------------------------------------------------------------------------------------

    def reach(self) -> Generator[Demand, Reading, Held]:
        """Bring the stem to the target and park it there. Always from below."""
        yield from self._ask(self.stroke.pressure_pa)
        self._began_s = self._now_s
        why = yield from self._approach()
        while not why:
            self._try += 1
            landed = yield from self._creep()
            if landed:
                yield from self._park()
                if abs(self._error()) <= PARKED_SHARE * self.plan.tolerance_m:
                    break
            why = self._give_up()
            if not why and self.travel_m > self.plan.target_m - self.plan.tolerance_m:
                yield from self._retreat()
        seconds = self._now_s - self._began_s
        return Held(not why, why, self.travel_m, self.demand_pa, seconds, self._try, self.hop_m)

    @property
    def hop_m(self) -> float:
        """Usual size of the hops seen so far, or the one the plan was given."""
        if not self.hops:
            return self.plan.hop_m
        return sorted(self.hops)[len(self.hops) // 2]

    def _approach(self) -> Generator[Demand, Reading, str]:
        """Strides of most of what is left, each waited for; returns why it could not, else empty."""
        plan = self.plan
        below = plan.lift_off_pa - 2.0 * plan.half_band_pa - 0.5 * PSI
        if self.travel_m < 0.5 * plan.target_m and self.demand_pa < below:
            yield from self._go(below, FAST_PA_PER_S)
        if self.travel_m > self.aim_m - self._near_m():
            yield from self._retreat()
        while self._left_m() > self._near_m():
            if self.demand_pa >= plan.highest_pa - 0.01 * PSI:
                return "The stem did not come to the place although the highest pressure allowed was reached."
            stride = STRIDE_SHARE * max(self._left_m() - 0.5 * self._near_m(), 0.2 * self._left_m())
            pressure = self.demand_pa + max(stride / plan.gain_m_per_pa, FINEST_STEP_PA)
            yield from self._go(pressure, FAST_PA_PER_S if self._left_m() > 0.15 * INCH else SLOW_PA_PER_S)
            if self._too_long():
                return "The stem did not come near the place in the time allowed."
        return ""

    def _near_m(self) -> float:
        return max(NEAR_M, 6.0 * self.plan.tolerance_m, 3.0 * self.hop_m)

    def _left_m(self) -> float:
        """To the aim, less what pressure still on its way will make the stem travel."""
        coming_pa = max(0.0, self.demand_pa - self._error_pa - self.stroke.pressure.mean)
        return self.aim_m - self.travel_m - coming_pa * self.plan.gain_m_per_pa

    def _creep(self) -> Generator[Demand, Reading, bool]:
        """Small steps up until the stem has landed in the tolerance (True) or past it (False)."""
        plan = self.plan
        while True:
            before = self.travel_m
            left = self.aim_m - before
            if abs(left) <= LANDED_SHARE * plan.tolerance_m:
                yield from self._wait(LOOK_EVERY_S)
                left = self.aim_m - self.travel_m
                near = LANDED_SHARE * plan.tolerance_m if self.hop_m > HOP_M else 0.3 * plan.tolerance_m
                if abs(left) <= near or self._would_overshoot(left):
                    return abs(left) <= LANDED_SHARE * plan.tolerance_m
            if left < -LANDED_SHARE * plan.tolerance_m:
                return False
            if self._too_long() or self.demand_pa >= plan.highest_pa - 0.01 * PSI:
                return False
            step = 0.35 * max(0.0, self._left_m()) / plan.gain_m_per_pa
            step = min(CREEP_STEP_PA, max(FINEST_STEP_PA, step))
            yield from self._ask(self.demand_pa + step, 4.0 * step / LOOK_EVERY_S)
            yield from self._wait(LOOK_EVERY_S)
            self._note_hop(before)

    def _would_overshoot(self, left_m: float) -> bool:
        return self.hop_m > left_m + self.plan.tolerance_m

    def _note_hop(self, before_m: float) -> None:
        moved = self.travel_m - before_m
        if moved > max(HOP_M, 3.0 * (self.stroke.motion.noise_m or 0.0)):
            self.hops.append(moved)
            self._broke = (self.demand_pa, before_m)

    def _park(self) -> Steps:
        """Take the pressure back to the middle of the band, freeze the output and prove that it stays."""
        yield from self._go(self.demand_pa - self.plan.half_band_pa, SLOW_PA_PER_S)
        yield from self._wait(PROVE_S)

    def _retreat(self) -> Steps:
        """Back by a whole band and some hundredths of an inch, never twice by the same: the places where a
        hopping stem can land form a lattice, and this shifts it. Then up again to just below break-away."""
        plan = self.plan
        golden = (0.618034 * (self._try + 1)) % 1.0
        back = max(self._near_m(), 0.06 * INCH) + golden * max(0.02 * INCH, self.hop_m)
        place, demand = self.travel_m, self.demand_pa
        goal = self.aim_m - back
        pressure = demand - 2.0 * plan.half_band_pa
        while self.travel_m > goal and pressure > 0.0 and not self._too_long():
            pressure -= max(0.1 * PSI, 0.7 * (self.travel_m - goal) / plan.gain_m_per_pa)
            yield from self._go(max(0.0, pressure), FAST_PA_PER_S)
            pressure = self.demand_pa
        up = demand - (place - self.travel_m) / plan.gain_m_per_pa - 0.4 * PSI
        if self._broke is not None:
            up = self._broke[0] - (self._broke[1] - self.travel_m) / plan.gain_m_per_pa - 0.3 * PSI
        if up > self.demand_pa:
            yield from self._go(up, FAST_PA_PER_S)

    def _give_up(self) -> str:
        plan = self.plan
        if self._try < plan.tries and not self._too_long():
            return ""
        if self.hop_m > plan.tolerance_m:
            return (
                f"The stem moves in hops of about {self.hop_m / INCH:.3f} in, more than the tolerance of "
                f"{plan.tolerance_m / INCH:.3f} in: after {self._try} tries none landed within it."
            )
        return f"The stem could not be brought within tolerance in {self._try} tries."

    def _watch_for(self) -> str:
        plan = self.plan
        if not self.hops or self.hop_m <= 2.0 * plan.tolerance_m:
            return plan.watch_for
        return (
            f"{plan.watch_for} The stem moves in hops of about {self.hop_m / INCH:.3f} in, wider than the "
            f"tolerance: it may take several tries (this is {max(1, self._try)} of {plan.tries})."
        )

    def _too_long(self) -> bool:
        return self._now_s - self._began_s > self.plan.limit_s

    # -- holding -------------------------------------------------------------------------------------

    @property
    def demand(self) -> Demand:
        """What to ask for while the stem is held: always the same."""
        plan = self.plan
        return Demand(self.demand_pa, SLOW_PA_PER_S, f"{plan.stage}: held", watch_for=plan.watch_for)

    def see(self, reading: Reading) -> None:
        """Take in a reading while it is held. The stroke has seen it already."""
        self._now_s = reading.time_s
        if reading.position.good:
            self._place.add(reading.time_s, self.stroke.travel_m)
        if abs(self._error()) <= self.plan.tolerance_m:
            self._off_since_s = None
        elif self._off_since_s is None:
            self._off_since_s = self._now_s

    def off(self, for_s: float = 2.0) -> float | None:
        """By how much the stem is off its place [m], once it has been out of tolerance for `for_s`."""
        if self._off_since_s is None or self._now_s - self._off_since_s < for_s:
            return None
        return self._error()

    def _error(self) -> float:
        return self.travel_m - self.plan.target_m

    # -- moving --------------------------------------------------------------------------------------

    def _go(self, pressure_pa: float, rate: float) -> Steps:
        """Ask for a pressure and wait until casing and stem have come to rest; learn the I/P's error."""
        pressure_pa = min(max(0.0, pressure_pa), self.plan.highest_pa)
        way_s = abs(pressure_pa - self.demand_pa) / rate
        began_s = self._now_s
        while self._now_s - began_s < way_s + SETTLE_LIMIT_S:
            yield from self._ask(pressure_pa, rate)
            if self._now_s - began_s > way_s + 0.6 and self._still():
                break
        self._error_pa = self.demand_pa - self.stroke.pressure.mean

    def _still(self) -> bool:
        return self.stroke.pressure.steady(0.03 * PSI) and self.stroke.stem_steady

    def _wait(self, seconds: float) -> Steps:
        began_s = self._now_s
        while self._now_s - began_s < seconds - 1e-6:
            yield from self._ask(self.demand_pa, self._rate)

    def _ask(self, pressure_pa: float, rate: float = FAST_PA_PER_S) -> Steps:
        plan = self.plan
        self.demand_pa, self._rate = min(max(0.0, pressure_pa), plan.highest_pa), rate
        reading = yield Demand(self.demand_pa, rate, plan.stage, watch_for=self._watch_for())
        self.stroke.see(reading)
        self.see(reading)
