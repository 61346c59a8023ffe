"""Run a scenario for any Modbus client until it is interrupted."""

import threading
from collections.abc import Callable

from rig.stand.model import RtuLink, Stand
from simulator.scenario import Scenario
from simulator.wire.pace import RealTime
from simulator.wire.rtu import RtuServer
from simulator.wire.tcp import TcpServer


def serve(
    scenario: Scenario,
    stand: Stand,
    tcp_port: int | None = None,
    serial_device: str | None = None,
    speed: float = 1.0,
    tell: Callable[[str], None] = print,
    until: threading.Event | None = None,
) -> None:
    """Serve on loopback TCP (port 0: a free one) or on a serial device, at `speed` times real time.

    Returns when interrupted, or when `until` is set. Raises OSError when port or device cannot be had.
    """
    simulated = scenario.make(stand)
    pace = RealTime(speed)
    server: TcpServer | RtuServer
    if serial_device is not None:
        rtu = next((link for link in stand.links.values() if isinstance(link, RtuLink)), None)
        baud = rtu.baud if rtu else 19200
        parity = (rtu.parity if rtu else "none")[0].upper()
        server = RtuServer(simulated, serial_device, baud, pace, seed=scenario.seed, parity=parity)
        tell(f"{scenario.title}: serving on {serial_device} at {baud} Bd; stop with Ctrl-C")
    else:
        server = TcpServer(simulated, tcp_port or 0, pace, seed=scenario.seed)
        tell(f"{scenario.title}: serving on 127.0.0.1 port {server.port}; stop with Ctrl-C")
    stop = until or threading.Event()
    try:
        while not stop.wait(0.2):  # in slices, so that Ctrl-C is heard on every system
            pass
    except KeyboardInterrupt:
        tell("stopped")
    finally:
        server.close()
