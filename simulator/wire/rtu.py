"""Modbus RTU server: MODBUS over Serial Line V1.02, at the baud rate's own pace even on a pseudo-terminal.

A pseudo-terminal hands bytes over at once; so the request is taken to have ended when its last character
would have, and the answer's characters are handed on when they would have come. POSIX only.
"""

import os
import select
import threading
import time
from random import Random
from struct import pack

import serial

from simulator.device import Device
from simulator.registers import NoAnswer, Refused
from simulator.spoiling import garble, spoil_message, spoil_transport
from simulator.wire.pace import Pace, RealTime
from simulator.wire.pdu import answer

BITS_PER_CHARACTER = 11  # start, 8 data, parity or second stop, stop (V1.02, 2.5.1)
SLICE_S = 0.0005
LONGEST_ADU = 256


def crc16(data: bytes) -> int:
    """CRC-16 of V1.02, 6.2.2: preset FFFF, polynomial A001, least significant bit first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return crc


def framed(unit: int, pdu: bytes) -> bytes:
    """Unit, PDU and CRC, low byte first."""
    body = bytes([unit]) + pdu
    return body + pack("<H", crc16(body))


def character_s(baud: int) -> float:
    return BITS_PER_CHARACTER / baud


def silence_s(baud: int) -> float:
    """3.5 characters, 1.75 ms above 19200 Bd (V1.02, 2.5.1.1)."""
    return 0.00175 if baud > 19200 else 3.5 * character_s(baud)


def request_length(data: bytes) -> int | None:
    """Length of the request frame that begins here, None while it cannot be told, 0 when there is no such."""
    if len(data) < 2:
        return None
    function = data[1]
    if function in (1, 2, 3, 4, 5, 6):
        return 8
    if function == 22:
        return 10
    at = {15: 6, 16: 6, 23: 10}.get(function)
    if at is None:
        return 0
    return None if len(data) <= at else at + 1 + data[at] + 2


class RtuServer:
    """A running server on a serial device or a file descriptor of a pseudo-terminal's end."""

    def __init__(
        self,
        stand: Device,
        device: str | int,
        baud: int = 19200,
        pace: Pace | None = None,
        link: str | None = None,
        seed: int = 0,
        parity: str = "none",
        stop_bits: int = 2,
    ) -> None:
        """`parity` and `stop_bits` matter on a real serial device only."""
        self.stand, self.baud, self.link = stand, baud, link
        self.pace = pace or RealTime()
        self.random = Random(f"wire {seed}")
        self.lock = threading.RLock()
        self.requests = 0
        self.bad_frames = 0
        self._port = None if isinstance(device, int) else _open(device, baud, parity, stop_bits)
        self._fd = device if isinstance(device, int) else self._port.fileno()  # type: ignore[union-attr]
        self._wake, self._waker = os.pipe()
        self._thread = threading.Thread(target=self._run, name="simulated stand, RTU", daemon=True)
        self._thread.start()

    def close(self) -> None:
        if self._thread.is_alive():
            os.write(self._waker, b"x")
            self._thread.join()
            os.close(self._wake)
            os.close(self._waker)
            if self._port is not None:
                self._port.close()

    def __enter__(self) -> "RtuServer":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _run(self) -> None:
        buffer, began = b"", 0.0
        silence = max(0.02, 4.0 * silence_s(self.baud))  # a computer's own delays must not cut a frame
        while True:
            ready, _, _ = select.select([self._fd, self._wake], [], [], silence if buffer else None)
            if self._wake in ready:
                return
            if not ready:
                self.bad_frames += 1  # silence inside a frame: forget it
                buffer = b""
                continue
            if not buffer:
                began = time.monotonic()
            try:
                got = os.read(self._fd, LONGEST_ADU)
            except OSError:
                return  # the other end is gone
            if not got:
                return
            buffer = self._take(buffer + got, began)

    def _take(self, buffer: bytes, began: float) -> bytes:
        """Serve the frame if it is whole; what is left."""
        length = request_length(buffer)
        if length is None or (length and len(buffer) < length):
            return buffer
        frame = buffer[:length] if length else buffer
        if len(frame) < 4 or crc16(frame) != 0:
            self.bad_frames += 1
            return b""
        heard = began + len(frame) * character_s(self.baud)
        self._serve(frame, heard)
        return b""

    def _serve(self, frame: bytes, heard: float) -> None:
        unit, pdu = frame[0], frame[1:-2]
        with self.lock:
            self.requests += 1
            self.pace.before(self.stand, unit, pdu)
            try:
                if not self._known(unit):
                    return  # on a bus nobody answers for a unit that is not there
                reply = answer(self.stand, self.link, unit, pdu)
            except NoAnswer:
                return
            wire = self.stand.condition.wire
            unit, reply = spoil_message(wire, unit, reply, self.random)
            how = spoil_transport(wire, self.random)
        if how.drop or how.missing:
            return
        out = framed(unit, reply)
        out = garble(out, self.random) if how.garbled else out
        start = heard + silence_s(self.baud) + how.late_s
        self._send(out, start)
        if how.twice:
            self._send(out, start + len(out) * character_s(self.baud) + silence_s(self.baud))

    def _known(self, unit: int) -> bool:
        try:
            self.stand.unit(unit, self.link)
        except Refused:
            return False
        return True

    def _send(self, frame: bytes, start: float) -> None:
        """Hand the characters on as they would come off the line."""
        each, sent = character_s(self.baud), 0
        while sent < len(frame):
            now = time.monotonic()
            due = min(len(frame), int((now - start) / each)) if now > start else 0
            if due > sent:
                os.write(self._fd, frame[sent:due])
                sent = due
                continue
            wait = start + (sent + 1) * each - now
            time.sleep(max(wait, SLICE_S) if sent + 1 < len(frame) else max(wait, 0.0))


def _open(device: str, baud: int, parity: str, stop_bits: int) -> serial.Serial:
    return serial.Serial(device, baud, parity=parity[0].upper(), stopbits=stop_bits, exclusive=True)


def serve_rtu(
    stand: Device,
    device: str | int,
    baud: int = 19200,
    pace: Pace | None = None,
    link: str | None = None,
    seed: int = 0,
    parity: str = "none",
    stop_bits: int = 2,
) -> RtuServer:
    """Serve a stand on a serial device, or on one open end of a pseudo-terminal. Raises OSError."""
    return RtuServer(stand, device, baud, pace, link, seed, parity, stop_bits)
