"""The face of a link to the stand, the fault it raises, and the link to a stand in the same process."""

from collections.abc import Sequence
from typing import Any, Literal, Protocol

from rig.stand.model import Table

FaultKind = Literal["timeout", "connection", "device", "answer"]

# MODBUS Application Protocol V1.1b3, 7, pages 48-49.
EXCEPTIONS = {
    1: "illegal function: the device does not know this function code",
    2: "illegal data address: the device has no such register or bit, or the block runs past its end",
    3: "illegal data value: a value or a quantity is not accepted",
    4: "server device failure: the device failed while it tried",
    5: "acknowledge: accepted, but it takes long",
    6: "server device busy: ask again later",
    8: "memory parity error: the device found its memory damaged",
    10: "gateway path unavailable: the gateway is misconfigured or overloaded",
    11: "gateway target device failed to respond: is the device behind the gateway on the bus?",
}


class LinkFault(Exception):  # noqa: N818 - a fault of the stand, not of the program
    """An exchange with the stand that failed; `str()` of it is for a person.

    kind: "timeout" (no answer in time), "connection" (none there, or lost), "device" (refused with the
    Modbus exception `code`), "answer" (an answer came, but not to this question). `asked` is False when
    nothing was sent, so that the unit is not to blame.
    """

    def __init__(self, kind: FaultKind, text: str, code: int = 0, asked: bool = True) -> None:
        super().__init__(text)
        self.kind: FaultKind = kind
        self.text = text
        self.code = code
        self.asked = asked


class Bus(Protocol):
    """One link. Registers travel as 0..65535, bits as 0 or 1. Everything raises LinkFault."""

    sessions: int  # connections made so far: a change tells that the far end may have forgotten us

    def connect(self) -> None: ...

    def close(self) -> None: ...

    def read(self, unit: int, table: Table, address: int, count: int) -> list[int]: ...

    def write(self, unit: int, table: Table, address: int, values: Sequence[int], function: int) -> None:
        """`function` is 5 or 6 (one value), 15 or 16 (one or more)."""


class Device(Protocol):
    """What answers in the same process: the simulator, or a mock.

    It refuses by an exception that has the Modbus `code`, and stays silent by raising TimeoutError.
    `link` tells units of the same number on different links apart; it is passed only where it was given.
    """

    def read(self, unit: int, table: Table, address: int, count: int, /) -> list[int]: ...

    def write(self, unit: int, table: Table, address: int, values: Sequence[int], /) -> None: ...


class InProcessBus:
    """A device called directly: no sockets, no time passes."""

    def __init__(self, device: Device, link: str | None = None) -> None:
        self.sessions = 0
        self._device = device
        self._link: dict[str, Any] = {} if link is None else {"link": link}

    def connect(self) -> None:
        self.sessions += 1

    def close(self) -> None:
        pass

    def read(self, unit: int, table: Table, address: int, count: int) -> list[int]:
        try:
            values = self._device.read(unit, table, address, count, **self._link)
        except Exception as error:
            raise _fault(error, unit, table, address) from error
        if len(values) != count:
            raise wrong_answer(unit, table, address, f"{len(values)} values instead of {count}")
        return values

    def write(self, unit: int, table: Table, address: int, values: Sequence[int], function: int) -> None:
        check_function(table, values, function)
        try:
            self._device.write(unit, table, address, values, **self._link)
        except Exception as error:
            raise _fault(error, unit, table, address) from error


def check_function(table: Table, values: Sequence[int], function: int) -> None:
    """Raises ValueError for a function code that cannot write these values to this table."""
    single, several = {Table.COILS: (5, 15), Table.HOLDING: (6, 16)}.get(table, (0, 0))
    if function not in (single, several) or not values or (function == single and len(values) != 1):
        raise ValueError(f"function {function} cannot write {len(values)} value(s) to the {table.value}")


def place(unit: int, table: Table, address: int) -> str:
    return f"unit {unit}, {table.value}, address {address}"


def refused(unit: int, table: Table, address: int, code: int) -> LinkFault:
    meaning = EXCEPTIONS.get(code, "not a code of the Modbus specification")
    text = f"{place(unit, table, address)}: the device refuses with exception {code} ({meaning})"
    return LinkFault("device", text, code)


def wrong_answer(unit: int, table: Table, address: int, what: str) -> LinkFault:
    return LinkFault("answer", f"{place(unit, table, address)}: the answer does not fit the question: {what}")


def _fault(error: Exception, unit: int, table: Table, address: int) -> Exception:
    """The LinkFault for a refusal or silence; any other exception is a programming error and stays."""
    if isinstance(error, TimeoutError):
        return LinkFault("timeout", f"{place(unit, table, address)}: no answer")
    code = getattr(error, "code", None)
    return refused(unit, table, address, code) if isinstance(code, int) else error
