"""The controlled hold against event-driven friction: reached, kept, and honest where it cannot be."""

from dataclasses import replace
from math import exp, pi, sqrt
from random import Random

import pytest

from rig.procedure.hold import PSI, Held, Hold, HoldPlan
from rig.procedure.watch import Stroke
from safety.signals import Demand, Reading
from simulator.actuator import Friction
from tests.campaign import hold as campaign
from tests.rig.break_away import BreakAway

INCH = 0.0254


def held_of(case: campaign.Case, **changes: object) -> tuple[Hold, Held, BreakAway, list[Demand]]:
    """Run a hold; every demand on the way is kept."""
    a, random = case.actuator, Random(case.seed)
    plant = BreakAway(a, seed=case.seed)
    plant.inputs.supply_open, plant.inputs.vent_open = True, False
    stroke = Stroke(a.rated_travel_m)
    stroke.rest_m, stroke.sense = 0.0, 1
    plan: HoldPlan = replace(campaign.plan_of(case, random), **changes)  # type: ignore[arg-type]
    hold = Hold(stroke, plan)
    steps, demands, output = hold.reach(), [], 0.0
    demand = next(steps)
    for scan in range(1, 40_000):
        demands.append(demand)
        output = campaign.walked(output, demand)
        try:
            demand = steps.send(campaign.reading(plant, scan, output, random))
        except StopIteration as stop:
            return hold, stop.value, plant, demands
    raise AssertionError("the hold did not end")


def test_short_campaign_reaches_and_stays() -> None:
    """The long form: python -m tests.campaign.hold 300 (figures in its output)."""
    outcomes = [campaign.run(campaign.draw(seed), hold_s=60.0) for seed in range(16)]
    smooth = [o for o in outcomes if o.case.ratio == 1.0]
    assert len(smooth) >= 3
    assert all(o.held.reached and o.stayed for o in smooth), campaign.told(outcomes)
    assert sum(o.held.reached and o.stayed for o in outcomes) >= 15, campaign.told(outcomes)


@pytest.mark.parametrize("band_psi", [0.5, 3.0])
def test_true_travel_is_within_tolerance_not_only_the_reading(band_psi: float) -> None:
    case = campaign.draw(3, band_psi=band_psi, ratio=1.0)
    _, held, plant, _ = held_of(case)
    assert held.reached
    assert abs(plant.x_m - case.target_m) <= 0.005 * INCH


def test_parked_stem_stands_in_the_middle_of_its_friction_band() -> None:
    case = campaign.draw(5, band_psi=2.0, ratio=1.0)
    _, held, plant, _ = held_of(case)
    assert held.reached
    assert abs(plant.friction_n) < 0.3 * case.actuator.friction.coulomb_n


def test_the_last_approach_is_from_below() -> None:
    case = campaign.draw(7, band_psi=1.0, ratio=1.0)
    _, held, _, demands = held_of(case)
    pressures = [demand.pressure_pa for demand in demands]
    highest = max(range(len(pressures)), key=pressures.__getitem__)
    before, after = pressures[highest - 200 : highest], pressures[highest + 100 :]
    assert held.tries == 1
    assert before == sorted(before)
    assert max(after) - min(after) < 0.01 * PSI, "the output is frozen once parked"


def test_demand_while_held_is_the_frozen_one() -> None:
    hold, held, _, demands = held_of(campaign.draw(7, band_psi=1.0, ratio=1.0))
    assert hold.demand.pressure_pa == held.pressure_pa == demands[-1].pressure_pa


def test_drift_is_announced_after_two_seconds_and_not_corrected() -> None:
    case = campaign.draw(9, band_psi=0.5, ratio=1.0)
    hold, _, plant, _ = held_of(case)
    random, scan = Random(1), 100_000
    plant.time_s = scan / campaign.SCANS_PER_S
    frozen = hold.demand.pressure_pa
    assert hold.off() is None
    for _ in range(500):  # the I/P walks away by 1 psi, far more than the band
        scan += 1
        hold.see(seen_by(hold, plant, scan, frozen + 1.0 * PSI, random))
    off = hold.off()
    assert off is not None
    assert off > 0.005 * INCH
    assert hold.demand.pressure_pa == frozen


def seen_by(hold: Hold, plant: BreakAway, scan: int, output: float, random: Random) -> Reading:
    reading = campaign.reading(plant, scan, output, random)
    hold.stroke.see(reading)
    return reading


def test_hops_larger_than_the_tolerance_are_told_when_it_gives_up() -> None:
    """Hops of some 50 mil on a tolerance of 1 mil: it says so instead of hunting for ever."""
    case = campaign.draw(11, band_psi=3.0, ratio=1.5)
    _, held, _, demands = held_of(case, tolerance_m=0.001 * INCH, tries=3, limit_s=90.0)
    assert not held.reached
    assert "hops" in held.why
    assert "tries" in held.why
    assert len(demands) < 50 * 120
    assert any("hops" in demand.watch_for for demand in demands), "and told while it tries"


def test_never_asks_beyond_the_highest_pressure() -> None:
    case = campaign.draw(13, band_psi=1.0, ratio=1.0)
    highest = campaign.plan_of(case, Random(1)).lift_off_pa
    _, held, _, demands = held_of(case, highest_pa=highest)
    assert not held.reached
    assert "highest pressure" in held.why
    assert max(demand.pressure_pa for demand in demands) <= highest


def test_a_target_below_the_stem_is_still_approached_from_below() -> None:
    """Beginning with the stem far above the target it goes back under it first."""
    case = campaign.draw(15, band_psi=1.0, ratio=1.0)
    low = replace(case, target_m=0.3 * case.actuator.travel_m)
    high = replace(case, target_m=0.8 * case.actuator.travel_m)
    hold, first, plant, _ = held_of(high)
    assert first.reached
    random, scan = Random(4), round(plant.time_s * campaign.SCANS_PER_S)
    again = Hold(hold.stroke, replace(hold.plan, target_m=low.target_m), demand_pa=first.pressure_pa)
    steps, output = again.reach(), first.pressure_pa
    demand, travels = next(steps), []
    while True:
        scan += 1
        output = campaign.walked(output, demand)
        try:
            demand = steps.send(campaign.reading(plant, scan, output, random))
        except StopIteration as stop:
            second: Held = stop.value
            break
        travels.append(plant.x_m)
    assert second.reached
    assert min(travels) < low.target_m - 0.02 * INCH


def test_sticking_model_really_hops() -> None:
    """The toy is not too kind: at 0.05 psi/s it moves in hops of half a swing of a damped mass on spring and
    trapped air, (1 + exp(-pi zeta / sqrt(1 - zeta^2))) (Fs - Fc) / (k + k_air) (textbook oscillator)."""
    case = campaign.draw(17, band_psi=2.0, ratio=1.3)
    a = replace(case.actuator, friction=replace(case.actuator.friction, scatter=0.0, healing_per_decade=0.0))
    plant = BreakAway(a)
    plant.inputs.supply_open, plant.inputs.vent_open = True, False
    start = a.rest_force_n / a.area_m2
    for i in range(4000):
        plant.inputs.demand_pa = start + i * 0.02 * 0.05 * PSI
        plant.advance((i + 1) * 0.02)
    f: Friction = a.friction
    assert len(plant.hops) > 2
    p_abs, volume = plant.casing_pa + 101_325.0, a.casing_volume_m3 + a.area_m2 * plant.x_m
    stiff = a.slope_n_per_m + p_abs * a.area_m2**2 / volume
    zeta = f.viscous_n_s_per_m / (2.0 * sqrt(a.moving_mass_kg * stiff))
    swing = 1.0 + exp(-pi * zeta / sqrt(1.0 - zeta**2))
    expected = swing * (f.static_ratio - 1.0) * f.coulomb_n / stiff
    assert plant.hops[-1] == pytest.approx(expected, rel=0.1)
