"""Links and modules of a stand file."""

from rig.files import Section
from rig.stand.file_parts import address, known_word
from rig.stand.model import Identity, Module, RtuLink, Table, TcpLink, Watchdog
from rig.units import Dimension

TCP, RTU = "modbus tcp", "modbus rtu"
BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600)
PARITIES = ("even", "odd", "none")
FED_BY = ("any request", "writes")
LONGEST_DEADLINE_S = 5.0
LONGEST_WATCHDOG_S = 60.0


def read_link(section: Section, name: str) -> TcpLink | RtuLink | None:
    """None where anything is wrong with it."""
    before = len(section.document.problems)
    kind = section.one_of("kind", (TCP, RTU))
    if len(section.document.problems) != before:  # the rest is still read, as what it looks like
        kind = RTU if section.has("device") else TCP
    link = _tcp(section, name) if kind == TCP else _rtu(section, name)
    section.finish()
    return link if len(section.document.problems) == before else None


def _tcp(section: Section, name: str) -> TcpLink:
    return TcpLink(
        name=name,
        host=section.text("host", "192.168.1.20"),
        port=section.whole("port", 1, 65535, 502),
        deadline_s=_seconds(section, "deadline", 0.05, LONGEST_DEADLINE_S),
        one_connection=section.yes("one_connection"),
    )


def _rtu(section: Section, name: str) -> RtuLink:
    device = section.text("device", "/dev/ttyUSB0")
    baud = section.whole("baud", 1, 10_000_000, 19200)
    if baud > 0 and baud not in BAUDS:
        section.problem("baud", f"{baud} is no usual speed", f"one of {', '.join(map(str, BAUDS))}")
    stop_bits = section.whole_or_none("stop_bits", 1, 2)
    return RtuLink(
        name=name,
        device=device,
        baud=baud,
        parity=section.one_of("parity", PARITIES, "even"),
        stop_bits=1 if stop_bits is None else stop_bits,
        deadline_s=_seconds(section, "deadline", 0.2, LONGEST_DEADLINE_S),
        slowest_reply_s=_seconds(section, "slowest_reply", 0.5, LONGEST_DEADLINE_S),
    )


def _seconds(section: Section, key: str, otherwise: float, most: float) -> float:
    """A time above zero and not beyond `most` [s]."""
    found = section.quantity_or_none(key, Dimension.TIME)
    if found is not None and (found <= 0.0 or found > most):
        section.problem(
            key, f"'{section.text_or_none(key)}' is out of range", f"above 0 s, at most {most:g} s"
        )
    return otherwise if found is None else found


def read_module(section: Section, name: str) -> Module | None:
    """None where anything is wrong with it."""
    before = len(section.document.problems)
    max_read = section.whole_or_none("max_read", 1, 125)
    module = Module(
        name=name,
        link=section.text("link", "bay"),
        unit=section.whole("unit", 0, 255, 1),
        max_read=125 if max_read is None else max_read,
        read_gaps=section.yes("read_gaps", True),
        write_function=_function(section, "write_function", (6, 16)),
        coil_write_function=_function(section, "coil_write_function", (5, 15)),
        watchdog=_watchdog(section.section_or_none("watchdog", "{timeout: 500 ms, fed_by: any request}")),
        identity=_identity(
            section.section_or_none("identity", "{table: input registers, address: 20, value: 0x5A31}")
        ),
    )
    section.finish()
    return module if len(section.document.problems) == before else None


def _function(section: Section, key: str, codes: tuple[int, int]) -> int | None:
    code = section.whole_or_none(key, 1, 255)
    if code is not None and code not in codes:
        section.problem(
            key,
            f"{code} is not a function that writes this",
            f"{codes[0]} or {codes[1]}; leave it out for either",
        )
    return code


def _watchdog(section: Section | None) -> Watchdog | None:
    if section is None:
        return None
    if not section.has("timeout"):
        section.missing("timeout", "add it, for example: timeout: 500 ms")
    reset_value = section.whole_or_none("reset_value", 0, 65535)
    watchdog = Watchdog(
        timeout_s=_seconds(section, "timeout", 0.0, LONGEST_WATCHDOG_S),
        fed_by=section.one_of("fed_by", FED_BY),
        timeout_register=_register_or_none(section, "timeout_register"),
        timeout_unit_s=_seconds(section, "timeout_unit", 0.001, LONGEST_WATCHDOG_S),
        latched=section.yes("latched"),
        reset_register=_register_or_none(section, "reset_register"),
        reset_value=1 if reset_value is None else reset_value,
    )
    section.finish()
    _watchdog_fits(section, watchdog)
    return watchdog


def _register_or_none(section: Section, key: str) -> int | None:
    return address(section, key, Table.HOLDING) if section.has(key) else section.whole_or_none(key, 0, 65535)


def _watchdog_fits(section: Section, watchdog: Watchdog) -> None:
    timeout_s, unit_s = watchdog.timeout_s, watchdog.timeout_unit_s
    if watchdog.timeout_register is not None and timeout_s > 0.0 and unit_s > 0.0:
        counts = timeout_s / unit_s
        if counts > 65535 or abs(counts - round(counts)) > 1e-6 * counts or round(counts) < 1:
            section.problem(
                "timeout",
                f"is {counts:.6g} times its unit",
                "the register takes a whole number from 1 to 65535: change timeout or timeout_unit",
            )
    if watchdog.reset_register is not None and watchdog.reset_register == watchdog.timeout_register:
        section.problem("reset_register", "is the timeout's register", "they are two registers of the module")
    if watchdog.reset_register is not None and not watchdog.latched:
        section.problem("reset_register", "is of no use here", "add latched: yes, or leave it out")


def _identity(section: Section | None) -> Identity | None:
    if section is None:
        return None
    where = known_word(section, "table", Table)
    at, value = address(section, "address", where), section.whole("value", 0, 65535, 0x5A31)
    section.finish()
    return None if where is None else Identity(where, at, value)
