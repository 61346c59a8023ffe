"""Event-driven friction: it hops however slowly it is pushed, heals, scatters, and slides when quick."""

from dataclasses import replace
from statistics import fmean, pstdev

import pytest

from simulator import SimulatedStand
from simulator.actuator import Actuator
from simulator.hopping import HoppingPlant, critical_speed, swing
from simulator.plant import Converter, Inputs, Plant
from simulator.scenario import load
from simulator.truth import truth
from tests.simulator.stands import PSI, stand

STICKY = load("sticky-plug-gross").actuator
AIR = Converter(supply_pa=60 * PSI)


def crept(actuator: Actuator, rate_psi_per_s: float, span_psi: float = 3.0, seed: int = 0) -> HoppingPlant:
    """Filled to 1 psi below lift-off, then raised at a constant rate."""
    plant = HoppingPlant(actuator, AIR, seed=seed)
    inputs = Inputs(supply_open=True, vent_open=False)
    start = truth(actuator).lift_off - PSI
    inputs.demand_pa = start
    plant.update(15.0, inputs)
    steps = round(span_psi / rate_psi_per_s / 0.1)
    for i in range(1, steps + 1):
        inputs.demand_pa = start + rate_psi_per_s * PSI * 0.1 * i
        plant.update(15.0 + 0.1 * i, inputs)
    return plant


def test_it_hops_at_a_speed_at_which_lugre_creeps() -> None:
    rate = 0.05
    hopping = crept(STICKY, rate)
    assert len(hopping.hops) >= 2
    creeping = Plant(STICKY, AIR)
    inputs = Inputs(demand_pa=truth(STICKY).lift_off - PSI, supply_open=True, vent_open=False)
    creeping.update(15.0, inputs)
    fastest = 0.0
    for i in range(1, 600):
        inputs.demand_pa += rate * PSI * 0.1
        fastest = max(fastest, creeping.update(15.0 + 0.1 * i, inputs).stem_m_per_s)
    assert fastest < 1e-3  # LuGre: no hop at all, which is why this model is here


def test_a_hop_is_as_long_as_the_half_swing_says() -> None:
    plant = crept(STICKY, 0.2)
    c = plant.coefficients(Inputs(), 0.02)
    stiffness = c.slope_n_per_m + 1.4 * plant.state.casing_pa * c.area_m2**2 / (
        c.volume_m3 + c.area_m2 * plant.state.x_m
    )
    expected = swing(c, stiffness) * (c.static_n - c.coulomb_n) / stiffness
    assert fmean(plant.hops[1:]) == pytest.approx(expected, rel=0.05)


def test_it_first_moves_at_the_break_away_pressure() -> None:
    plant = HoppingPlant(STICKY, AIR)
    inputs = Inputs(demand_pa=truth(STICKY).lift_off - PSI, supply_open=True, vent_open=False)
    plant.update(15.0, inputs)
    before = 0.0
    for i in range(1, 2000):
        inputs.demand_pa += 0.2 * PSI * 0.02
        casing = plant.state.casing_pa
        plant.update(15.0 + 0.02 * i, inputs)
        if plant.state.x_m > 2e-4:
            before = casing - plant.room_pa
            break
    assert before == pytest.approx(truth(STICKY).lift_off, abs=0.02 * PSI)


def test_without_a_surplus_of_static_friction_it_slides_along_the_running_line() -> None:
    smooth = load("healthy-membrane-rinse").actuator
    plant = crept(smooth, 0.5)
    assert plant.hops == []
    true = truth(smooth)
    expected = (plant.state.casing_pa - plant.room_pa - true.sliding_intercept) * smooth.area_m2
    assert plant.state.x_m * smooth.spring_rate_n_per_m == pytest.approx(expected, abs=5.0)


def test_above_the_critical_speed_it_slides() -> None:
    assert len(crept(STICKY, 0.3, 3.0).hops) > 0
    gliding = replace(STICKY, friction=replace(STICKY.friction, viscous_n_s_per_m=1e6))
    assert critical_speed(HoppingPlant(gliding, AIR).coefficients(Inputs(), 0.02)) == 0.0
    assert crept(gliding, 0.3, 3.0).hops == []


def test_rest_makes_it_stick_harder() -> None:
    def break_away(rest_s: float) -> float:
        healing = replace(STICKY, friction=replace(STICKY.friction, healing_per_decade=0.2))
        plant = HoppingPlant(healing, AIR)
        inputs = Inputs(demand_pa=truth(healing).lift_off - 0.5 * PSI, supply_open=True, vent_open=False)
        plant.update(rest_s, inputs)
        t = rest_s
        while plant.state.x_m < 2e-4:
            inputs.demand_pa += 0.5 * PSI * 0.02
            t += 0.02
            casing = plant.state.casing_pa
            plant.update(t, inputs)
        return casing

    gained = 0.2 * 1.3 * STICKY.friction.coulomb_n / STICKY.area_m2  # log10(200 s / 10 s) is 1.3
    assert break_away(200.0) - break_away(10.0) == pytest.approx(gained, rel=0.15)


def test_hops_scatter_as_stated_and_repeat_with_the_seed() -> None:
    scattered = replace(STICKY, friction=replace(STICKY.friction, scatter=0.1, static_ratio=1.8))
    first, again, other = (crept(scattered, 0.3, 8.0, seed).hops for seed in (1, 1, 2))
    assert first == again != other
    even = crept(replace(scattered, friction=replace(scattered.friction, scatter=0.0)), 0.3, 8.0).hops
    assert pstdev(first) > 5 * pstdev(even)


def test_the_stand_takes_it_in_place_of_the_plant() -> None:
    s = SimulatedStand(stand(), STICKY, plant=HoppingPlant(STICKY, AIR))
    s.advance(0.1)
    assert s.outputs.stem_m < 1e-4


def test_it_reseats_and_empties() -> None:
    plant = crept(STICKY, 0.5)
    down = plant.update(120.0, Inputs(demand_pa=0.0, supply_open=False, vent_open=True))
    assert down.stem_m == pytest.approx(0.0, abs=1e-4)
    assert down.casing_pa == pytest.approx(0.0, abs=50.0)
    # sliding friction holds the plug up at least, static friction at most
    surplus = (STICKY.friction.static_ratio - 1.0) * STICKY.friction.coulomb_n
    least = truth(STICKY).seat_load - surplus
    assert 0.98 * least < down.seat_n < 1.02 * truth(STICKY).seat_load
