"""Every register and every function code pushed at the gate: only declared outputs pass."""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.stand.clock import VirtualClock
from rig.stand.file import load_stand, shipped_stands
from rig.stand.link import LinkFault, check_function
from rig.stand.model import Stand, Table
from rig.stand.outputs import NotAnOutput, Outputs
from safety.signals import Command

from .stands import IDENTITY, stand

Place = tuple[str, int, Table, int]  # link, unit, table, address
ADDRESSES = 0x10000  # MODBUS Application Protocol V1.1b3, 4.4: 16 bits
# V1.1b3, 6.5, 6.6, 6.11, 6.12: the functions that write coils or registers as this program does.
WRITES = {Table.COILS: {5, 15}, Table.HOLDING: {6, 16}}


class Wire:
    """A bus that notes what would go out; the adapter's own check of the function stands before it."""

    sessions = 1

    def __init__(
        self, link: str, out: list[tuple[Place, int]], answers: Iterator[bool] | None = None
    ) -> None:
        self._link, self._out, self._answers = link, out, answers

    def connect(self) -> None: ...

    def close(self) -> None: ...

    def read(self, unit: int, table: Table, address: int, count: int) -> list[int]:
        raise AssertionError("the gate reads nothing")

    def write(self, unit: int, table: Table, address: int, values: Sequence[int], function: int) -> None:
        check_function(table, values, function)
        self._out += [((self._link, unit, table, address + at), function) for at in range(len(values))]
        if self._answers is not None and not next(self._answers, True):
            raise LinkFault("timeout", "no answer")


def gate(of: Stand, answers: Iterator[bool] | None = None) -> tuple[Outputs, list[tuple[Place, int]]]:
    out: list[tuple[Place, int]] = []
    buses = {link: Wire(link, out, answers) for link in of.links}
    return Outputs(of, buses, VirtualClock()), out


def written_by_hand(of: Stand) -> set[Place]:
    """The outputs, read from the stand file's model here and not by the code under test."""
    found = set()
    for channel in (of.demand_output, of.supply_valve, of.vent_valve):
        if channel is not None:
            module = of.modules[channel.module]
            wide = getattr(channel, "number", None) in ("int32", "uint32", "float32")
            for at in range(channel.address, channel.address + (2 if wide else 1)):
                found.add((module.link, module.unit, channel.table, at))
    for module in of.modules.values():
        if module.watchdog is not None:
            for register in (module.watchdog.timeout_register, module.watchdog.reset_register):
                if register is not None:
                    found.add((module.link, module.unit, Table.HOLDING, register))
    return found


@pytest.mark.parametrize("name", sorted(shipped_stands()))
def test_of_all_addresses_in_all_tables_of_all_modules_the_declared_outputs_alone_pass(name: str) -> None:
    of = load_stand(name)
    outputs, out = gate(of)
    refused = 0
    for module in of.modules:
        for table in Table:
            for address in range(ADDRESSES):
                try:
                    outputs._send((module, table, address), (1,))
                except NotAnOutput:
                    refused += 1
    declared = written_by_hand(of)
    assert {place for place, _ in out} == declared
    assert refused == len(of.modules) * len(Table) * ADDRESSES - len(declared)
    assert all(function in WRITES[place[2]] for place, function in out)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_of_all_function_codes_those_that_write_the_table_alone_pass(count: int) -> None:
    """Each code set as the module's own, past the stand file's check, on the addresses near the declared."""
    declared, passed = written_by_hand(stand()), set()
    for function in range(256):
        io = replace(stand().modules["io"], write_function=function, coil_write_function=function)
        outputs, out = gate(replace(stand(), modules={"io": io}))
        for table in Table:
            for address in range(64):
                with suppress(NotAnOutput, ValueError):
                    outputs._send(("io", table, address), (1,) * count)
        for place, used in out:
            assert used in WRITES[place[2]]
            assert place in declared
            passed.add((place[2], used))
    expected = {(Table.HOLDING, 6), (Table.HOLDING, 16), (Table.COILS, 5), (Table.COILS, 15)}
    if count == 1:
        assert passed == expected
    elif count == 2:  # of what is declared only the two coils lie side by side
        assert passed == {(Table.COILS, 5), (Table.COILS, 15)}
    else:
        assert passed == set()


def test_a_module_or_table_that_the_stand_does_not_have_passes_nothing() -> None:
    outputs, out = gate(stand())
    for key in (("other", Table.HOLDING, 0), ("io", Table.HOLDING, -1), ("io", Table.HOLDING, ADDRESSES)):
        with pytest.raises(NotAnOutput):
            outputs._send(key, (IDENTITY,))
    assert out == []


COMMANDS = st.builds(
    Command,
    st.floats(-1e12, 1e12),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)


@given(
    name=st.sampled_from(sorted(shipped_stands())),
    commands=st.lists(COMMANDS, min_size=1, max_size=8),
    answers=st.lists(st.booleans(), max_size=40),
)
@settings(max_examples=150, deadline=None)
def test_no_sequence_of_commands_and_failures_writes_anything_else(
    name: str, commands: list[Command], answers: list[bool]
) -> None:
    of = load_stand(name)
    outputs, out = gate(of, iter(answers))
    for command in commands:
        with suppress(LinkFault):
            outputs.apply(command)
    assert {place for place, _ in out} <= written_by_hand(of)
