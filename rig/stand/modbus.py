"""Modbus TCP and RTU behind the link's face: one try per exchange, one deadline, and no doubtful answers.

A synchronous face over pymodbus' asynchronous clients, run on an event loop of its own. pymodbus is
imported only here, and only when a bus is made.
"""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable, Coroutine, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any, TypeVar

from rig.stand.blocks import is_bits
from rig.stand.line_time import silence_s
from rig.stand.link import LinkFault, check_function, place, refused, wrong_answer
from rig.stand.model import RtuLink, Table, TcpLink

if TYPE_CHECKING:
    from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient
    from pymodbus.pdu import ModbusPDU

    Client = AsyncModbusTcpClient | AsyncModbusSerialClient

T = TypeVar("T")

FIRST_TRIES = 3  # at the start of a run
# A lost connection is tried anew this long after the last try; each try blocks for a deadline at most.
RECONNECT_S = 0.25
READ_FUNCTION = {Table.COILS: 1, Table.DISCRETE: 2, Table.HOLDING: 3, Table.INPUT: 4}
READ_CALL = {
    1: "read_coils",
    2: "read_discrete_inputs",
    3: "read_holding_registers",
    4: "read_input_registers",
}


class ModbusBus:
    """One link. `close` ends its event loop; a closed bus cannot be used again."""

    def __init__(self, link: TcpLink | RtuLink) -> None:
        self.sessions = 0
        self._link = link
        self._loop = asyncio.new_event_loop()
        self._client: Client | None = None
        self._asking = False
        self._try_again_s = 0.0  # a lost connection is not tried before
        self._quiet_until_s = 0.0  # serial: an answer to an earlier question may still come until then
        self._last_frame_s = 0.0
        self._silence_s = silence_s(link.baud) if isinstance(link, RtuLink) else 0.0
        # Every failure would be logged with the last frames; a storm of them costs the scan its time.
        logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)

    # -- the link's face ------------------------------------------------------------------------------

    def connect(self) -> None:
        for attempt in range(FIRST_TRIES):
            if attempt:
                time.sleep(self._link.deadline_s)
            if self._open():
                return
        raise self._unreachable(FIRST_TRIES)

    def close(self) -> None:
        if self._loop.is_closed():
            return
        self._drop()
        self._loop.close()

    def read(self, unit: int, table: Table, address: int, count: int) -> list[int]:
        function = READ_FUNCTION[table]

        def ask(client: "Client") -> Awaitable["ModbusPDU"]:
            call: Callable[..., Awaitable[ModbusPDU]] = getattr(client, READ_CALL[function])
            return call(address, count=count, device_id=unit)

        answer = self._exchange(ask, unit, table, address, function)
        if is_bits(table):
            bits = [int(bit) for bit in answer.bits]
            if len(bits) != (count + 7) // 8 * 8:
                raise self._doubtful(unit, table, address, f"{len(bits)} bits for {count}")
            return bits[:count]
        if len(answer.registers) != count:
            raise self._doubtful(
                unit, table, address, f"{len(answer.registers)} registers instead of {count}"
            )
        return list(answer.registers)

    def write(self, unit: int, table: Table, address: int, values: Sequence[int], function: int) -> None:
        check_function(table, values, function)

        def ask(client: "Client") -> Awaitable["ModbusPDU"]:
            if function == 5:
                return client.write_coil(address, bool(values[0]), device_id=unit)
            if function == 6:
                return client.write_register(address, values[0], device_id=unit)
            if function == 15:
                return client.write_coils(address, [bool(value) for value in values], device_id=unit)
            return client.write_registers(address, list(values), device_id=unit)

        # A safe command must get through: it waits for the line where a read would give up.
        time.sleep(max(0.0, self._quiet_until_s - time.monotonic()))
        answer = self._exchange(ask, unit, table, address, function)
        echo: list[int] = [int(v) for v in (answer.bits if function == 5 else answer.registers)]
        same = echo == list(values) if function in (5, 6) else answer.count == len(values)
        if answer.address != address or not same:
            raise self._doubtful(unit, table, address, "it confirms another write")

    # -- one exchange ---------------------------------------------------------------------------------

    def _exchange(
        self,
        ask: Callable[["Client"], Awaitable["ModbusPDU"]],
        unit: int,
        table: Table,
        address: int,
        function: int,
    ) -> "ModbusPDU":
        from pymodbus.exceptions import ConnectionException, ModbusException

        client = self._connected()
        self._keep_silence(unit, table, address)
        sent_s = time.monotonic()
        try:
            answer = self._run(self._ask(client, ask))
        except ConnectionException:
            self._drop()
            text = f"{place(unit, table, address)}: the connection to {self._where} was lost"
            raise LinkFault("connection", text) from None
        except (ModbusException, OSError):
            self._leave_quiet(sent_s)
            text = f"{place(unit, table, address)}: no answer within {self._link.deadline_s:g} s"
            raise LinkFault("timeout", text) from None
        except BaseException:
            self._drop()
            raise
        finally:
            self._last_frame_s = time.monotonic()
        if answer.dev_id != unit or answer.function_code & 0x7F != function:
            self._leave_quiet(sent_s)
            what = f"unit {answer.dev_id}, function {answer.function_code} instead of {function}"
            raise self._doubtful(unit, table, address, what)
        if answer.isError():
            raise refused(unit, table, address, answer.exception_code)
        return answer

    async def _ask(self, client: "Client", ask: Callable[["Client"], Awaitable["ModbusPDU"]]) -> "ModbusPDU":
        """Ask once the event loop has taken in what came since it last ran: stray bytes, a hang-up."""
        await asyncio.sleep(0)
        if isinstance(self._link, RtuLink):
            _flush(client)
        self._asking = True
        try:
            return await ask(client)
        finally:
            self._asking = False

    def _doubtful(self, unit: int, table: Table, address: int, what: str) -> LinkFault:
        self._leave_quiet(time.monotonic())
        return wrong_answer(unit, table, address, what)

    # -- the serial line ------------------------------------------------------------------------------

    def _leave_quiet(self, sent_s: float) -> None:
        """RTU answers carry no number: one that comes late would be taken for the next question's."""
        if isinstance(self._link, RtuLink):
            self._quiet_until_s = sent_s + self._link.slowest_reply_s

    def _keep_silence(self, unit: int, table: Table, address: int) -> None:
        if self._silence_s <= 0.0:
            return
        now_s = time.monotonic()
        if now_s < self._quiet_until_s:
            text = f"{place(unit, table, address)}: not asked, a late answer may still be on the line"
            raise LinkFault("timeout", text, asked=False)
        time.sleep(max(0.0, self._last_frame_s + self._silence_s - now_s))

    # -- the connection -------------------------------------------------------------------------------

    @property
    def _where(self) -> str:
        link = self._link
        return link.device if isinstance(link, RtuLink) else f"{link.host}:{link.port}"

    def _connected(self) -> "Client":
        """The client, connected; one new try where the connection was lost and the time has come."""
        if self._client is not None and self._client.connected:
            return self._client
        if time.monotonic() < self._try_again_s:
            raise LinkFault("connection", f"not connected to {self._where}", asked=False)
        if not self._open() or self._client is None:
            raise self._unreachable(1)
        return self._client

    def _open(self) -> bool:
        """One try of at most a deadline. The old connection is closed first: some devices take only one."""
        self._drop()
        try:
            up = self._run(self._connect())
        except Exception:  # OSError, or termios.error, which is none
            up = False
        self._try_again_s = time.monotonic() + RECONNECT_S
        if up:
            self.sessions += 1
        else:
            self._drop()
        return up

    async def _connect(self) -> bool:
        self._client = self._make_client()
        return await self._client.connect()

    def _make_client(self) -> "Client":
        from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient

        link = self._link
        common: dict[str, Any] = {
            "timeout": link.deadline_s,
            "retries": 0,
            "reconnect_delay": 0,
            "trace_connect": self._trace,
        }
        if isinstance(link, TcpLink):
            return AsyncModbusTcpClient(link.host, port=link.port, **common)
        parity = link.parity[0].upper()
        return AsyncModbusSerialClient(
            link.device, baudrate=link.baud, parity=parity, stopbits=link.stop_bits, **common
        )

    def _trace(self, up: bool) -> None:
        """A connection lost during an exchange fails it now; pymodbus would wait for the deadline."""
        from pymodbus.exceptions import ConnectionException

        if up or self._client is None or not self._asking:
            return
        future = self._client.ctx.response_future
        if not future.done():
            future.set_exception(ConnectionException("lost while waiting"))

    def _drop(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()
            self._run(asyncio.sleep(0))

    def _unreachable(self, tries: int) -> LinkFault:
        tried = f"{tries} tries" if tries > 1 else "1 try"
        if isinstance(self._link, RtuLink):
            text = (
                f"{self._where} cannot be opened ({tried}): "
                "is the adapter plugged in, and does no other program use it?"
            )
        else:
            text = (
                f"no answer from {self._where} within {self._link.deadline_s:g} s ({tried}): "
                "is the stand switched on and the cable in?"
            )
        return LinkFault("connection", text)

    def _run(self, work: Coroutine[Any, Any, T]) -> T:
        """Run to the end; when interrupted from outside, nothing is left half done in the event loop."""
        task = self._loop.create_task(work)
        try:
            return self._loop.run_until_complete(task)
        except BaseException:
            if not task.done():
                task.cancel()
                with suppress(asyncio.CancelledError):
                    self._loop.run_until_complete(task)
            raise


def _flush(client: "Client") -> None:
    """Forget what a serial port has received. Raises ConnectionException when the port is gone."""
    from pymodbus.exceptions import ConnectionException

    port = getattr(client.ctx.transport, "sync_serial", None)
    try:
        if port is not None:
            port.reset_input_buffer()
    except Exception as error:  # OSError, or termios.error, which is none
        raise ConnectionException(str(error)) from None


def open_buses(links: dict[str, TcpLink | RtuLink]) -> dict[str, ModbusBus]:
    """A bus for every link, not yet connected."""
    return {name: ModbusBus(link) for name, link in links.items()}
