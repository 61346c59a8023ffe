"""A bad stand file is told of whole: file, line, field, what was found and what would do, all at once."""

import pytest

from rig.files import FileProblems
from rig.stand.file import load_stand_text
from rig.stand.model import RtuLink, Stand, TcpLink

FILE = """\
name: Bay 2, permeate hall
addresses: zero-based
scan_rate: 25 scans/s
maximum_pressure: 50 psi
nominal_supply: 60 psi
links:
  bus: {kind: modbus rtu, device: /dev/ttyUSB0, baud: 115200, parity: even, stop_bits: 1}
  bay: {kind: modbus tcp, host: 192.0.2.7, port: 502, deadline: 50 ms}
modules:
  inputs: {link: bus, unit: 11, max_read: 8}
  outputs:
    link: bay
    unit: 1
    watchdog: {timeout: 1 s, fed_by: writes, timeout_register: 100, timeout_unit: 10 ms}
    identity: {table: holding registers, address: 200, value: 0x5A31}
channels:
  demand_output:
    module: outputs
    table: holding registers
    address: 0
    number: int16
    scale: {0: 0 psi, 27648: 60 psi}
    accuracy: 0.5 % of span
    calibrated: 2026-05-04
    due: 2027-05-04
  stem_position:
    module: inputs
    table: input registers
    address: 0
    number: uint16
    scale: {4000: 0 in, 20000: 3 in}
    signal: 4-20 mA
    accuracy: 0.1 % of span
  casing_pressure:
    module: inputs
    table: input registers
    address: 2
    number: float32
    word_order: high word first
    scale: {0: 0 bar, 4: 4 bar}
    accuracy: 0.02 bar
  emergency_stop_healthy: {module: inputs, table: discrete inputs, address: 0}
  supply_valve: {module: outputs, table: coils, address: 0}
  vent_valve: {module: outputs, table: holding registers, address: 1, bit: 7, inverted: yes}
"""
STOP = "{module: inputs, table: discrete inputs, address: 0}"
SUPPLY_VALVE = "{module: outputs, table: coils, address: 0}"
ONE_MEANING = "\n    one register or bit means one thing"


def changed(*changes: tuple[str, str]) -> str:
    text = FILE
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def load(*changes: tuple[str, str]) -> Stand:
    return load_stand_text(changed(*changes), "bay.yaml")


def told(*changes: tuple[str, str]) -> str:
    """All that is told of the file with those changes."""
    with pytest.raises(FileProblems) as caught:
        load(*changes)
    return str(caught.value)


def test_the_file_that_the_mistakes_are_put_into_is_right() -> None:
    assert load().name == "Bay 2, permeate hall"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "nominal_supply:",
            "nominal_suply:",
            "bay.yaml:1: nominal_supply: is missing\n"
            "    add it, for example: nominal_supply: 60 psi\n"
            "bay.yaml:5: nominal_suply: is not a key of a stand file\n"
            "    did you mean nominal_supply?",
        ),
        (
            "max_read",
            "max_reed",
            "bay.yaml:10: modules.inputs.max_reed: is not a key of modules.inputs\n"
            "    did you mean max_read?",
        ),
        (
            "calibrated:",
            "kalibrated:",
            "bay.yaml:24: channels.demand_output.kalibrated: is not a key of channels.demand_output\n"
            "    did you mean calibrated?",
        ),
        (
            "  supply_valve:",
            "  suply_valve:",
            "bay.yaml:43: channels.suply_valve: is not a key of channels\n    did you mean supply_valve?",
        ),
        (
            "  stem_position:",
            "  stem_positon:",
            "bay.yaml:16: channels.stem_position: is missing\n"
            "    add it, for example: stem_position: {module: inputs, address: 0, ...}\n"
            "bay.yaml:26: channels.stem_positon: is not a key of channels\n"
            "    did you mean stem_position?",
        ),
        (
            "    watchdog:",
            "    wachdog:",
            "bay.yaml:14: modules.outputs.wachdog: is not a key of modules.outputs\n"
            "    did you mean watchdog?",
        ),
    ],
)
def test_a_key_that_is_not_known(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "25 scans/s",
            "25",
            "bay.yaml:3: scan_rate: '25' has no unit\n    write it with one, for example: 25 scans/s",
        ),
        (
            "maximum_pressure: 50 psi",
            "maximum_pressure: 50",
            "bay.yaml:4: maximum_pressure: '50' has no unit\n"
            "    write it with one, for example: 50 psi, 3.45 bar or 345 kPa",
        ),
        (
            "deadline: 50 ms",
            "deadline: 50",
            "bay.yaml:8: links.bay.deadline: '50' has no unit\n"
            "    write it with one, for example: 50 s or 50000 ms",
        ),
        (
            "timeout_unit: 10 ms",
            "timeout_unit: 10",
            "bay.yaml:14: modules.outputs.watchdog.timeout_unit: '10' has no unit\n"
            "    write it with one, for example: 10 s or 10000 ms",
        ),
        (
            "27648: 60 psi",
            "27648: 60",
            "bay.yaml:22: channels.demand_output.scale.27648: '60' has no unit\n"
            "    write it with one, for example: 60 psi, 4.14 bar or 414 kPa",
        ),
        (
            "0.02 bar",
            "0.02",
            "bay.yaml:41: channels.casing_pressure.accuracy: '0.02' has no unit\n"
            "    write it with one, for example: 0.02 psi, 0.00138 bar or 0.138 kPa",
        ),
        (
            "0.02 bar",
            "0.1 %",
            "bay.yaml:41: channels.casing_pressure.accuracy: '0.1 %' does not say per cent of what\n"
            "    write 0.1 % of span",
        ),
    ],
)
def test_a_quantity_without_its_unit(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "nominal_supply: 60 psi",
            "nominal_supply: 60 lbf",
            "bay.yaml:5: nominal_supply: '60 lbf' is a force\n"
            "    a pressure is wanted, for example: 20 psi, 1.38 bar or 138 kPa",
        ),
        (
            "timeout: 1 s",
            "timeout: 1 psi",
            "bay.yaml:14: modules.outputs.watchdog.timeout: '1 psi' is a pressure\n"
            "    a time is wanted, for example: 0.5 s or 500 ms",
        ),
        (
            "20000: 3 in",
            "20000: 3 psi",
            "bay.yaml:31: channels.stem_position.scale.20000: '3 psi' is a pressure\n"
            "    a length is wanted, for example: 1-1/8 in, 1.125 in or 28.6 mm",
        ),
        (
            "0.02 bar",
            "0.02 mm",
            "bay.yaml:41: channels.casing_pressure.accuracy: '0.02 mm' is a length\n"
            "    a pressure is wanted, for example: 20 psi, 1.38 bar or 138 kPa",
        ),
    ],
)
def test_a_unit_of_another_dimension(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "25 scans/s",
            "201 scans/s",
            "bay.yaml:3: scan_rate: 201 scans/s is out of range\n    20 to 50 scans/s is usual",
        ),
        (
            "maximum_pressure: 50 psi",
            "maximum_pressure: -50 psi",
            "bay.yaml:4: maximum_pressure: is not above zero\n    give what the stand is made for",
        ),
        (
            "nominal_supply: 60 psi",
            "nominal_supply: 0 psi",
            "bay.yaml:5: nominal_supply: is not above zero\n    give what the stand is made for",
        ),
        (
            "maximum_pressure: 50 psi",
            "maximum_pressure: 59 psi",  # 4 bar is 58.02 psi
            "bay.yaml:4: maximum_pressure: 59 psi is beyond the scale of casing_pressure, 58.02 psi\n"
            "    the stand may go no higher than it can command and measure",
        ),
        (
            "unit: 11",
            "unit: 248",
            "bay.yaml:10: modules.inputs.unit: 248 is no unit of a serial line\n    from 1 to 247",
        ),
        (
            "baud: 115200",
            "baud: 115",
            "bay.yaml:7: links.bus.baud: 115 is no usual speed\n"
            "    one of 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600",
        ),
        (
            "parity: even",
            "parity: mark",
            "bay.yaml:7: links.bus.parity: 'mark' is not known here\n    write even, odd or none",
        ),
        (
            "port: 502",
            "port: 65536",
            "bay.yaml:8: links.bay.port: 65536 is out of range\n"
            "    a whole number from 1 to 65535 is wanted here",
        ),
        (
            "max_read: 8",
            "max_read: 126",
            "bay.yaml:10: modules.inputs.max_read: 126 is out of range\n"
            "    a whole number from 1 to 125 is wanted here",
        ),
        (
            "max_read: 8",
            "max_read: 1",
            "bay.yaml:38: channels.casing_pressure.number: takes 2 registers, inputs reads 1\n"
            "    see max_read",
        ),
        (
            "27648: 60 psi",
            "32768: 60 psi",
            "bay.yaml:22: channels.demand_output.scale.32768: does not fit into int16\n"
            "    it holds -32768 to 32767",
        ),
        (
            "{0: 0 bar, 4: 4 bar}",
            "{0: 0 bar, 4: 0 bar}",
            "bay.yaml:40: channels.casing_pressure.scale: has two points that are alike\n"
            "    write two that differ: {0: 0 psi, 27648: 100 psi}",
        ),
        (
            "0.02 bar",
            "0.81 bar",
            "bay.yaml:41: channels.casing_pressure.accuracy: '0.81 bar' is not believable\n"
            "    a half width above zero, up to 20 % of span",
        ),
        (
            "signal: 4-20 mA",
            "live: {failed_low: 3600, low: 3800, high: 21000, failed_high: 21000}",
            "bay.yaml:32: channels.stem_position.live: is not in order\n"
            "    failed_low < low < high < failed_high",
        ),
        (
            "{4000: 0 in,",
            "{0: 0 in,",  # 3.6 mA is 0.4 mA below zero counts
            "bay.yaml:32: channels.stem_position.signal: a failed loop reads -500 or 21250, which the type "
            "cannot hold\n"
            "    a broken wire would look like a measurement: use a type with a sign, or give live:",
        ),
        (
            "timeout_unit: 10 ms",
            "timeout_unit: 300 ms",
            "bay.yaml:14: modules.outputs.watchdog.timeout: is 3.33333 times its unit\n"
            "    the register takes a whole number from 1 to 65535: change timeout or timeout_unit",
        ),
        (
            "timeout: 1 s",
            "timeout: 150 ms",
            "bay.yaml:14: modules.outputs.watchdog.timeout: 0.15 s is less than 4 scans at 25 scans/s\n"
            "    one lost answer would trip it: at least 0.16 s",
        ),
        (
            "fed_by: writes",
            "fed_by: writes, reset_register: 101",
            "bay.yaml:14: modules.outputs.watchdog.reset_register: is of no use here\n"
            "    add latched: yes, or leave it out",
        ),
        (
            "address: 2\n",
            "address: 65535\n",
            "bay.yaml:37: channels.casing_pressure.address: 65535 is the last one, and float32 takes two "
            "registers\n"
            "    at most 65534",
        ),
    ],
)
def test_a_value_that_cannot_be(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("maximum_pressure: 50 psi", "maximum_pressure: 58 psi"),
        ("unit: 11", "unit: 247"),
        ("max_read: 8", "max_read: 2"),
        ("27648: 60 psi", "32767: 60 psi"),
        ("0.02 bar", "0.8 bar"),
        ("timeout: 1 s", "timeout: 160 ms"),
        ("address: 2\n", "address: 65534\n"),
        ("due: 2027-05-04", "due: 2026-05-05"),
    ],
)
def test_at_the_edge_it_is_still_believed(old: str, new: str) -> None:
    assert load((old, new)).name == "Bay 2, permeate hall"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "module: inputs\n    table: input registers\n    address: 0",
            "module: input\n    table: input registers\n    address: 0",
            "bay.yaml:27: channels.stem_position.module: there is no module 'input'\n"
            "    did you mean inputs?",
        ),
        (
            "link: bus",
            "link: buss",
            "bay.yaml:10: modules.inputs.link: there is no link 'buss'\n    did you mean bus?",
        ),
        (
            "kind: modbus tcp, host: 192.0.2.7, port: 502, deadline: 50 ms",
            "kind: modbus rtu, device: /dev/ttyUSB0, baud: 19200",
            "bay.yaml:8: links.bay: uses /dev/ttyUSB0, like bus\n"
            "    one line is one link: put all its modules on that",
        ),
        (
            "link: bay\n    unit: 1",
            "link: bus\n    unit: 11",
            "bay.yaml:13: modules.outputs.unit: 11 on bus is inputs already\n    each unit stands once",
        ),
        (
            "modbus rtu",
            "modbus ascii",
            "bay.yaml:7: links.bus.kind: 'modbus ascii' is not known here\n"
            "    write modbus tcp or modbus rtu",
        ),
    ],
)
def test_links_and_modules_that_do_not_fit_together(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        (  # the demand and the vent valve
            "address: 1, bit: 7",
            "address: 0, bit: 7",
            44,
            "vent_valve.address: holding registers, address 0, bit 7 of outputs is demand_output already",
        ),
        (  # two valves
            SUPPLY_VALVE,
            "{module: outputs, table: holding registers, address: 1, bit: 7}",
            44,
            "vent_valve.address: holding registers, address 1, bit 7 of outputs is supply_valve already",
        ),
        (
            "address: 1, bit: 7",
            "address: 100, bit: 7",
            44,
            "vent_valve.address: holding registers, address 100, bit 7 of outputs is the watchdog's timeout "
            "of outputs already",
        ),
        (
            "address: 1, bit: 7",
            "address: 200, bit: 7",
            44,
            "vent_valve.address: holding registers, address 200, bit 7 of outputs is the identity of outputs "
            "already",
        ),
        (  # the second half of a number of two registers
            "address: 0\n    number: int16",
            "address: 0\n    number: float32\n    word_order: low word first",
            45,
            "vent_valve.address: holding registers, address 1, bit 7 of outputs is demand_output already",
        ),
        (
            "address: 0\n    number: uint16",
            "address: 3\n    number: uint16",
            37,
            "casing_pressure.address: input registers, address 3 of inputs is stem_position already",
        ),
    ],
)
def test_registers_that_would_mean_two_things(old: str, new: str, line: int, words: str) -> None:
    assert told((old, new)) == f"bay.yaml:{line}: channels.{words}{ONE_MEANING}"


def test_two_valves_may_be_two_bits_of_one_register() -> None:
    stand = load((SUPPLY_VALVE, "{module: outputs, table: holding registers, address: 1, bit: 6}"))
    assert stand.supply_valve is not None
    assert stand.supply_valve.bit == 6


def test_a_readback_may_be_its_own_output_but_not_another_one() -> None:
    valve = "  supply_valve: " + SUPPLY_VALVE
    assert load((valve, f"{valve}\n  supply_valve_readback: {SUPPLY_VALVE}")).supply_valve_readback
    assert told((valve, f"{valve}\n  vent_valve_readback: {SUPPLY_VALVE}")) == (
        "bay.yaml:44: channels.vent_valve_readback.address: coils, address 0 of outputs is supply_valve "
        "already" + ONE_MEANING
    )


@pytest.mark.parametrize(
    ("baud", "expected"),
    [
        # Stem and pressure in one read of 4 registers: 8 characters asked, 5 + 8 answered; the contacts:
        # 8 asked, 5 + 1 answered. 35 x 11 bits = 385 bits, and 4 silences of 3.5 characters.
        (
            9600,
            "35 characters x 11 bits / 9600 baud + 4 silences x 4.01 ms = 56.1 ms a scan: at most 17.8 scans"
            "/s",
        ),
        (
            1200,
            "35 characters x 11 bits / 1200 baud + 4 silences x 32.1 ms = 449 ms a scan: at most 2.2 scans/s",
        ),
    ],
)
def test_a_serial_line_that_is_asked_for_more_than_it_can_carry(baud: int, expected: str) -> None:
    assert told(("baud: 115200", f"baud: {baud}")) == (
        "bay.yaml:3: scan_rate: 25 scans/s is more than bus can carry\n"
        f"    {expected}, less the modules' own time; raise the baud rate or lower the scan rate"
    )


def test_a_line_that_just_carries_the_scans_is_taken() -> None:
    assert load(("baud: 115200", "baud: 19200")).scans_per_s == 25.0  # 28.1 ms of 40 ms


@pytest.mark.parametrize(
    ("due", "expected"),
    [
        ("2026-05-03", "2026-05-03 is not after the calibration, 2026-05-04\n    which of the two is wrong?"),
        ("2026-05-04", "2026-05-04 is not after the calibration, 2026-05-04\n    which of the two is wrong?"),
        ("4 May 2027", "'4 May 2027' is not a date\n    write year-month-day, for example: 2026-06-01"),
        ("2027-02-30", "'2027-02-30' is not a date\n    write year-month-day, for example: 2026-06-01"),
    ],
)
def test_a_calibration_due_before_it_was_made_or_on_no_day(due: str, expected: str) -> None:
    assert told(("due: 2027-05-04", f"due: {due}")) == f"bay.yaml:25: channels.demand_output.due: {expected}"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            "table: holding registers\n    address: 0",
            "table: input registers\n    address: 0",
            "bay.yaml:19: channels.demand_output.table: input registers can only be read\n"
            "    an output is in holding registers or coils",
        ),
        (
            SUPPLY_VALVE,
            "{module: outputs, table: discrete inputs, address: 0}",
            "bay.yaml:43: channels.supply_valve.table: discrete inputs can only be read\n"
            "    an output is in holding registers or coils",
        ),
        (
            SUPPLY_VALVE,
            "{module: outputs, table: input registers, address: 0, bit: 1}",
            "bay.yaml:43: channels.supply_valve.table: input registers can only be read\n"
            "    an output is in holding registers or coils",
        ),
        (
            "table: holding registers\n    address: 0",
            "table: coils\n    address: 9",
            "bay.yaml:19: channels.demand_output.table: coils hold single bits\n"
            "    a number lies in holding registers or input registers",
        ),
        (
            SUPPLY_VALVE,
            "{module: outputs, table: coils, address: 0, bit: 1}",
            "bay.yaml:43: channels.supply_valve.bit: coils hold one bit each\n"
            "    leave it out: the address names the bit",
        ),
        (
            "bit: 7, ",
            "",
            "bay.yaml:44: channels.vent_valve.bit: is missing\n"
            "    a register holds sixteen: add it, for example: bit: 0 (the least significant)",
        ),
    ],
)
def test_a_table_that_cannot_serve_what_it_is_used_for(old: str, new: str, expected: str) -> None:
    assert told((old, new)) == expected


def test_a_number_of_two_registers_is_not_written_one_by_one() -> None:
    two = ("number: int16", "number: uint32\n    word_order: low word first")
    text = told(
        two, ("unit: 1\n", "unit: 1\n    write_function: 6\n"), ("address: 1, bit", "address: 5, bit")
    )
    assert text == (
        "bay.yaml:22: channels.demand_output.number: uint32 takes two registers, and function 6 writes one "
        "after the other\n"
        "    in between, the output would be neither value: use function 16 or a number of one register"
    )


LISTS = ("coils", "discrete inputs", "input registers", "holding registers")


@pytest.mark.parametrize("table", LISTS)
@pytest.mark.parametrize(
    ("number", "list_of", "zero_based", "really"),
    [
        ("00001", "coils", 0, "0x1"),
        ("10001", "discrete inputs", 0, "0x2711"),
        ("30001", "input registers", 0, "0x7531"),
        ("40001", "holding registers", 0, "0x9c41"),
        ("49999", "holding registers", 9998, "0xc34f"),
        ("400001", "holding registers", 0, None),
        ("365536", "input registers", 65535, None),
    ],
)
def test_a_number_of_a_manuals_list_is_refused_with_the_address_to_write(
    table: str, number: str, list_of: str, zero_based: int, really: str | None
) -> None:
    bit = ", bit: 3" if "registers" in table else ""
    other = "" if list_of == table else f", not of {table}"
    escape = f"; if it really is an address, write it {really}" if really else ""
    assert told((STOP, f"{{module: inputs, table: {table}, address: {number}{bit}}}")) == (
        f"bay.yaml:42: channels.emergency_stop_healthy.address: {number} looks like a number from a "
        f"one-based list of {list_of}{other}\n"
        f"    addresses here are zero-based: {number} of the list is {list_of}, address {zero_based}{escape}"
    )


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("timeout_register: 100", "timeout_register: 40101", "14: modules.outputs.watchdog.timeout_register"),
        ("address: 200", "address: 40101", "15: modules.outputs.identity.address"),
        (
            "table: holding registers\n    address: 0",
            "table: holding registers\n    address: 40101",
            "20: channels.demand_output.address",
        ),
    ],
)
def test_it_is_refused_wherever_an_address_stands(old: str, new: str, field: str) -> None:
    assert told((old, new)) == (
        f"bay.yaml:{field}: 40101 looks like a number from a one-based list of holding registers\n"
        "    addresses here are zero-based: 40101 of the list is holding registers, address 100; if it "
        "really is an address, write it 0x9ca5"
    )


@pytest.mark.parametrize(
    ("text", "address"),
    [("0", 0), ("9999", 9999), ("40000", 40000), ("50000", 50000), ("65535", 65535), ("0x9C41", 40001)],
)
def test_what_is_no_number_of_a_list_or_is_in_hexadecimal_is_an_address(text: str, address: int) -> None:
    found = load(
        (STOP, f"{{module: inputs, table: discrete inputs, address: {text}}}")
    ).emergency_stop_healthy
    assert found is not None
    assert found.address == address


@pytest.mark.parametrize("text", ["65536", "-1"])
def test_an_address_that_no_module_has(text: str) -> None:
    assert told((STOP, f"{{module: inputs, table: discrete inputs, address: {text}}}")) == (
        f"bay.yaml:42: channels.emergency_stop_healthy.address: {text} is out of range\n"
        "    a zero-based address: 0, 1, 2 ... 65535"
    )


def test_the_file_has_to_say_how_its_addresses_count() -> None:
    explained = "all addresses are as sent on the wire, from 0; 40001 of a register list is address 0 here"
    assert told(("addresses: zero-based\n", "")) == (
        f"bay.yaml:1: addresses: is missing\n    add the line addresses: zero-based; {explained}"
    )
    assert told(("zero-based", "one-based")) == (
        f"bay.yaml:2: addresses: 'one-based' is not offered\n    write zero-based; {explained}"
    )


def test_all_is_told_at_once_in_the_order_of_the_lines() -> None:
    text = told(
        ("nominal_supply: 60 psi", "nominal_supply: 60"),
        ("baud: 115200", "baud: 115"),
        ("fed_by: writes", "fed_by: bread"),
        ("number: int16", "number: int17"),
        ("due: 2027-05-04", "due: 2026-05-04"),
        (STOP, "{module: inputs, table: discrete inputs, address: 10001}"),
        ("  supply_valve:", "  suply_valve:"),
        ("bit: 7", "bit: 16"),
    )
    first_lines = [line for line in text.splitlines() if not line.startswith("    ")]
    assert first_lines == [
        "bay.yaml:5: nominal_supply: '60' has no unit",
        "bay.yaml:7: links.bus.baud: 115 is no usual speed",
        "bay.yaml:14: modules.outputs.watchdog.fed_by: 'bread' is not known here",
        "bay.yaml:21: channels.demand_output.number: 'int17' is not known here",
        "bay.yaml:25: channels.demand_output.due: 2026-05-04 is not after the calibration, 2026-05-04",
        "bay.yaml:42: channels.emergency_stop_healthy.address: 10001 looks like a number from a one-based "
        "list of discrete inputs",
        "bay.yaml:43: channels.suply_valve: is not a key of channels",
        "bay.yaml:44: channels.vent_valve.bit: 16 is out of range",
    ]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("number: int16\n    scale: {0: 0 psi, 27648:", "number: int17\n    scale: {0: 0 psi, 40000:"),
        (SUPPLY_VALVE, "{module: outputs, table: coil, address: 0}"),
        ("address: 1, bit: 7", "address: 40002, bit: 7"),
        ("{4000: 0 in,", "{4000: 0,"),
        ("link: bus", "link: buss"),
    ],
)
def test_a_value_that_could_not_be_read_draws_no_second_complaint(old: str, new: str) -> None:
    assert told((old, new)).count("bay.yaml:") == 1


def test_what_is_left_out_has_its_usual_value() -> None:
    bus, bay = load((", parity: even, stop_bits: 1", ""), (", deadline: 50 ms", "")).links.values()
    assert bus == RtuLink("bus", "/dev/ttyUSB0", 115200, "even", 1, deadline_s=0.2, slowest_reply_s=0.5)
    assert bay == TcpLink("bay", "192.0.2.7", 502, deadline_s=0.05, one_connection=False)
