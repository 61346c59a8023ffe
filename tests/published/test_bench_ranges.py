"""Bench ranges of a published valve by the force balance; threads and turns of its adjuster.

The valve: set A of a PhD thesis (Univ. Sao Paulo 2020, teses.usp.br, record tde-12022020-100441):
area 0.0445 m2, spring 210490 N/m, preload 2550 N, travel 29 mm, signal 41368 to 180000 Pa, friction
700 N sliding, 780 N static.
"""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from rig.forces.adjuster import adjuster_turns, pressure_per_turn_pa, thread_pitch_m
from rig.forces.balance import balance_of
from rig.profile.model import Action, Basis, Profile, Tolerance, Trim

AREA, RATE, PRELOAD, TRAVEL = 0.0445, 210490.0, 2550.0, 0.029
SLIDING, STATIC = 700.0, 780.0
LOWEST, HIGHEST = 41368.0, 180000.0

# Unified threads: 25.4 mm / threads per inch; lists agree, ASME B1.1 itself was not seen.
THREADS = Path(__file__).parent / "data" / "unified_thread_pitch.csv"


def profile(friction_n: float, preload_n: float = PRELOAD) -> Profile:
    """Set A with its range given spring only: (F_init) / A to (F_init + k x) / A."""
    return Profile(
        model="set-a",
        title="Published valve",
        action=Action.AIR_TO_OPEN,
        area_m2=AREA,
        rated_travel_m=TRAVEL,
        travel_surplus_m=0.0005,
        bench_lower_pa=preload_n / AREA,
        bench_upper_pa=(preload_n + RATE * TRAVEL) / AREA,
        lower_tolerance=Tolerance(3e3, 3e3),
        upper_tolerance=Tolerance(9e3, 9e3),
        basis=Basis.SPRING_ONLY,
        casing_maximum_pa=300e3,
        supply_pa=240e3,
        spring_rate_n_per_m=RATE,
        trim=Trim(packing_friction_n=friction_n),
    )


def pressures(friction_n: float, preload_n: float = PRELOAD) -> list[float]:
    """Lift-off, full travel, start of return, reseat [kPa]."""
    stroke = balance_of(profile(friction_n, preload_n)).stroke
    lines = (stroke.lift_off, stroke.full_travel, stroke.return_start, stroke.reseat)
    return [(line.value or float("nan")) / 1e3 for line in lines]


def test_bench_range_without_friction() -> None:
    # (F_init) / A = 57.3034 kPa, (F_init + k x) / A = 194.4766 kPa (computed)
    lift_off, full, back, reseat = pressures(0.0)
    assert (lift_off, full) == pytest.approx((57.3034, 194.4766), abs=5e-5)
    assert (reseat, back) == pytest.approx((lift_off, full), rel=1e-12)


def test_bench_range_with_sliding_friction() -> None:
    # computed, and by a play-operator march: up 73.0337 and 210.2070, down 178.7463 and 41.5730 kPa
    assert pressures(SLIDING) == pytest.approx([73.0337, 210.2070, 178.7463, 41.5730], abs=5e-5)
    lift_off, full, back, reseat = pressures(SLIDING)
    assert lift_off - reseat == pytest.approx(31.4607, abs=5e-5)  # 2 Fc / A
    assert full - back == pytest.approx(31.4607, abs=5e-5)
    assert (full - lift_off) * 1e3 * AREA / TRAVEL == pytest.approx(RATE, rel=1e-12)


def test_static_friction_lifts_later() -> None:
    # (F_init + Fs) / A = 74.8315 kPa, 1.80 kPa above the sliding line (computed)
    assert pressures(STATIC)[0] == pytest.approx(74.8315, abs=5e-5)
    assert pressures(STATIC)[0] - pressures(SLIDING)[0] == pytest.approx(1.798, abs=5e-4)


def test_stiction_parameters_in_per_cent_of_the_signal() -> None:
    # the thesis' public code: S 25.28722068157489, J 1.296780547773071, D 11.49472761448789 %, here from
    # the pressures of the balance: S is the loop at static friction, J the step, D lift-off without friction
    span = (HIGHEST - LOWEST) / 1e3
    static, sliding, free = pressures(STATIC), pressures(SLIDING), pressures(0.0)
    assert 100 * (static[0] - static[3]) / span == pytest.approx(25.28722068157489, rel=1e-12)
    assert 100 * (static[0] - sliding[0]) / span == pytest.approx(1.296780547773071, rel=1e-10)
    assert 100 * (free[0] - LOWEST / 1e3) / span == pytest.approx(11.49472761448789, rel=1e-12)


def test_the_valve_does_not_fully_stroke_on_its_signal() -> None:
    # 180 kPa is below 194.5 kPa even without friction (computed)
    assert pressures(0.0)[1] > HIGHEST / 1e3


def rows() -> list[dict[str, str]]:
    with THREADS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['designation']} {row['series']}")
def test_pitch_of_a_unified_thread(row: dict[str, str]) -> None:
    pitch = thread_pitch_m(f"{row['designation']} {row['series']}")
    assert 1e3 * pitch == pytest.approx(float(row["pitch_mm"]), abs=5e-7)
    assert pitch * int(row["tpi"]) == pytest.approx(0.0254, rel=1e-15)


def test_one_turn_of_the_adjuster() -> None:
    # k pitch / A = 210490 x 0.00127 / 0.0445 = 6007.24 Pa a turn on a 1/2-20 thread (own algebra)
    pitch = thread_pitch_m("1/2-20 UNF")
    assert pressure_per_turn_pa(AREA, RATE, pitch) == pytest.approx(6007.24, abs=5e-3)
    assert adjuster_turns(AREA, 6007.2416, RATE, pitch) == pytest.approx(1.0, rel=1e-6)
    assert adjuster_turns(AREA, -3003.6208, RATE, pitch) == pytest.approx(-0.5, rel=1e-6)


def test_a_turn_moves_lift_off_and_full_travel_together_and_leaves_the_span() -> None:
    pitch = thread_pitch_m("1/2-20 UNF")
    before, after = pressures(SLIDING), pressures(SLIDING, PRELOAD + RATE * pitch)
    assert [new - old for old, new in zip(before, after, strict=True)] == pytest.approx(
        [6.00724] * 4, abs=5e-6
    )


@pytest.mark.parametrize(("area", "rate", "pitch"), [(0.0, 1.0, 1.0), (1.0, 0.0, 1.0), (1.0, 1.0, -1.0)])
def test_turns_need_area_rate_and_pitch(area: float, rate: float, pitch: float) -> None:
    with pytest.raises(ValueError, match="must be above 0"):
        adjuster_turns(area, 1000.0, rate, pitch)


def test_set_a_with_friction_included_asks_for_the_same_spring() -> None:
    # the same spring told the other way: 73.0337 to 210.2070 kPa with friction in it
    spring_only = profile(SLIDING)
    included = replace(
        spring_only,
        basis=Basis.FRICTION_INCLUDED,
        bench_lower_pa=spring_only.bench_lower_pa + SLIDING / AREA,
        bench_upper_pa=spring_only.bench_upper_pa + SLIDING / AREA,
    )
    stroke = balance_of(included).stroke
    assert stroke.preload.value == pytest.approx(PRELOAD, rel=1e-12)
    assert stroke.reseat.value == pytest.approx(41573.0, abs=0.05)
