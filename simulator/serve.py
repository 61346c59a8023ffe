"""Run a scenario for any Modbus client until it is interrupted."""

import threading
import time
from collections.abc import Callable

from rig.stand.model import RtuLink, Stand
from simulator.scenario import Scenario
from simulator.wire import RealTime, RtuServer, TcpServer, serve_rtu, serve_tcp

SLICE_S = 0.2  # waits are cut short, so that Ctrl-C is heard on every system


def _tell(line: str) -> None:
    print(line, flush=True)  # whoever waits for the port reads it through a pipe


def serve(
    scenario: Scenario,
    stand: Stand,
    tcp_port: int = 0,
    serial_device: str | None = None,
    speed: float = 1.0,
    tell: Callable[[str], None] = _tell,
    until: threading.Event | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Serve on loopback TCP (port 0: a free one) or, if named, on a serial device (POSIX).

    The scenario's time runs at `speed` times `clock` [s], from the first request on. All modules of the stand
    answer in one place, each by its unit number. Returns when interrupted, or when `until` is set. Raises
    OSError when port or device cannot be had.
    """
    server, where = _start(scenario, stand, tcp_port, serial_device, RealTime(speed, clock))
    with server:
        stop = until or threading.Event()
        try:  # from the telling on: whoever hears of the port may interrupt before it is all said
            tell(f"{scenario.title}: stand '{stand.name}' answers on {where}; Ctrl-C ends it")
            while not stop.wait(SLICE_S):
                pass
        except KeyboardInterrupt:
            tell("ended")


def _start(
    scenario: Scenario, stand: Stand, tcp_port: int, serial_device: str | None, pace: RealTime
) -> tuple[TcpServer | RtuServer, str]:
    machine = scenario.make(stand)
    link = next(iter(stand.links)) if len(stand.links) == 1 else None
    if serial_device is None:
        tcp = serve_tcp(machine, tcp_port, pace, link, scenario.seed)
        return tcp, f"127.0.0.1 port {tcp.port}"
    line = next((one for one in stand.links.values() if isinstance(one, RtuLink)), RtuLink("", ""))
    rtu = serve_rtu(machine, serial_device, line.baud, pace, link, scenario.seed, line.parity, line.stop_bits)
    how = f"{line.baud} Bd, parity {line.parity}, stop bits {line.stop_bits}"
    return rtu, f"{serial_device}, {how}"
