"""The plan of reads: what lies together is fetched together, within what the module takes."""

from dataclasses import replace

import pytest

from rig.stand.blocks import Block, plan_reads
from rig.stand.model import Number, Stand, Table

from .stands import channel, stand, two_unit_stand, with_module


def shape(given: Stand) -> list[tuple[str, Table, int, int]]:
    return [(b.module.name, b.table, b.address, b.count) for b in plan_reads(given)]


def placed(*addresses: int, number: Number = Number.UINT16) -> Stand:
    """Pressure, position and supply at these input registers, nothing else."""
    names = ("casing_pressure", "stem_position", "supply_pressure")
    bare = dict.fromkeys(
        (
            "demand_readback",
            "emergency_stop_healthy",
            "guard_closed",
            "supply_valve_readback",
            "vent_valve_readback",
        )
    )
    channels = {n: channel(n, "io", at, 1.0, number=number) for n, at in zip(names, addresses, strict=True)}
    return replace(stand(), **bare, **channels)


def test_a_whole_stand_takes_one_read_per_table() -> None:
    assert shape(stand()) == [("io", Table.INPUT, 0, 4), ("io", Table.DISCRETE, 0, 4)]


def test_every_unit_is_asked_for_its_own() -> None:
    assert shape(two_unit_stand()) == [("ins", Table.INPUT, 0, 2), ("outs", Table.COILS, 0, 2)]


@pytest.mark.parametrize(("third", "reads"), [(13, 1), (14, 2)])
def test_a_gap_is_read_through_only_where_that_is_cheaper(third: int, reads: int) -> None:
    given = placed(1, 2, third)
    assert len(shape(given)) == reads


def test_gaps_are_never_read_where_the_module_refuses_them() -> None:
    given = with_module(placed(0, 1, 3), read_gaps=False)
    assert shape(given) == [("io", Table.INPUT, 0, 2), ("io", Table.INPUT, 3, 1)]


@pytest.mark.parametrize(("longest", "blocks"), [(6, [6]), (5, [4, 2]), (4, [4, 2]), (2, [2, 2, 2])])
def test_no_block_is_longer_than_the_module_takes_and_no_number_is_split(
    longest: int, blocks: list[int]
) -> None:
    given = with_module(placed(0, 2, 4, number=Number.FLOAT32), max_read=longest)
    assert [block[3] for block in shape(given)] == blocks


def test_every_channel_is_in_exactly_one_block_and_inside_it() -> None:
    def names(block: Block) -> list[str]:
        return [name for name, _ in block.channels]

    blocks = plan_reads(with_module(stand(), max_read=2, read_gaps=False))
    assert sorted(n for b in blocks for n in names(b)) == sorted(
        n for b in plan_reads(stand()) for n in names(b)
    )
    for block in blocks:
        for _, inside in block.channels:
            assert block.address <= inside.address < block.address + block.count


def test_the_casing_pressure_is_asked_first() -> None:
    given = replace(stand(), casing_pressure=channel("casing pressure", "io", 90, 1.0))
    assert plan_reads(given)[0].channels[0][0] == "casing_pressure"


def test_channels_that_share_an_address_share_a_read() -> None:
    assert [(b[2], b[3]) for b in shape(placed(5, 5, 6))] == [(5, 2)]
