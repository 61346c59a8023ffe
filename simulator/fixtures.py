"""pytest fixtures: a simulated stand in process, on Modbus TCP, on a Modbus RTU line; and a mock.

One line in the `conftest.py` at the root of the tests (or in a test file) turns them on:
`pytest_plugins = ["simulator.fixtures"]`. It is no entry point, so nobody who merely has stemrig installed
pays for its import. What is simulated is itself a fixture: define one of the same name to have another stand,
valve, fault or pace.
"""

from collections.abc import Iterator, Sequence
from threading import RLock
from typing import NamedTuple

import pytest

from rig.stand.model import Stand
from simulator.actuator import Actuator, actuator_for
from simulator.bay import INCH, PSI, full_stand
from simulator.faults import Fault
from simulator.mock import MockStand
from simulator.stand import SimulatedStand
from simulator.wire import LockStep, Pace, serve_rtu, serve_tcp


class OnTcp(NamedTuple):
    """Where it listens; take the lock to touch the stand while a client asks."""

    stand: SimulatedStand
    host: str
    port: int
    lock: RLock


class OnRtu(NamedTuple):
    """The device for the client, two stop bits and no parity."""

    stand: SimulatedStand
    device: str
    baud: int
    lock: RLock


@pytest.fixture
def stand_to_simulate() -> Stand:
    """The stand file's model: an invented bay, one module, unit 1, everything fitted."""
    return full_stand()


@pytest.fixture
def valve_to_simulate() -> Actuator:
    """69 in2, 1.125 in of travel, 8 to 30 psi, air to open."""
    return actuator_for(
        area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI
    )


@pytest.fixture
def faults_to_simulate() -> Sequence[Fault]:
    return ()


@pytest.fixture
def pace_to_simulate() -> Pace:
    """One scan period whenever the casing pressure is read; `RealTime()` or `Still()` are the others."""
    return LockStep()


@pytest.fixture
def baud_to_simulate() -> int:
    return 115200


@pytest.fixture
def simulated_stand(
    stand_to_simulate: Stand, valve_to_simulate: Actuator, faults_to_simulate: Sequence[Fault]
) -> SimulatedStand:
    """In process: `read`, `write`, and `advance`, the only way in which time passes."""
    return SimulatedStand(stand_to_simulate, valve_to_simulate, faults=faults_to_simulate)


@pytest.fixture
def simulated_stand_on_tcp(simulated_stand: SimulatedStand, pace_to_simulate: Pace) -> Iterator[OnTcp]:
    """The same on a free loopback port."""
    with serve_tcp(simulated_stand, pace=pace_to_simulate) as server:
        yield OnTcp(simulated_stand, "127.0.0.1", server.port, server.lock)


@pytest.fixture
def simulated_stand_on_rtu(
    simulated_stand: SimulatedStand, pace_to_simulate: Pace, baud_to_simulate: int
) -> Iterator[OnRtu]:
    """The same on a pseudo-terminal (POSIX), with the timing of its baud rate."""
    terminal = pytest.importorskip("simulator.wire.terminal")
    with (
        terminal.PseudoLine() as line,
        serve_rtu(simulated_stand, line.server_fd, baud_to_simulate, pace_to_simulate) as server,
    ):
        yield OnRtu(simulated_stand, line.device, baud_to_simulate, server.lock)


@pytest.fixture
def mock_stand(stand_to_simulate: Stand) -> MockStand:
    """Instant and scriptable, without physics."""
    return MockStand(stand_to_simulate)
