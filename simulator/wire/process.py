"""The server in a process of its own, which ends when its parent does."""

import multiprocessing
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from rig.stand.model import Stand
from simulator.actuator import Actuator
from simulator.contacts import Installation
from simulator.faults import Fault
from simulator.plant import Converter
from simulator.stand import SimulatedStand
from simulator.transmitters import Errors
from simulator.wire.pace import Pace
from simulator.wire.tcp import TcpServer


@dataclass(frozen=True, slots=True)
class Recipe:
    """Everything from which the child makes its stand."""

    stand: Stand
    actuator: Actuator
    faults: Sequence[Fault] = ()
    seed: int = 0
    installation: Installation = field(default_factory=Installation)
    converter: Converter | None = None
    errors: Mapping[str, Errors] | None = None

    def make(self) -> SimulatedStand:
        return SimulatedStand(
            self.stand,
            self.actuator,
            faults=self.faults,
            seed=self.seed,
            installation=self.installation,
            converter=self.converter,
            errors=self.errors,
        )


class ServerProcess:
    """A running server process; iterates as (process, port)."""

    def __init__(self, process: BaseProcess, pipe: Connection, port: int) -> None:
        self.process, self.port, self._pipe = process, port, pipe

    def __iter__(self) -> Any:
        return iter((self.process, self.port))

    def close(self, patience_s: float = 5.0) -> None:
        """Ask it to end, then make it."""
        self._pipe.close()
        self.process.join(patience_s)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()

    def __enter__(self) -> "ServerProcess":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def start_server_process(
    stand: Stand,
    actuator: Actuator,
    *,
    port: int = 0,
    pace: Pace | None = None,
    faults: Sequence[Fault] = (),
    seed: int = 0,
    installation: Installation | None = None,
    converter: Converter | None = None,
    errors: Mapping[str, Errors] | None = None,
    start_limit_s: float = 30.0,
) -> ServerProcess:
    """Start a Modbus TCP server on loopback in a spawned process. Raises OSError when it cannot listen."""
    recipe = Recipe(stand, actuator, faults, seed, installation or Installation(), converter, errors)
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(
        target=_child, args=(recipe, port, pace, theirs), name="simulated stand", daemon=True
    )
    process.start()
    theirs.close()
    try:
        told = ours.recv() if ours.poll(start_limit_s) else OSError("the simulated stand did not start")
    except EOFError:
        told = OSError("the simulated stand ended before it was ready")
    if isinstance(told, OSError):
        ours.close()
        process.kill()
        process.join()
        raise told
    return ServerProcess(process, ours, int(told))


def _child(recipe: Recipe, port: int, pace: Pace | None, pipe: Connection) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when a run ends
    gone = threading.Event()
    try:
        server = TcpServer(recipe.make(), port, pace, seed=recipe.seed)
    except OSError as problem:
        pipe.send(problem)
        return
    pipe.send(server.port)
    threading.Thread(target=_watch, args=(pipe, gone), daemon=True).start()
    gone.wait()
    server.close()


def _watch(pipe: Connection, gone: threading.Event) -> None:
    """The parent's end of the pipe closes when the parent ends, however it does."""
    with suppress(EOFError, OSError):
        pipe.recv()
    gone.set()
