"""Modbus TCP server: MODBUS Messaging on TCP/IP V1.0b, MBAP header of seven bytes."""

import asyncio
import threading
from random import Random
from struct import pack, unpack

from rig.stand.model import TcpLink
from simulator.device import Device
from simulator.registers import NoAnswer
from simulator.spoiling import garble, spoil_message, spoil_transport
from simulator.wire.pace import Pace, RealTime
from simulator.wire.pdu import LONGEST_PDU, answer

HEADER = 7


class Shared:
    """What all connections of one server share."""

    def __init__(self, stand: Device, link: str | None, pace: Pace, seed: int) -> None:
        self.stand, self.link, self.pace = stand, link, pace
        self.random = Random(f"wire {seed}")
        self.lock = threading.RLock()  # held while a request is worked on
        self.open: set[Connection] = set()
        self.requests = 0
        found = stand.stand.links.get(link) if link is not None else None
        self.one_only = isinstance(found, TcpLink) and found.one_connection


class Connection(asyncio.Protocol):
    """One client. Requests are answered in the order in which they come."""

    def __init__(self, shared: Shared) -> None:
        self.shared = shared
        self.buffer = b""
        self.transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        if self.shared.one_only and self.shared.open:
            transport.abort()
            return
        self.transport = transport
        self.shared.open.add(self)

    def connection_lost(self, exc: Exception | None) -> None:
        self.shared.open.discard(self)
        self.transport = None

    def data_received(self, data: bytes) -> None:
        self.buffer += data
        while self.transport is not None and len(self.buffer) >= HEADER:
            transaction, protocol, length, unit = unpack(">HHHB", self.buffer[:HEADER])
            if protocol != 0 or not 2 <= length <= LONGEST_PDU + 1:
                self.transport.abort()  # not Modbus, or out of step: there is no way back
                return
            if len(self.buffer) < 6 + length:
                return
            pdu = self.buffer[HEADER : 6 + length]
            self.buffer = self.buffer[6 + length :]
            self._serve(transaction, unit, pdu)

    def _serve(self, transaction: int, unit: int, pdu: bytes) -> None:
        shared = self.shared
        with shared.lock:
            shared.requests += 1
            shared.pace.before(shared.stand, unit, pdu)
            try:
                reply = answer(shared.stand, shared.link, unit, pdu)
            except NoAnswer:
                return
            wire = shared.stand.condition.wire
            if wire:
                unit, reply = spoil_message(wire, unit, reply, shared.random)
            how = spoil_transport(wire, shared.random)
        frame = pack(">HHHB", transaction, 0, len(reply) + 1, unit) + reply
        if how.drop:
            self._drop()
        elif not how.missing:
            frame = garble(frame, shared.random) if how.garbled else frame
            self._send(frame * 2 if how.twice else frame, how.late_s)

    def _send(self, frame: bytes, late_s: float) -> None:
        if late_s > 0.0:
            asyncio.get_running_loop().call_later(late_s, self._send, frame, 0.0)
        elif self.transport is not None:
            self.transport.write(frame)

    def _drop(self) -> None:
        if self.transport is not None:
            self.transport.close()
            self.transport = None


class TcpServer:
    """A running server on loopback. `close()` ends it and its thread; also a context manager."""

    def __init__(
        self,
        stand: Device,
        port: int = 0,
        pace: Pace | None = None,
        link: str | None = None,
        seed: int = 0,
    ) -> None:
        self.shared = Shared(stand, link, pace or RealTime(), seed)
        self.port = port
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._failure: OSError | None = None
        self._thread = threading.Thread(target=self._run, name="simulated stand, TCP", daemon=True)
        self._thread.start()
        self._ready.wait()
        if self._failure is not None:
            self._thread.join()
            raise self._failure

    @property
    def lock(self) -> threading.RLock:
        """Held while a request is worked on: take it to touch the stand from another thread."""
        return self.shared.lock

    def close(self) -> None:
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join()

    def __enter__(self) -> "TcpServer":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            server = self._loop.run_until_complete(
                self._loop.create_server(lambda: Connection(self.shared), "127.0.0.1", self.port)
            )
        except OSError as problem:
            self._failure = problem
            self._loop.close()
            self._ready.set()
            return
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        self._loop.run_forever()
        server.close()
        for connection in list(self.shared.open):
            if connection.transport is not None:
                connection.transport.abort()
        self._loop.run_until_complete(server.wait_closed())
        self._loop.run_until_complete(asyncio.sleep(0))
        self._loop.close()


def serve_tcp(
    stand: Device, port: int = 0, pace: Pace | None = None, link: str | None = None, seed: int = 0
) -> TcpServer:
    """Serve a stand on loopback; port 0 takes a free one. Raises OSError when the port is taken."""
    return TcpServer(stand, port, pace, link, seed)
