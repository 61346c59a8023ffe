"""What a Modbus server needs of a stand: the simulated one and the mock both have it."""

from collections.abc import Sequence
from typing import Protocol

from rig.stand.model import Stand, Table
from simulator.condition import Condition
from simulator.registers import Unit


class Device(Protocol):
    """Raises Refused where the module answers with an exception, NoAnswer where nothing comes back."""

    stand: Stand
    condition: Condition  # `condition.wire` is what the wire does to answers

    @property
    def time_s(self) -> float: ...

    def advance(self, to_s: float) -> None:
        """Let time pass up to `to_s` [s]; it passes in no other way."""

    def unit(self, unit: int, link: str | None = None) -> Unit: ...

    def module_read(
        self, unit: int, table: Table, address: int, count: int, link: str | None = None
    ) -> list[int]: ...

    def module_write(
        self,
        unit: int,
        table: Table,
        address: int,
        values: Sequence[int],
        function: int | None = None,
        link: str | None = None,
    ) -> None: ...
