"""What the mock can and the simulator cannot: show anything at once, follow a script, hold an answer back."""

import socket
import threading

import pytest

from rig.stand.link import InProcessBus, LinkFault
from rig.stand.model import Table
from simulator import MockStand, NoAnswer, Refused
from simulator.mock import MockDevice
from simulator.wire import Still, serve_tcp
from tests.simulator.stands import PSI, stand

REQUEST = bytes.fromhex("00 01 00 00 00 06 01 04 00 14 00 01")


def test_an_input_shows_at_once_what_it_is_told() -> None:
    mock = MockStand(stand())
    mock.show("casing_pressure", 30 * PSI)  # half of 60 psi: 12 mA
    assert mock.read(1, Table.INPUT, 0, 1) == [12000]


def test_a_script_gives_one_outcome_to_each_request_and_then_ends() -> None:
    mock = MockStand(stand())
    mock.then(Refused(6), NoAnswer(), [7], None)
    with pytest.raises(Refused, match="exception 6"):
        mock.read(1, Table.INPUT, 20, 1)
    with pytest.raises(NoAnswer):
        mock.read(1, Table.INPUT, 20, 1)
    assert [mock.read(1, Table.INPUT, 20, 1) for _ in range(3)] == [[7], [0x5A31], [0x5A31]]


def test_it_keeps_what_was_asked_and_written() -> None:
    mock = MockStand(stand())
    mock.read(1, Table.INPUT, 0, 4)
    mock.write(1, Table.HOLDING, 0, [12000])
    assert mock.asked == [(1, Table.INPUT, 0, 4)]
    assert mock.written == [(1, Table.HOLDING, 0, (12000,))]


def test_a_silent_unit_is_a_timeout_to_our_own_link() -> None:
    mock = MockStand(stand())
    mock.silent.add(1)
    with pytest.raises(LinkFault) as fault:
        InProcessBus(mock).read(1, Table.INPUT, 20, 1)
    assert fault.value.kind == "timeout"


def test_an_answer_held_back_comes_when_it_is_let_go() -> None:
    mock, got = MockStand(stand()), []
    asking = threading.Thread(target=lambda: got.append(mock.read(1, Table.INPUT, 20, 1)))
    with mock.holding_back() as arrived:
        asking.start()
        assert arrived.wait(10.0)
        assert not got
    asking.join()
    assert got == [[0x5A31]]


def test_an_answer_held_back_on_the_wire_stays_away_until_then() -> None:
    mock = MockStand(stand())
    with (
        serve_tcp(mock, pace=Still()) as server,
        socket.create_connection(("127.0.0.1", server.port), timeout=0.02) as line,
    ):
        with mock.holding_back() as arrived:
            line.sendall(REQUEST)
            assert arrived.wait(10.0)
            with pytest.raises(TimeoutError):
                line.recv(100)
        line.settimeout(10.0)
        assert line.recv(100)[-2:] == b"\x5a\x31"


def test_an_answer_that_nobody_lets_go_is_lost_not_waited_for_without_end() -> None:
    device = MockDevice(hold_limit_s=0.01)
    with device.holding_back(), pytest.raises(NoAnswer):
        device.read(1, Table.INPUT, 0, 1)
