"""Bare far ends for tests of the link: a script gives the bytes, on a TCP port or a pseudo-terminal."""

import os
import pty
import select
import socket
import threading
import tty
from collections.abc import Callable
from dataclasses import dataclass
from struct import pack, unpack
from types import TracebackType
from typing import Self

from pymodbus.framer import FramerRTU

CLOSE = b"close"  # a script's answer: hang up
Script = Callable[[bytes], bytes | None]  # whole request in, bytes of the answer out; None: silence


def mbap(transaction: int, unit: int, pdu: bytes) -> bytes:
    """Seven bytes before the PDU: transaction, protocol 0, bytes that follow, unit."""
    return pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu


def transaction_of(request: bytes) -> int:
    return int(unpack(">H", request[:2])[0])


def rtu(unit: int, pdu: bytes) -> bytes:
    body = bytes([unit]) + pdu
    return body + FramerRTU.compute_CRC(body).to_bytes(2, "big")


class _Served:
    """A thread that ends when the block does."""

    def __init__(self) -> None:
        self.requests: list[bytes] = []
        self._wake, self._waker = os.pipe()
        self._thread = threading.Thread(target=self._serve)

    def _serve(self) -> None:
        raise NotImplementedError

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.write(self._waker, b"x")
        self._thread.join()
        os.close(self._wake)
        os.close(self._waker)


class ScriptedTcp(_Served):
    """One connection at a time, one request per segment, as our own client sends them."""

    def __init__(self, script: Script) -> None:
        super().__init__()
        self.script = script
        self.connections = 0
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._socket.getsockname()[1]

    def _serve(self) -> None:
        peer: socket.socket | None = None
        while True:
            ready, _, _ = select.select([self._wake, self._socket, *([peer] if peer else [])], [], [])
            if self._wake in ready:
                break
            if self._socket in ready:
                if peer is not None:
                    peer.close()
                peer, _ = self._socket.accept()
                self.connections += 1
            elif peer is not None:
                peer = self._answer(peer)
        if peer is not None:
            peer.close()
        self._socket.close()

    def _answer(self, peer: socket.socket) -> socket.socket | None:
        try:
            request = peer.recv(300)
        except ConnectionError:
            request = b""
        if request:
            self.requests.append(request)
        answer = self.script(request) if request else CLOSE
        if answer == CLOSE:
            peer.close()
            return None
        if answer:
            peer.sendall(answer)
        return peer


@dataclass
class Late:
    """An answer that comes this long after its request, or when the next request comes."""

    frame: bytes
    after_s: float


class ScriptedLine(_Served):
    """A pseudo-terminal; `device` is the path for the client. A script may answer with `Late`."""

    def __init__(self, script: Callable[[bytes], bytes | Late | None]) -> None:
        super().__init__()
        self.script = script
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._ours)
        tty.setraw(self._theirs)
        self.device = os.ttyname(self._theirs)

    def hang_up(self) -> None:
        """Unplug: the client's port is gone."""
        os.close(self._theirs)
        os.close(self._ours)
        self._ours = self._theirs = -1

    def _serve(self) -> None:
        while self._ours >= 0:
            try:
                ready, _, _ = select.select([self._ours, self._wake], [], [])
            except (OSError, ValueError):
                break
            if self._wake in ready:
                break
            try:
                request = os.read(self._ours, 300)
            except OSError:
                break
            self.requests.append(request)
            answer = self.script(request)
            if isinstance(answer, Late):
                select.select([self._wake, self._ours], [], [], answer.after_s)
                answer = answer.frame
            if answer:
                os.write(self._ours, answer)

    def __exit__(self, *args: object) -> None:
        super().__exit__(None, None, None)
        if self._ours >= 0:
            os.close(self._ours)
            os.close(self._theirs)
