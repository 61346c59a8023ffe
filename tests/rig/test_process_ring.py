"""Samples through shared memory: complete, in order, and what was lost is known."""

from collections.abc import Iterator
from math import isnan, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.stand.packed import NO_DEMAND, SIZE, demand_number_of, packed, unpacked
from rig.stand.ring import Ring
from rig.stand.sample import Sample
from safety.signals import Command, Contact, Demand, Health, Reading, Signal
from safety.state import Mode


@pytest.fixture
def rings() -> Iterator[tuple[Ring, Ring]]:
    """Both ends of a ring of 4 records of 11 bytes."""
    writer = Ring(11, 4)
    reader = Ring(11, 4, writer.name)
    yield writer, reader
    reader.close()
    writer.close()
    writer.unlink()


def record(number: int) -> bytes:
    return f"{number:011}".encode()


def test_records_come_out_once_and_in_order(rings: tuple[Ring, Ring]) -> None:
    writer, reader = rings
    assert reader.take() == []
    for number in range(3):
        writer.push(record(number))
    assert reader.take() == [record(0), record(1), record(2)]
    assert reader.take() == []
    for number in range(3, 7):
        writer.push(record(number))
    assert reader.take() == [record(n) for n in (3, 4, 5, 6)]
    assert reader.overrun == 0


@pytest.mark.parametrize(("written", "lost"), [(4, 0), (5, 1), (13, 9)])
def test_a_reader_that_slept_too_long_knows_how_much_it_lost(
    rings: tuple[Ring, Ring], written: int, lost: int
) -> None:
    writer, reader = rings
    for number in range(written):
        writer.push(record(number))
    assert reader.take() == [record(n) for n in range(written - 4, written)]
    assert reader.overrun == lost


def test_a_record_that_is_being_written_over_is_not_taken_for_whole(rings: tuple[Ring, Ring]) -> None:
    writer, reader = rings
    for number in range(4):
        writer.push(record(number))
    writer._words[8] = 0  # the writer has begun on the first slot again
    assert reader.take() == [record(1), record(2), record(3)]
    assert reader.overrun == 1


def test_a_record_of_another_size_is_refused(rings: tuple[Ring, Ring]) -> None:
    with pytest.raises(ValueError, match="11 bytes, not 3"):
        rings[0].push(b"abc")


finite = st.floats(allow_nan=False, allow_infinity=False)
signals = st.builds(Signal, finite, st.sampled_from(Health), finite)
contacts = st.builds(Contact, st.booleans(), st.sampled_from(Health), finite)
readings = st.builds(
    Reading,
    scan=st.integers(0, 2**60),
    time_s=finite,
    pressure=signals,
    position=signals,
    supply=signals,
    output=signals,
    emergency_stop_healthy=contacts,
    guard_closed=contacts,
    supply_valve_open=contacts,
    vent_valve_open=contacts,
    watchdog_armed=contacts,
    identity_right=contacts,
    pressure_is_inferred=st.booleans(),
)
samples = st.builds(
    Sample,
    reading=readings,
    demand=st.just(Demand(1.0, 2.0, "rise", serial=9)),
    command=st.builds(Command, finite, st.booleans(), st.booleans(), st.booleans()),
    mode=st.sampled_from([mode.value for mode in Mode]),
    late_s=finite,
    lost_scans=st.integers(0, 2**40),
    written=st.booleans(),
    vented=st.booleans(),
)


@given(samples, st.integers(NO_DEMAND, 2**60))
def test_a_sample_comes_out_as_it_went_in(sample: Sample, number: int) -> None:
    record = packed(sample, number)
    assert len(record) == SIZE
    assert demand_number_of(record) == number
    assert unpacked(record, sample.demand) == sample


def test_a_value_that_is_none_stays_none() -> None:
    missing = Signal(nan, Health.UNKNOWN, 1.0)
    sample = Sample(Reading(1, 1.0, missing, missing), None, Command(0.0, False, True, True), "resting")
    again = unpacked(packed(sample, NO_DEMAND), None)
    assert isnan(again.reading.pressure.value)
    assert again.reading.pressure.health is Health.UNKNOWN
