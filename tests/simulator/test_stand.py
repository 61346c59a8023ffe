"""The stand as its registers show it: output, inputs, read-back, contacts, both actions."""

import pytest

from rig.stand.model import Table
from simulator import Installation, Refused, SimulatedStand, actuator_for
from simulator.transmitters import PERFECT
from tests.simulator.stands import INCH, PSI, bare_stand, stand

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
STAND = stand()
ALL_PERFECT = {"": PERFECT}


def ready(**more: object) -> SimulatedStand:
    s = SimulatedStand(STAND, VALVE, errors=ALL_PERFECT, **more)  # type: ignore[arg-type]
    s.write(1, Table.COILS, 0, [1, 1])
    return s


def demand(s: SimulatedStand, pressure_pa: float) -> None:
    s.write(1, Table.HOLDING, 0, [round(STAND.demand_output.scale.to_raw(pressure_pa))])


def pressure(s: SimulatedStand) -> float:
    assert STAND.casing_pressure is not None
    return STAND.casing_pressure.scale.to_si(s.read(1, Table.INPUT, 0, 1)[0])


def position(s: SimulatedStand) -> float:
    return STAND.stem_position.scale.to_si(s.read(1, Table.INPUT, 1, 1)[0])


def test_the_casing_follows_the_demand_and_the_stem_the_casing() -> None:
    s = ready()
    demand(s, 19 * PSI)
    s.advance(20.0)
    assert pressure(s) == pytest.approx(19 * PSI, rel=1e-3)
    true = s.truth
    share = (19 * PSI - true.sliding_intercept) / (true.full_travel - true.sliding_intercept)
    assert position(s) == pytest.approx(share * true.travel, rel=5e-3)


def test_time_passes_only_in_advance() -> None:
    s = ready()
    demand(s, 20 * PSI)
    assert s.time_s == 0.0
    assert pressure(s) == pytest.approx(0.0, abs=0.01 * PSI)
    s.advance(5.0)
    assert s.time_s == 5.0
    s.advance(3.0)
    assert s.time_s == 5.0


def test_the_same_seed_gives_the_same_registers() -> None:
    def run(seed: int) -> list[int]:
        s = SimulatedStand(STAND, VALVE, seed=seed)
        got = []
        for i in range(1, 20):
            s.advance(0.02 * i)
            got += s.read(1, Table.INPUT, 0, 4)
        return got

    assert run(1) == run(1)
    assert run(1) != run(2)


def test_with_the_supply_valve_closed_nothing_rises() -> None:
    s = ready()
    s.write(1, Table.COILS, 0, [0])
    demand(s, 20 * PSI)
    s.advance(5.0)
    assert pressure(s) < 0.1 * PSI


def test_the_vent_valve_empties_the_casing_quickly() -> None:
    s = ready()
    demand(s, 30 * PSI)
    s.advance(20.0)
    s.write(1, Table.COILS, 0, [0, 0])  # supply shut; the vent valve is inverted: 0 vents
    s.advance(23.0)
    assert pressure(s) < 1.0 * PSI


def test_demand_and_valves_are_read_back() -> None:
    s = ready()
    demand(s, 15 * PSI)
    s.advance(0.1)
    assert s.read(1, Table.INPUT, 3, 1)[0] == round(STAND.demand_output.scale.to_raw(15 * PSI))
    assert s.read(1, Table.DISCRETE, 2, 2) == [1, 0]
    s.write(1, Table.COILS, 0, [0, 0])
    s.advance(0.2)
    assert s.read(1, Table.DISCRETE, 2, 2) == [0, 1]


def test_contacts_open_when_people_press_and_open() -> None:
    s = ready()
    assert s.read(1, Table.DISCRETE, 0, 2) == [1, 1]
    s.press_emergency_stop()
    s.open_guard()
    assert s.read(1, Table.DISCRETE, 0, 2) == [0, 0]
    s.release_emergency_stop()
    s.close_guard()
    assert s.read(1, Table.DISCRETE, 0, 2) == [1, 1]


def test_the_emergency_stop_cuts_the_valves_by_wire() -> None:
    for cuts in (True, False):
        s = ready(installation=Installation(stop_cuts_valves=cuts))
        demand(s, 20 * PSI)
        s.advance(10.0)
        s.press_emergency_stop()
        s.advance(15.0)
        assert (s.outputs.casing_pa < 0.5 * PSI) is cuts


def test_the_identity_register_holds_its_value() -> None:
    assert ready().read(1, Table.INPUT, 20, 1) == [0x5A31]


def test_what_is_no_output_cannot_be_written() -> None:
    with pytest.raises(Refused):
        ready().write(1, Table.INPUT, 0, [1])
    with pytest.raises(Refused):
        ready().write(1, Table.HOLDING, 5, [1])


def test_the_position_may_read_backwards_from_anywhere() -> None:
    s = ready(installation=Installation(position_reversed=True, position_zero_m=1.7 * INCH))
    rest = position(s)
    assert rest == pytest.approx(1.7 * INCH, abs=0.005 * INCH)
    demand(s, 40 * PSI)
    s.advance(20.0)
    assert rest - position(s) == pytest.approx(VALVE.travel_m, abs=0.005 * INCH)


def test_the_least_stand_has_an_output_and_a_position() -> None:
    s = SimulatedStand(bare_stand(), VALVE, errors=ALL_PERFECT)
    demand(s, 40 * PSI)
    s.advance(30.0)
    assert s.outputs.stem_m == pytest.approx(VALVE.travel_m, abs=1e-4)
    demand(s, 0.0)
    s.advance(90.0)
    assert s.outputs.stem_m == pytest.approx(0.0, abs=1e-4)


def test_air_to_close_seats_at_the_far_end_with_what_the_supply_leaves() -> None:
    closing = actuator_for(
        area_m2=36 * INCH**2,
        rated_travel_m=0.5 * INCH,
        lower_pa=6 * PSI,
        upper_pa=22 * PSI,
        action="air-to-close",
    )
    s = SimulatedStand(STAND, closing)
    s.write(1, Table.COILS, 0, [1, 1])
    for i in range(1, 61):  # slowly: a plug that bounces leaves its friction half reversed
        demand(s, i * PSI)
        s.advance(0.5 * i)
    assert s.outputs.casing_pa == pytest.approx(STAND.supply_pressure_pa, rel=1e-3)
    assert s.outputs.stem_m == pytest.approx(closing.travel_m, abs=1e-4)
    # seat load A (P_supply - P_full travel); the seat's own give lets the spring take 0.2 % more
    assert s.outputs.seat_n == pytest.approx(s.truth.seat_load, rel=3e-3)


def test_without_air_the_seat_carries_area_times_reseat_pressure() -> None:
    s = ready()
    demand(s, 40 * PSI)
    s.advance(20.0)
    demand(s, 0.0)
    s.advance(80.0)
    # Dropped at full speed: what friction holds after landing depends a little on the step (0.2 % at 2 ms).
    assert s.outputs.seat_n == pytest.approx(VALVE.area_m2 * s.truth.reseat, rel=3e-3)
    assert s.outputs.seat_n == pytest.approx(s.truth.seat_load, rel=3e-3)


def test_turning_the_adjuster_moves_the_truth_and_the_stem() -> None:
    s = ready()
    demand(s, 19 * PSI)
    s.advance(20.0)
    before, rate = s.outputs.stem_m, VALVE.spring_rate_n_per_m
    s.turn_adjuster(3.0)
    s.advance(40.0)
    moved = s.truth.lift_off - SimulatedStand(STAND, VALVE).truth.lift_off
    assert moved == pytest.approx(3 * rate * VALVE.adjuster_pitch_m / VALVE.area_m2)
    # the spring seat goes in by three pitches; the stem follows less the band of friction, 2 F / k
    band = 2 * VALVE.friction.coulomb_n / rate
    assert before - s.outputs.stem_m == pytest.approx(3 * VALVE.adjuster_pitch_m - band, rel=0.02)
