"""Opening a stand for a run: buses, clock and scan loop; the built-in one brings its own simulated stand."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from rig.profile.model import Basis, Profile
from rig.stand.clock import Clock, MonotonicClock, PacedClock, VirtualClock
from rig.stand.link import Bus, InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.model import Stand, TcpLink
from rig.stand.outputs import Outputs
from rig.stand.scanner import Scanner
from safety.limits import Limits

if TYPE_CHECKING:
    from simulator import Actuator

DEMO_SPEED = 10.0  # times life
DEMO_DEADLINE_S = 2.0  # lock step: a slow machine stretches the demonstration, it does not fail it
DEMO_FRICTION = 0.035  # half band as a share of the range's span


def demo_actuator(profile: Profile) -> "Actuator":
    """A healthy valve of this model for the built-in stand."""
    from simulator import actuator_for

    return actuator_for(
        area_m2=profile.area_m2,
        rated_travel_m=profile.rated_travel_m,
        lower_pa=profile.bench_lower_pa,
        upper_pa=profile.bench_upper_pa,
        stroke_m=profile.actuator_stroke_m,
        friction_fraction=DEMO_FRICTION,
        basis_friction_included=profile.basis is Basis.FRICTION_INCLUDED,
        action=profile.action.value,
        travel_surplus_m=0.3 * profile.travel_surplus_m,
    )


@contextmanager
def open_loop(stand: Stand, profile: Profile, limits: Limits, pace: str, seed: int = 0) -> Iterator[ScanLoop]:
    """`pace`: "demo", "real time" or "instant"; a real stand runs in real time whatever it says.

    Raises LinkFault when the stand does not answer. Leaves outputs safe and links closed.
    """
    with ExitStack() as stack:
        clock: Clock = MonotonicClock()
        if not stand.built_in:
            buses = _wired(stand)
        elif pace == "instant":
            buses, clock = _instant(stand, profile, seed)
        else:
            buses, clock = _served(stack, stand, profile, pace, seed)
        scanner = Scanner(stand, buses, clock)
        stack.callback(scanner.close)
        scanner.connect()
        loop = ScanLoop(scanner, Outputs(stand, buses, clock), clock, limits)
        stack.callback(loop.make_safe)
        yield loop


def _wired(stand: Stand) -> dict[str, Bus]:
    from rig.stand.modbus import ModbusBus

    return {name: ModbusBus(link) for name, link in stand.links.items()}


def _instant(stand: Stand, profile: Profile, seed: int) -> tuple[dict[str, Bus], Clock]:
    from simulator import SimulatedStand

    machine = SimulatedStand(stand, demo_actuator(profile), seed=seed)
    clock = VirtualClock(lambda passed_s: machine.advance(machine.time_s + passed_s))
    return {name: InProcessBus(machine) for name in stand.links}, clock


def _served(
    stack: ExitStack, stand: Stand, profile: Profile, pace: str, seed: int
) -> tuple[dict[str, Bus], Clock]:
    from simulator.wire import LockStep, RealTime, start_server_process

    real = pace == "real time"
    server = start_server_process(
        stand, demo_actuator(profile), pace=RealTime(1.0) if real else LockStep(), seed=seed
    )
    stack.callback(server.close)
    links = {
        name: replace(
            link,
            host="127.0.0.1",
            port=server.port,
            deadline_s=link.deadline_s if real else DEMO_DEADLINE_S,
        )
        for name, link in stand.links.items()
        if isinstance(link, TcpLink)
    }
    buses = _wired(replace(stand, links=dict(links)))
    return buses, MonotonicClock() if real else PacedClock(DEMO_SPEED)
