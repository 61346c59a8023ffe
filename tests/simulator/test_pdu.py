"""Requests and answers byte by byte, and exceptions in the order that the specification gives.

MODBUS Application Protocol Specification V1.1b3; its sections stand beside the values.
"""

from dataclasses import replace

import pytest

from rig.stand.model import Module, Table
from simulator import NoAnswer, SimulatedStand, actuator_for
from simulator.wire.pdu import answer
from tests.simulator.stands import INCH, PSI, stand

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)


def ask(simulated: SimulatedStand, text: str, unit: int = 1) -> str:
    return answer(simulated, None, unit, bytes.fromhex(text)).hex(" ").upper()


@pytest.fixture
def simulated() -> SimulatedStand:
    """The bay's module with a hundred plain holding registers beside it, all writable, no watchdog."""
    made = SimulatedStand(replace(stand(), modules={"io": Module("io", "bay", 1)}), VALVE)
    unit = made.unit(1)
    unit.declare(Table.HOLDING, 0, 100, writable=True)
    unit.declare(Table.COILS, 0, 200, writable=True)
    return made


def test_read_holding_registers(simulated: SimulatedStand) -> None:
    # 6.3, p. 15, with the addresses moved into the table: 555, 0, 100
    simulated.write(1, Table.HOLDING, 60, [555, 0, 100])
    assert ask(simulated, "03 00 3C 00 03") == "03 06 02 2B 00 00 00 64"


def test_read_input_registers(simulated: SimulatedStand) -> None:
    # 6.4, p. 16: the register's value comes as two bytes, high first; here the live supply pressure
    raw = simulated.read(1, Table.INPUT, 2, 1)[0]
    assert ask(simulated, "04 00 02 00 01") == f"04 02 {raw >> 8:02X} {raw & 255:02X}"


def test_write_single_coil_is_echoed(simulated: SimulatedStand) -> None:
    # 6.5, p. 17: coil 173 ON
    assert ask(simulated, "05 00 AC FF 00") == "05 00 AC FF 00"
    assert simulated.read(1, Table.COILS, 172, 1) == [1]


@pytest.mark.parametrize("value", ["00 01", "FF 01", "01 00", "FF FF"])
def test_a_coil_takes_nothing_but_on_and_off(simulated: SimulatedStand, value: str) -> None:
    assert ask(simulated, f"05 00 AC {value}") == "85 03"  # 6.5: all other values are illegal


def test_write_single_register_is_echoed(simulated: SimulatedStand) -> None:
    # 6.6, p. 19: register 2 := 3
    assert ask(simulated, "06 00 01 00 03") == "06 00 01 00 03"
    assert simulated.read(1, Table.HOLDING, 1, 1) == [3]


def test_write_multiple_registers(simulated: SimulatedStand) -> None:
    # 6.12, p. 30
    assert ask(simulated, "10 00 01 00 02 04 00 0A 01 02") == "10 00 01 00 02"
    assert simulated.read(1, Table.HOLDING, 1, 2) == [0x0A, 0x0102]


def test_write_multiple_coils(simulated: SimulatedStand) -> None:
    # 6.11, p. 29: ten coils from 20, CD 01
    assert ask(simulated, "0F 00 13 00 0A 02 CD 01") == "0F 00 13 00 0A"
    assert simulated.read(1, Table.COILS, 19, 10) == [1, 0, 1, 1, 0, 0, 1, 1, 1, 0]
    assert ask(simulated, "01 00 13 00 0A") == "01 02 CD 01"


def test_mask_write_register(simulated: SimulatedStand) -> None:
    # 6.16, p. 36: current 12, AND F2, OR 25 -> 17
    simulated.write(1, Table.HOLDING, 4, [0x12])
    assert ask(simulated, "16 00 04 00 F2 00 25") == "16 00 04 00 F2 00 25"
    assert simulated.read(1, Table.HOLDING, 4, 1) == [0x17]


def test_read_write_multiple_registers_writes_first(simulated: SimulatedStand) -> None:
    # 6.17, p. 38: write 3 x 00FF from 15, read 6 from 4
    simulated.write(1, Table.HOLDING, 3, [0xFE, 0x0ACD, 1, 3, 0x0D, 0xFF])
    asked = "17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF"
    assert ask(simulated, asked) == "17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF"
    assert simulated.read(1, Table.HOLDING, 14, 3) == [0xFF] * 3
    overlapping = ask(simulated, "17 00 0E 00 01 00 0E 00 01 02 12 34")
    assert overlapping == "17 02 12 34"


def test_exception_frame_and_address_rule(simulated: SimulatedStand) -> None:
    # 7, p. 47: function + 80 hex and the code; p. 48: of 100 registers, 96 and 4 more are there, 5 are not
    assert ask(simulated, "01 04 A1 00 01") == "81 02"
    assert ask(simulated, "03 00 60 00 04")[:2] == "03"
    assert ask(simulated, "03 00 60 00 05") == "83 02"


@pytest.mark.parametrize(
    ("request_text", "code"),
    [  # quantity limits, 6.1 to 6.17: 0, the largest and one more
        ("03 00 00 00 00", 3), ("03 00 00 00 7D", 2), ("03 00 00 00 7E", 3),
        ("04 00 00 00 00", 3), ("04 00 00 00 7E", 3),
        ("01 00 00 00 00", 3), ("01 00 00 07 D0", 2), ("01 00 00 07 D1", 3),
        ("02 00 00 07 D1", 3),
        ("10 00 00 00 00 00", 3),
        ("0F 00 00 00 00 00", 3),
    ],
)  # fmt: skip
def test_quantities_outside_the_limits(simulated: SimulatedStand, request_text: str, code: int) -> None:
    assert ask(simulated, request_text)[3:] == f"{code:02X}"


def test_most_registers_in_one_write(simulated: SimulatedStand) -> None:
    # 123 registers are allowed (then the address is wrong: 02), 124 are not (03); 6.17: 121 and 122
    assert ask(simulated, "10 00 00 00 7B F6" + " 00 00" * 123) == "90 02"
    assert ask(simulated, "10 00 00 00 7C F8" + " 00 00" * 124) == "90 03"
    assert ask(simulated, "17 00 00 00 01 00 00 00 79 F2" + " 00 00" * 121) == "97 02"
    assert ask(simulated, "17 00 00 00 01 00 00 00 7A F4" + " 00 00" * 122) == "97 03"


@pytest.mark.parametrize("function", ["07", "08", "0B", "11", "14", "18", "2B", "64"])
def test_functions_that_the_module_does_not_have(simulated: SimulatedStand, function: str) -> None:
    assert ask(simulated, f"{function} 00 00") == f"{int(function, 16) | 0x80:02X} 01"


def test_a_request_wrong_in_two_ways_gets_the_earlier_code(simulated: SimulatedStand) -> None:
    # state diagrams: function, then quantity and byte count, then address (their order: memory)
    assert ask(simulated, "07 FF FF 00 00") == "87 01"
    assert ask(simulated, "03 FF FF 00 00") == "83 03"  # quantity and address
    assert ask(simulated, "10 FF FF 00 02 03 00 00 00") == "90 03"  # byte count and address
    assert ask(simulated, "05 FF FF 12 34") == "85 03"  # value and address
    assert ask(simulated, "06 FF FF 00 01") == "86 02"  # address alone


@pytest.mark.parametrize("cut", ["03 00 00", "06 00", "10 00 01 00 02 04 00 0A", "03 00 00 00 01 00"])
def test_a_request_of_the_wrong_length_is_an_illegal_value(simulated: SimulatedStand, cut: str) -> None:
    assert ask(simulated, cut)[3:] == "03"


def test_a_table_that_is_not_there_is_an_illegal_function() -> None:
    from tests.simulator.stands import bare_stand

    bare = SimulatedStand(bare_stand(), VALVE)
    assert ask(bare, "01 00 00 00 01") == "81 01"
    assert ask(bare, "0F 00 00 00 01 01 01") == "8F 01"


def test_a_module_that_takes_one_write_function_refuses_the_other() -> None:
    made = stand()
    only = SimulatedStand(
        replace(made, modules={"io": replace(made.modules["io"], write_function=16)}), VALVE
    )
    assert ask(only, "06 00 00 0F A0") == "86 01"
    assert ask(only, "10 00 00 00 01 02 0F A0") == "10 00 00 00 01"


def test_a_module_with_gaps_refuses_a_block_across_them() -> None:
    made = stand()
    for gaps, expected in ((True, "04"), (False, "84")):
        module = replace(made.modules["io"], read_gaps=gaps)
        simulated = SimulatedStand(replace(made, modules={"io": module}), VALVE)
        assert ask(simulated, "04 00 03 00 12")[:2] == expected  # 4..19 are not declared


def test_no_more_registers_at_once_than_the_module_can() -> None:
    made = stand()
    module = replace(made.modules["io"], max_read=3)
    simulated = SimulatedStand(replace(made, modules={"io": module}), VALVE)
    assert ask(simulated, "04 00 00 00 03")[:2] == "04"
    assert ask(simulated, "04 00 00 00 04") == "84 03"


def test_an_unknown_unit_behind_tcp_is_a_missing_gateway_target(simulated: SimulatedStand) -> None:
    assert ask(simulated, "03 00 00 00 01", unit=9) == "83 0B"  # 7, p. 49


def test_a_silent_module_answers_nothing_at_all(simulated: SimulatedStand) -> None:
    simulated.condition.module_silent.add("io")
    with pytest.raises(NoAnswer):
        ask(simulated, "07")
