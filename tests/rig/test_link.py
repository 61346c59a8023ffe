"""The link's face: faults in a person's words, and the in-process form of it."""

import subprocess
import sys

import pytest

from rig.stand.link import EXCEPTIONS, InProcessBus, LinkFault, check_function
from rig.stand.model import Table

from .stands import Mock


def test_a_refusal_tells_unit_address_code_and_its_meaning() -> None:
    mock = Mock(refuses={(1, Table.HOLDING, 12): 2})
    with pytest.raises(LinkFault) as fault:
        InProcessBus(mock).read(1, Table.HOLDING, 12, 1)
    assert (fault.value.kind, fault.value.code) == ("device", 2)
    assert "unit 1, holding registers, address 12" in str(fault.value)
    assert EXCEPTIONS[2] in str(fault.value)


def test_an_unknown_exception_code_is_still_told() -> None:
    mock = Mock(refuses={(1, Table.HOLDING, 0): 77})
    with pytest.raises(LinkFault, match="exception 77 \\(not a code of the Modbus specification"):
        InProcessBus(mock).write(1, Table.HOLDING, 0, (5,), 6)


def test_silence_is_a_timeout() -> None:
    with pytest.raises(LinkFault) as fault:
        InProcessBus(Mock(silent={3})).read(3, Table.INPUT, 0, 1)
    assert fault.value.kind == "timeout"


def test_an_answer_of_another_length_is_not_taken() -> None:
    class Short(Mock):
        def read(self, unit: int, table: Table, address: int, count: int) -> list[int]:
            return [0] * (count - 1)

    with pytest.raises(LinkFault) as fault:
        InProcessBus(Short()).read(1, Table.INPUT, 0, 4)
    assert fault.value.kind == "answer"
    assert "3 values instead of 4" in str(fault.value)


def test_a_programming_error_in_the_device_is_not_dressed_up_as_a_fault() -> None:
    class Broken(Mock):
        def read(self, unit: int, table: Table, address: int, count: int) -> list[int]:
            raise KeyError("bug")

    with pytest.raises(KeyError):
        InProcessBus(Broken()).read(1, Table.INPUT, 0, 4)


@pytest.mark.parametrize(
    ("table", "values", "function", "allowed"),
    [
        (Table.HOLDING, (1,), 6, True),
        (Table.HOLDING, (1,), 16, True),
        (Table.HOLDING, (1, 2), 16, True),
        (Table.HOLDING, (1, 2), 6, False),
        (Table.HOLDING, (1,), 5, False),
        (Table.HOLDING, (), 16, False),
        (Table.COILS, (1,), 5, True),
        (Table.COILS, (1, 0), 15, True),
        (Table.COILS, (1, 0), 5, False),
        (Table.COILS, (1,), 6, False),
        (Table.INPUT, (1,), 6, False),
        (Table.DISCRETE, (1,), 5, False),
    ],
)
def test_a_function_code_that_cannot_write_that_is_refused(
    table: Table, values: tuple[int, ...], function: int, allowed: bool
) -> None:
    mock = Mock()
    if allowed:
        check_function(table, values, function)
        InProcessBus(mock).write(1, table, 0, values, function)
        assert mock.written == [(1, table, 0, values)]
        return
    with pytest.raises(ValueError, match=f"function {function}"):
        InProcessBus(mock).write(1, table, 0, values, function)
    assert mock.written == []


def test_the_in_process_path_does_not_load_the_modbus_library() -> None:
    code = (
        "import sys, rig.stand.loop, rig.stand.run, rig.stand.outputs, rig.stand.scanner;"
        "early = 'asyncio' in sys.modules;"
        "import rig.stand.modbus;"
        "sys.exit(early or 'pymodbus' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
