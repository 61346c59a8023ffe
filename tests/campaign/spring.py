"""Setting the spring of random actuators, with wrong threads, coarse hands and rusty adjusters.

Run: python -m tests.campaign.spring 0 500
"""

import sys
from dataclasses import dataclass, replace
from random import Random

from rig.procedure.set_spring import SetSpring, SpringSetting
from rig.profile.model import Profile, Tolerance
from simulator.truth import truth
from tests.campaign.physical import Case, healthy
from tests.rig.guided_bench import Line, Script
from tests.rig.plain_bench import PlainRide, PlainStand, ride_plain
from tests.rig.synthetic import SENSORS

PSI, INCH = 6894.757293168361, 0.0254
PITCHES_M = (1.27e-3, 1.5e-3, 1.75e-3, 2.0e-3, 2.54e-3, 3.175e-3)


@dataclass(frozen=True)
class Job:
    """A valve whose spring is off, and who works on it."""

    case: Case
    profile: Profile
    true_pitch_m: float
    thread: str  # "right", "wrong" or "unknown"
    hand_turns: float  # standard deviation of a turn by hand
    arrives: tuple[float, float]  # share of a turn that reaches the spring, drawn anew each time
    seed: int


@dataclass(frozen=True)
class Done:
    job: Job
    setting: SpringSetting
    before_psi: float  # true deviation of the lower end as found
    after_psi: float  # and as left
    seconds: float
    text: str

    @property
    def within(self) -> bool:
        """By the truth, not by what the procedure says."""
        tolerance = self.job.profile.lower_tolerance
        return -tolerance.minus / PSI <= self.after_psi <= tolerance.plus / PSI

    @property
    def worse(self) -> bool:
        return abs(self.after_psi) > abs(self.before_psi) + 0.02 and not self.within


def draw(seed: int) -> Job:
    """60 % right threads, 25 % wrong by up to a factor of two, 15 % unknown; 15 % rusty adjusters."""
    random = Random(f"spring {seed}")
    case = healthy(random)
    pitch = random.choice(PITCHES_M)
    a = replace(case.actuator, adjuster_pitch_m=pitch)
    per_turn_pa = a.spring_rate_n_per_m * pitch / a.area_m2
    room_pa = truth(a).spring_only_lower - 1.5 * PSI
    off_pa = random.uniform(0.3, 5.0) * PSI * random.choice((-1.0, 1.0))
    off_pa = max(off_pa, -max(0.3 * PSI, room_pa))
    a = a.turned(off_pa / per_turn_pa)
    draw_thread = random.random()
    thread = "right" if draw_thread < 0.6 else "wrong" if draw_thread < 0.85 else "unknown"
    told = {
        "right": pitch,
        "wrong": pitch / random.choice((0.5, 0.63, 0.8, 1.25, 1.6, 2.0)),
        "unknown": None,
    }[thread]
    rusty = random.random() < 0.15
    profile = replace(
        case.profile,
        adjuster_pitch_m=told,
        lower_tolerance=Tolerance(0.5 * PSI, 0.5 * PSI),
        casing_maximum_pa=case.converter.supply_pa + 20 * PSI,
    )
    return Job(
        replace(case, actuator=a),
        profile,
        pitch,
        thread,
        random.uniform(0.02, 0.12),
        (0.3, 0.9) if rusty else (1.0, 1.0),
        seed,
    )


def run(job: Job) -> Done:
    stand = PlainStand(job.case.actuator, job.case.converter, job.seed)
    random = Random(f"hands {job.seed}")
    before = deviation_psi(stand, job.profile)

    def hands(machine: PlainStand) -> None:
        turns = guided.asked_turns + random.gauss(0.0, job.hand_turns)
        machine.turn_adjuster(turns * random.uniform(*job.arrives))

    guided = SetSpring(profile=job.profile, sensors=SENSORS, highest_pa=0.95 * job.case.converter.supply_pa)
    script = Script([Line("Turn the adjuster", act=hands, after_s=4.0)])  # type: ignore[arg-type]
    ride: PlainRide = ride_plain(stand, guided, guided.run(), script)
    return Done(job, ride.value, before, deviation_psi(stand, job.profile), ride.seconds, ride.texts())


def deviation_psi(stand: PlainStand, profile: Profile) -> float:
    return (truth(stand.actuator).lift_off - profile.bench_lower_pa) / PSI


def told(done: list[Done]) -> str:
    lines = ["                        jobs  within tolerance  in <= 2 adjustments  made worse  median min"]
    groups = [("all", done)]
    groups += [
        (f"thread {name}", [d for d in done if d.job.thread == name])
        for name in ("right", "wrong", "unknown")
    ]
    groups += [("rusty adjuster", [d for d in done if d.job.arrives[0] < 1.0])]
    groups += [("hands off by > 0.08", [d for d in done if d.job.hand_turns > 0.08])]
    for name, group in groups:
        if not group:
            continue
        within = sum(d.within for d in group)
        two = sum(d.within and d.setting.adjustments <= 2 for d in group)
        minutes = sorted(d.seconds / 60.0 for d in group)[len(group) // 2]
        lines.append(
            f"{name:22s} {len(group):5d}  {within / len(group):15.1%}  {two / len(group):18.1%}  "
            f"{sum(d.worse for d in group):10d}  {minutes:10.1f}"
        )
    told_within = [d for d in done if d.setting.within]
    wrong = sum(not d.within for d in told_within)
    lines.append(f"said to be within tolerance: {len(told_within)}, of these truly not: {wrong}")
    return "\n".join(lines)


if __name__ == "__main__":
    first, last = (int(sys.argv[1]), int(sys.argv[2])) if len(sys.argv) > 2 else (0, 500)
    every = [run(draw(seed)) for seed in range(first, last)]
    print(told(every))
    for one in every:
        if not one.within or one.worse or one.setting.adjustments > 2:
            print(
                f"seed {one.job.seed}: {one.before_psi:+.2f} -> {one.after_psi:+.2f} psi, "
                f"{one.setting.adjustments} adjustments, thread {one.job.thread}, "
                f"arrives {one.job.arrives[0]:.1f}, {one.setting.why}"
            )
