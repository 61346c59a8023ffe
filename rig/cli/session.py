"""Opening a stand for a run; the built-in one brings its own simulated stand."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from rig.profile.model import Basis, Profile
from rig.stand.clock import Clock, PacedClock, VirtualClock
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.model import RtuLink, Stand, TcpLink
from rig.stand.notice import Notice
from rig.stand.outputs import Outputs
from rig.stand.process import StandProcess, run_over
from rig.stand.run import Ended, Procedure, run_inline
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from safety.limits import Limits
from safety.state import PersonEvent

if TYPE_CHECKING:
    from simulator import Actuator, SimulatedStand

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


Runner = Callable[
    [
        Procedure[Any],
        Callable[[Sample], None],
        Callable[[Notice], None],
        Callable[[], PersonEvent | None],
    ],
    Ended[Any],
]


@contextmanager
def open_stand(stand: Stand, profile: Profile, limits: Limits, pace: str, seed: int = 0) -> Iterator[Runner]:
    """A runner of procedures on an open stand: the scan in a process of its own, but in virtual time.

    `pace`: "demo", "real time" or "instant"; a real stand runs in real time whatever it says.
    Raises LinkFault when the stand does not answer. Leaves outputs safe and links closed.
    """
    with ExitStack() as stack:
        if stand.built_in and pace == "instant":
            from simulator import SimulatedStand

            machine = SimulatedStand(stand, demo_actuator(profile), seed=seed)
            yield stack.enter_context(open_in_process(machine, limits, speed=None))
            return
        if stand.built_in:
            stand = _served(stack, stand, profile, pace, seed)
        speed = DEMO_SPEED if stand.built_in and pace == "demo" else None
        yield partial(run_over, stack.enter_context(StandProcess(stand, limits, speed)))


@contextmanager
def open_in_process(
    machine: "SimulatedStand", limits: Limits, speed: float | None = DEMO_SPEED
) -> Iterator[Runner]:
    """A runner on a simulated stand that lives in this process, so that hands can work on it.

    `speed`: times life; None is as fast as it goes. What was done to the machine before stays done.
    """
    stand = machine.stand

    def advance(passed_s: float) -> None:
        machine.advance(machine.time_s + passed_s)

    clock: Clock = VirtualClock(advance) if speed is None else PacedClock(speed, advance)
    buses = {name: InProcessBus(machine) for name in stand.links}
    scanner = Scanner(stand, buses, clock)
    scanner.connect()
    loop = ScanLoop(scanner, Outputs(stand, buses, clock), clock, limits)
    try:
        yield partial(run_inline, loop)
    finally:
        loop.make_safe()


def _served(stack: ExitStack, stand: Stand, profile: Profile, pace: str, seed: int) -> Stand:
    """Start the simulated stand as a Modbus TCP server; the stand as it is reached there."""
    from simulator.wire import LockStep, RealTime, start_server_process

    real = pace == "real time"
    server = start_server_process(
        stand, demo_actuator(profile), pace=RealTime(1.0) if real else LockStep(), seed=seed
    )
    stack.callback(server.close)
    links: dict[str, TcpLink | RtuLink] = {
        name: replace(
            link,
            host="127.0.0.1",
            port=server.port,
            deadline_s=link.deadline_s if real else DEMO_DEADLINE_S,
        )
        for name, link in stand.links.items()
        if isinstance(link, TcpLink)
    }
    return replace(stand, links=links)
