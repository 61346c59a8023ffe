"""A device that is not the stand file's, or does not show that it is: nothing is written to it."""

from dataclasses import replace

import pytest

from rig.stand.make_safe import Safe
from rig.stand.model import Table
from rig.stand.notice import WRITE
from rig.stand.proofs import together
from safety.signals import Contact, Health
from simulator.bay import PSI, full_stand
from simulator.mock import MockDevice as Mock
from tests.rig.stands import IDENTITY, healthy_mock, loop_on, stand
from tests.rig.test_make_safe import made_safe, under_air

WRONG, ILLEGAL_ADDRESS = IDENTITY + 1, 2


def other_device() -> Mock:
    mock = healthy_mock()
    mock.put(1, Table.INPUT, 30, WRONG)
    return mock


def nameless_device() -> Mock:
    mock = healthy_mock()
    mock.refuses[1, Table.INPUT, 30] = ILLEGAL_ADDRESS
    return mock


@pytest.mark.parametrize("device", [other_device, nameless_device])
def test_a_run_writes_nothing_before_the_device_has_shown_its_identity(device: object) -> None:
    mock = device()  # type: ignore[operator]
    loop = loop_on(stand(), mock)
    for _ in range(5):
        assert not loop.step().written
    loop.make_safe()
    assert mock.written == []
    assert "identity of the stand file" in next(n.text for n in loop.take_notices() if n.kind == WRITE)
    mock.refuses.clear()
    mock.put(1, Table.INPUT, 30, IDENTITY)
    for _ in range(2):
        sample = loop.step()
    assert sample.written
    assert mock.written


def test_a_device_that_has_shown_it_once_and_is_silent_now_is_still_written() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    loop.step()
    mock.refuses[1, Table.INPUT, 30] = ILLEGAL_ADDRESS
    for _ in range(60):  # more than a second: the identity is read again
        assert loop.step().written


def test_a_device_that_is_exchanged_under_way_is_written_no_more() -> None:
    mock = healthy_mock()
    loop = loop_on(stand(), mock)
    assert loop.step().written
    mock.put(1, Table.INPUT, 30, WRONG)
    for _ in range(60):  # more than a second: the identity is read again
        sample = loop.step()
    said = len(mock.written)
    assert not sample.written
    loop.step()
    assert len(mock.written) == said


def test_what_never_shows_an_identity_is_vented_on_a_persons_word_and_not_called_safe() -> None:
    machine = under_air(full_stand())
    io = machine.stand.modules["io"]
    assert io.identity is not None
    nowhere = replace(io, identity=replace(io.identity, address=4000))
    machine.stand = replace(machine.stand, modules={"io": nowhere})
    end, samples = made_safe(machine)
    assert end is Safe.UNPROVEN
    assert samples[-1].vented
    assert machine.outputs.casing_pa < 0.5 * PSI
    assert not machine.drive.valves.supply_open


def test_of_several_modules_one_that_is_wrong_is_not_hidden_by_one_that_is_silent() -> None:
    right, wrong = Contact(True, Health.GOOD, 3.0), Contact(False, Health.GOOD, 2.0)
    silent, older = Contact(False, Health.UNKNOWN, 1.0), Contact(True, Health.GOOD, 2.5)
    assert together([silent, right, wrong]) is wrong
    assert together([right, silent, older]) is silent
    assert together([right, older]) is older
