"""Room temperature as an input, and channels exchanged: what the person at the stand would see."""

import pytest

from rig.stand.model import Table
from simulator import Fault, SimulatedStand, Trigger, actuator_for
from simulator.transmitters import Errors
from tests.simulator.stands import INCH, PSI, stand

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
QUIET = Errors(noise_share=0.0, lag_s=0.0)
WARM = Errors(noise_share=0.0, lag_s=0.0, drift_share_per_s=1e-5, drift_share_per_k=5e-4)


def under_air(errors: Errors, *faults: Fault) -> SimulatedStand:
    s = SimulatedStand(stand(), VALVE, errors={"": errors}, faults=faults)
    s.write(1, Table.COILS, 0, [1, 1])
    s.write(1, Table.HOLDING, 0, [9333])  # 20 psi
    s.advance(20.0)
    return s


def shown(s: SimulatedStand) -> list[int]:
    return s.read(1, Table.INPUT, 0, 3)


def off_by(s: SimulatedStand) -> list[float]:
    """Counts by which casing, stem and supply show more than is true."""
    true = (
        s.outputs.casing_pa / (60 * PSI),
        s.outputs.stem_m / (2 * INCH),
        s.outputs.supply_pa / (100 * PSI),
    )
    return [raw - 4000 - 16000 * share for raw, share in zip(shown(s), true, strict=True)]


def test_a_warm_room_moves_the_transmitters_by_their_drift_and_no_more() -> None:
    s = under_air(WARM)
    before = off_by(s)
    s.room_k += 10.0
    s.advance(20.1)
    # 10 K at 5e-4 of the 16000 counts a kelvin: 80 counts on each; the air, too, warms and lifts the stem
    moved = [after - was for after, was in zip(off_by(s), before, strict=True)]
    assert moved == pytest.approx([80] * 3, abs=1.5)
    s.room_k -= 10.0
    s.advance(20.2)
    assert off_by(s) == pytest.approx(before, abs=1.5)


def test_transmitters_drift_with_time() -> None:
    s = under_air(WARM)
    before = off_by(s)[0]
    s.advance(120.0)
    assert off_by(s)[0] - before == pytest.approx(100 * 1e-5 * 16000, abs=2)  # 100 s


def test_a_transmitter_without_drift_does_not_feel_the_room() -> None:
    s = under_air(QUIET)
    s.room_k += 10.0
    s.advance(20.1)
    assert off_by(s) == pytest.approx([0] * 3, abs=1)


def test_the_air_in_the_casing_takes_on_the_room_temperature() -> None:
    s = under_air(QUIET)
    assert s.outputs.air_k == pytest.approx(293.15, abs=0.5)
    s.room_k = 303.15
    s.advance(60.0)
    assert s.outputs.air_k == pytest.approx(303.15, abs=0.5)


def test_a_drifting_fault_goes_on_while_it_lasts_and_ends_with_it() -> None:
    fault = Fault("transmitter drifts", 100.0, "casing_pressure", Trigger(time_s=20.0), Trigger(after_s=50.0))
    s = under_air(QUIET, fault)
    before, count_pa = shown(s)[0], 60 * PSI / 16000
    s.advance(60.0)
    assert (shown(s)[0] - before) * count_pa == pytest.approx(40 * 100.0, abs=2 * count_pa)
    s.advance(80.0)
    assert shown(s)[0] == pytest.approx(before, abs=1)


def test_any_two_channels_can_be_exchanged() -> None:
    healthy = shown(under_air(QUIET))
    casing_and_stem = shown(under_air(QUIET, Fault("wires swapped")))
    assert casing_and_stem == [healthy[1], healthy[0], healthy[2]]
    stem_and_supply = shown(under_air(QUIET, Fault("wires swapped", where="stem_position, supply_pressure")))
    assert stem_and_supply == [healthy[0], healthy[2], healthy[1]]
