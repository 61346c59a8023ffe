"""Couplings of random actuators, both actions, three ways: done right, and with each kind of mistake.

Run: python -m tests.campaign.couple 0 350
"""

import sys
from collections import Counter
from dataclasses import dataclass, replace
from random import Random

from rig.analysis.coupling import Verdict, Way
from rig.profile.model import Action, Basis, Profile, Tolerance
from simulator.actuator import Actuator, actuator_for
from simulator.truth import truth
from tests.rig.coupling_bench import Hands, Made, couple_on

PSI, INCH = 6894.757293168361, 0.0254
SURPLUS_M = INCH / 32
MISTAKES = ("plug off its seat", "slack left in", "short", "slips", "nuts loose", "not made")
NAMES = {  # what each must be called
    "right": Verdict.RIGHT,
    "plug off its seat": Verdict.NOT_SEATED,
    "slack left in": Verdict.SLACK_LEFT_IN,
    "short": Verdict.SHORT,
    "slips": Verdict.SLIPPED,
    "nuts loose": Verdict.NUTS_LOOSE,
    "not made": Verdict.NOT_MADE,
}


@dataclass(frozen=True)
class Job:
    actuator: Actuator
    profile: Profile
    supply_pa: float
    way: Way
    mistake: str
    hands: Hands
    seed: int


@dataclass(frozen=True)
class Done:
    job: Job
    made: Made

    @property
    def said(self) -> str:
        proof = self.made.coupling.proof
        return "not held" if proof is None else proof.verdict.value

    @property
    def named(self) -> bool:
        return self.said == NAMES[self.job.mistake].value

    @property
    def accepted(self) -> bool:
        return self.made.coupling.right

    @property
    def truly_right(self) -> bool:
        """By the actuator itself, whatever was planned: travel as allowed, and load on the seat."""
        profile, true = self.job.profile, truth(self.made.stand.actuator, self.job.profile.supply_pa)
        slipped = self.made.stand.slip_m
        most = profile.rated_travel_m + profile.travel_surplus_m
        return (
            self.made.stand.actuator.coupled
            and profile.rated_travel_m <= true.travel + slipped <= most
            and true.slack - slipped > 0.0
        )

    @property
    def place_error_m(self) -> float | None:
        """How far from its place the stem truly stood when a held lift was connected."""
        made_m, held = self.job.hands.made_m, self.made.guided
        if self.job.way is not Way.HELD_LIFT or made_m is None or self.job.hands.early or held.alone is None:
            return None
        return made_m - held.hold_plan().target_m


def draw(seed: int) -> Job:
    """30 to 220 in2, 1/2 to 3 in, springs of 10 to 25 psi, half bands of 0.25 to 1.5 psi; 40 % done right."""
    random = Random(f"couple {seed}")
    travel = random.choice([0.5, 0.75, 1.0, 1.125, 1.5, 2.0, 3.0]) * INCH
    span, half_band = random.uniform(10, 25) * PSI, random.uniform(0.25, 1.5) * PSI
    slack = min(random.uniform(0.15, 0.375) * INCH, 0.4 * travel)
    lower = max(random.uniform(3, 12) * PSI, span * slack / travel + 2.0 * PSI)
    base = actuator_for(
        area_m2=random.uniform(30, 220) * INCH**2,
        rated_travel_m=travel,
        lower_pa=lower,
        upper_pa=lower + span,
        stroke_m=travel + slack,
        friction_fraction=half_band / span,
        basis_friction_included=False,
        action=random.choice(list(Action)).value,
    )
    sticks = random.uniform(1.0, 1.5) if random.random() < 0.5 else 1.0
    friction = replace(base.friction, static_ratio=sticks, stribeck_m_per_s=random.uniform(3e-4, 2e-3))
    stiffness = 10 ** random.uniform(7.5, 8.5)
    valve = replace(base, coupled=False, friction=friction, seat_stiffness_n_per_m=stiffness)
    supply = lower + span * (1.0 + slack / travel) + 2.0 * half_band + 8.0 * PSI
    way = random.choice([Way.HELD_LIFT, Way.HELD_LIFT, Way.TOP_STOP, Way.SHORT_LIFT])
    mistake = "right" if random.random() < 0.4 else random.choice(MISTAKES)
    profile = _profile(valve, lower, span, half_band, supply)
    return Job(valve, profile, supply, way, mistake, _hands(random, mistake, way, slack), seed)


def _profile(valve: Actuator, lower: float, span: float, half_band: float, supply: float) -> Profile:
    return Profile(
        model="campaign",
        title="random actuator",
        action=Action(valve.action),
        area_m2=valve.area_m2,
        rated_travel_m=valve.rated_travel_m,
        travel_surplus_m=SURPLUS_M,
        bench_lower_pa=lower + half_band,
        bench_upper_pa=lower + span + half_band,
        lower_tolerance=Tolerance(0.5 * PSI, 0.5 * PSI),
        upper_tolerance=Tolerance(1.5 * PSI, 1.5 * PSI),
        basis=Basis.FRICTION_INCLUDED,
        casing_maximum_pa=supply + 20 * PSI,
        supply_pa=supply,
        actuator_stroke_m=valve.stroke_m,
    )


def _hands(random: Random, mistake: str, way: Way, slack: float) -> Hands:
    """The short lift leaves the place of the stem open by 1/64 in; mistakes are clear of that."""
    gap = slack - 0.5 * SURPLUS_M
    match mistake:
        case "plug off its seat":
            return Hands(off_seat_m=random.uniform(0.04 * INCH, gap - 0.035 * INCH))
        case "slack left in":
            return Hands(off_seat_m=gap + random.uniform(0.02, 0.1) * INCH)
        case "short":
            return Hands(pushed_m=random.uniform(0.04, 0.1) * INCH)
        case "slips":
            return Hands(slips_at=random.choice((1, 2)), slip_m=random.uniform(0.015, 0.08) * INCH)
        case "nuts loose":
            return Hands(turns_out=True, turn_out_m=random.uniform(0.008, 0.03) * INCH)
        case "not made":
            return Hands(never=True)
    return Hands()


def run(job: Job) -> Done:
    made = couple_on(
        job.actuator, job.profile, job.hands, seed=job.seed, supply_pa=job.supply_pa, way=job.way
    )
    return Done(job, made)


def told(done: list[Done]) -> str:
    lines = [f"{'what was done':20s} {'couplings':>9s} {'accepted':>9s} {'named so':>9s}  otherwise called"]
    for mistake in NAMES:
        group = [d for d in done if d.job.mistake == mistake]
        if not group:
            continue
        other = Counter(f"{d.said} ({d.job.way.value})" for d in group if not d.named)
        said = ", ".join(f"{count} x {name}" for name, count in sorted(other.items()))
        accepted, named = sum(d.accepted for d in group), sum(d.named for d in group)
        lines.append(f"{mistake:20s} {len(group):9d} {accepted:9d} {named:9d}  {said}")
    wrong = [d.job.seed for d in done if d.accepted and not d.truly_right]
    lines.append(f"accepted although truly wrong: {len(wrong)} {wrong if wrong else ''}")
    errors = sorted(abs(e) / INCH for d in done if (e := d.place_error_m) is not None)
    if errors:
        middle, last = errors[len(errors) // 2], errors[-1]
        within = sum(e <= 0.005 for e in errors) / len(errors)
        lines.append(
            f"held lifts: true place off by {middle:.4f} in at the median, {last:.4f} in at most; "
            f"{within:.1%} of {len(errors)} within 0.005 in"
        )
    minutes = sorted(d.made.ride.seconds / 60.0 for d in done)
    lines.append(f"a coupling takes {minutes[len(minutes) // 2]:.1f} min of the stand's time at the median")
    return "\n".join(lines)


if __name__ == "__main__":
    first, last = (int(sys.argv[1]), int(sys.argv[2])) if len(sys.argv) > 2 else (0, 350)
    every = [run(draw(seed)) for seed in range(first, last)]
    print(told(every))
    for one in every:
        if not one.named:
            print(
                f"seed {one.job.seed}: {one.job.mistake}, {one.job.profile.action.value}, "
                f"{one.job.way.value}: {one.said}. {one.made.coupling.why}"
            )
