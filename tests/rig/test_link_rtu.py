"""Modbus RTU on a pseudo-terminal: late answers, silences, a line shared by several units."""

import os
import sys
import time
from collections.abc import Callable
from itertools import pairwise
from struct import pack

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are POSIX", allow_module_level=True)

from rig.stand.line_time import silence_s
from rig.stand.link import LinkFault
from rig.stand.modbus import ModbusBus
from rig.stand.model import RtuLink, Table

from .raw_servers import Late, ScriptedLine, rtu

DEADLINE_S, BUSY_S, SLOWEST_S = 0.03, 0.06, 0.3


def bus_on(line: ScriptedLine, **changes: object) -> ModbusBus:
    settings: dict[str, object] = {"deadline_s": DEADLINE_S, "slowest_reply_s": SLOWEST_S, "parity": "none"}
    bus = ModbusBus(RtuLink("line", line.device, **(settings | changes)))  # type: ignore[arg-type]
    bus.connect()
    return bus


def holds(*values: int) -> bytes:
    return rtu(1, pack(f">BB{len(values)}H", 4, 2 * len(values), *values))


def slow_device(busy_s: float = BUSY_S) -> Callable[[bytes], bytes | Late]:
    """Address 0 holds 111 and is slow to tell; address 1 holds 222."""
    return lambda request: Late(holds(111), busy_s) if request[3] == 0 else holds(222)


def ask_as_the_scan_does(bus: ModbusBus, address: int) -> tuple[list[int], int]:
    """Ask until something was really sent; the answer, and how often the line was left alone."""
    left_alone = 0
    give_up = time.monotonic() + 5.0
    while time.monotonic() < give_up:
        try:
            return bus.read(1, Table.INPUT, address, 1), left_alone
        except LinkFault as fault:
            if fault.asked:
                raise
            left_alone += 1
    raise AssertionError("the line was left alone for ever")


def late_answer_then(line: ScriptedLine, prepare: Callable[[ModbusBus], None]) -> tuple[list[int], int]:
    bus = bus_on(line)
    prepare(bus)
    try:
        with pytest.raises(LinkFault, match="no answer within"):
            bus.read(1, Table.INPUT, 0, 1)
        return ask_as_the_scan_does(bus, 1)
    finally:
        bus.close()


def test_a_late_answer_is_never_taken_for_the_next_questions() -> None:
    with ScriptedLine(slow_device()) as line:
        values, left_alone = late_answer_then(line, lambda bus: None)
    assert values == [222]
    assert left_alone > 0


def test_without_that_guard_it_would_be() -> None:
    """The test above can fail: with the quiet taken out, the late 111 is read at address 1."""

    def disarm(bus: ModbusBus) -> None:
        bus._leave_quiet = lambda sent_s: None  # type: ignore[method-assign]

    with ScriptedLine(slow_device(5.0)) as line:  # its answer meets the next question, however slow the test
        values, left_alone = late_answer_then(line, disarm)
    assert (values, left_alone) == ([111], 0)


def test_a_write_waits_for_the_line_instead_of_giving_up() -> None:
    def script(request: bytes) -> bytes | Late:
        return slow_device()(request) if request[1] == 4 else request

    with ScriptedLine(script) as line:
        bus = bus_on(line)
        with pytest.raises(LinkFault):
            bus.read(1, Table.INPUT, 0, 1)
        bus.write(1, Table.HOLDING, 3, (0,), 6)  # asked at once, it would get the late answer and raise
        bus.close()
    assert line.requests[-1][:6] == bytes([1, 6, 0, 3, 0, 0])


def test_after_an_answer_to_another_question_the_line_is_left_quiet_too() -> None:
    with ScriptedLine(lambda request: rtu(1, bytes([3, 2, 0, 9]))) as line:
        bus = bus_on(line)
        with pytest.raises(LinkFault) as doubtful:
            bus.read(1, Table.INPUT, 0, 1)
        with pytest.raises(LinkFault) as quiet:
            bus.read(1, Table.INPUT, 0, 1)
        bus.close()
    assert doubtful.value.kind == "answer"
    assert not quiet.value.asked
    assert "a late answer may still be on the line" in str(quiet.value)


def test_bytes_left_on_the_line_are_forgotten_before_a_question() -> None:
    with ScriptedLine(lambda request: holds(5)) as line:
        bus = bus_on(line)
        assert bus.read(1, Table.INPUT, 0, 1) == [5]
        os.write(line._ours, holds(666))
        assert bus.read(1, Table.INPUT, 0, 1) == [5]
        bus.close()


@pytest.mark.parametrize("spoiled", ["crc", "unit", "short"])
def test_a_frame_that_is_not_whole_is_no_answer(spoiled: str) -> None:
    good = holds(5)
    frame = {
        "crc": good[:-1] + bytes([good[-1] ^ 1]),
        "unit": rtu(2, good[1:-2]),
        "short": good[:-2],
    }[spoiled]
    with ScriptedLine(lambda request: frame) as line:
        bus = bus_on(line)
        with pytest.raises(LinkFault) as fault:
            bus.read(1, Table.INPUT, 0, 1)
        bus.close()
    assert fault.value.kind == "timeout"


def test_the_line_is_silent_for_three_and_a_half_characters_between_frames() -> None:
    sent: list[float] = []

    def script(request: bytes) -> bytes:
        sent.append(time.monotonic())
        return holds(5)

    with ScriptedLine(script) as line:
        bus = bus_on(line, baud=1200, deadline_s=1.0)
        for _ in range(4):
            bus.read(1, Table.INPUT, 0, 1)
        bus.close()
    gaps = [later - earlier for earlier, later in pairwise(sent)]
    assert min(gaps) >= silence_s(1200)


def test_a_port_that_cannot_be_opened_is_told_with_what_to_look_at() -> None:
    bus = ModbusBus(RtuLink("line", "/dev/no-such-adapter", deadline_s=0.01))
    with pytest.raises(LinkFault) as fault:
        bus.connect()
    bus.close()
    assert str(fault.value) == (
        "/dev/no-such-adapter cannot be opened (3 tries): "
        "is the adapter plugged in, and does no other program use it?"
    )


def test_a_port_in_use_by_another_program_cannot_be_opened() -> None:
    with ScriptedLine(lambda request: holds(5)) as line:
        first = bus_on(line)
        second = ModbusBus(RtuLink("line", line.device, parity="none", deadline_s=0.01))
        with pytest.raises(LinkFault, match="cannot be opened"):
            second.connect()
        second.close()
        first.close()
