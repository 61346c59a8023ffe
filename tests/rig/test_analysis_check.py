"""The bench check's analysis on ideal records, where the answer is known in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from rig.analysis.check import analyse
from rig.analysis.result import QUANTITIES, CheckResult, Outcome
from rig.analysis.samples import RETURN, RISE, Samples
from rig.profile.model import Action, Basis, Tolerance
from rig.units import UNIT_SETS

from .synthetic import CLEAN, INCH, PERFECT, PSI, SENSORS, IdealValve, Rig, profile_for, record

VALVE = IdealValve()
TRUE = {  # force balance along the stem; half band R, spring only 10 to 30 psi
    "lift_off": 10.5 * PSI,
    "sliding_intercept": 10.5 * PSI,
    "full_travel": 30.5 * PSI,
    "return_start": 29.5 * PSI,
    "reseat": 9.5 * PSI,
    "travel": 1.125 * INCH,
    "friction": 0.5 * PSI * VALVE.area_m2,
    "spring_rate": VALVE.area_m2 * 20 * PSI / (1.125 * INCH),
    "spring_only_lower": 10.0 * PSI,
    "spring_only_upper": 30.0 * PSI,
    "seat_load": 9.5 * PSI * VALVE.area_m2,
    "hysteresis": 1.0 * PSI,
}


def value(result: CheckResult, key: str) -> float:
    found = result.quantities[key].value
    assert found is not None, result.quantities[key].why
    return found


@pytest.mark.parametrize("key", QUANTITIES)
def test_without_noise_every_quantity_is_exact(key: str) -> None:
    result = analyse(record(VALVE, CLEAN), profile_for(VALVE), PERFECT)
    assert value(result, key) == pytest.approx(TRUE[key], rel=2e-5)


@pytest.mark.parametrize("key", QUANTITIES)
@pytest.mark.parametrize(("sense", "offset_m"), [(1, 0.0), (-1, 0.07)])
def test_with_noise_every_quantity_lies_within_its_uncertainty(key: str, sense: int, offset_m: float) -> None:
    rig = Rig(sense=sense, offset_m=offset_m)
    result = analyse(record(VALVE, rig, seed=4), profile_for(VALVE), PERFECT)
    quantity = result.quantities[key]
    assert quantity.expanded_uncertainty is not None
    assert abs(value(result, key) - TRUE[key]) < 1.5 * quantity.expanded_uncertainty
    assert quantity.expanded_uncertainty < 0.08 * TRUE[key]


def test_each_cycle_is_reported_on_its_own() -> None:
    result = analyse(record(VALVE, Rig()), profile_for(VALVE), PERFECT)
    assert len(result.cycles) == 3
    for cycle in result.cycles:
        assert set(cycle) == set(QUANTITIES)
        assert abs(cycle["lift_off"].value - TRUE["lift_off"]) < 4 * cycle["lift_off"].standard_uncertainty


def test_a_rated_travel_short_of_the_stop_is_where_full_travel_is_read() -> None:
    profile = profile_for(VALVE, rated_travel_m=1.0 * INCH)
    result = analyse(record(VALVE, CLEAN), profile, PERFECT)
    slope = 20 * PSI / (1.125 * INCH)
    assert value(result, "full_travel") == pytest.approx(30.5 * PSI - slope * 0.125 * INCH, rel=1e-4)
    assert value(result, "spring_only_upper") == pytest.approx(10 * PSI + slope * 1.0 * INCH, rel=1e-4)


def test_air_to_close_reads_the_seat_load_from_what_the_supply_has_left() -> None:
    profile = profile_for(VALVE, action=Action.AIR_TO_CLOSE, required_seat_load_n=3000.0)
    result = analyse(record(VALVE, CLEAN), profile, PERFECT)
    assert value(result, "seat_load") == pytest.approx(VALVE.area_m2 * (40 - 30.5) * PSI, rel=1e-4)
    assert result.quantities["seat_load"].outcome is Outcome.PASS


def test_the_zero_of_the_pressure_transmitter_is_taken_off_and_told() -> None:
    result = analyse(record(VALVE, Rig(zero_pa=0.1 * PSI)), profile_for(VALVE), SENSORS)
    assert value(result, "lift_off") == pytest.approx(TRUE["lift_off"], abs=0.03 * PSI)
    assert any("Zero of pressure" in note for note in result.notes)


def test_an_implausible_zero_is_left_alone_told_and_widens_the_uncertainty() -> None:
    plain = analyse(record(VALVE, Rig()), profile_for(VALVE), SENSORS)
    off = analyse(record(VALVE, Rig(zero_pa=2.0 * PSI)), profile_for(VALVE), SENSORS)
    assert value(off, "lift_off") == pytest.approx(TRUE["lift_off"] + 2 * PSI, abs=0.05 * PSI)
    assert any("trapped air" in note for note in off.notes)
    wide, narrow = (r.quantities["lift_off"].expanded_uncertainty or 0.0 for r in (off, plain))
    assert wide > narrow + 2.0 * PSI


# -- incomplete records ------------------------------------------------------------------------------


def part(samples: Samples, keep: "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]") -> Samples:
    names = ("time_s", "pressure_pa", "position_m", "output_pa", "supply_pa", "cycle", "stage")
    return Samples(**{name: getattr(samples, name)[keep] for name in names})


def test_a_stroke_stopped_half_way_up_gives_lift_off_and_says_why_the_rest_is_missing() -> None:
    samples = record(VALVE, Rig(cycles=1))
    keep = (samples.stage != RISE) | (samples.pressure_pa < 20 * PSI)
    keep &= (samples.cycle == 0) | (samples.stage == RISE)
    result = analyse(part(samples, keep), profile_for(VALVE), PERFECT)
    assert value(result, "lift_off") == pytest.approx(TRUE["lift_off"], abs=0.1 * PSI)
    for key in ("full_travel", "return_start", "reseat", "travel", "friction", "seat_load"):
        quantity = result.quantities[key]
        assert quantity.outcome is Outcome.NOT_MEASURED
        assert quantity.value is None
        assert quantity.why
    assert result.outcome is Outcome.UNDECIDED


def test_a_return_that_ends_before_the_seat_measures_no_reseat() -> None:
    samples = record(VALVE, Rig(cycles=1))
    later = (samples.stage == RETURN) & (samples.pressure_pa < 9.6 * PSI)
    result = analyse(part(samples, ~later & (samples.stage != "vent")), profile_for(VALVE), PERFECT)
    assert result.quantities["reseat"].outcome is Outcome.NOT_MEASURED
    assert result.quantities["full_travel"].value is not None


@pytest.mark.parametrize("lose", ["all", "pressure", "position"])
def test_a_record_without_readings_measures_nothing_and_passes_nothing(lose: str) -> None:
    samples = record(VALVE, Rig(cycles=1))
    nothing = np.full(len(samples.time_s), np.nan)
    if lose == "all":
        samples = part(samples, np.zeros(len(nothing), dtype=bool))
    elif lose == "pressure":
        samples = replace(samples, pressure_pa=nothing)
    else:
        samples = replace(samples, position_m=nothing)
    result = analyse(samples, profile_for(VALVE), PERFECT)
    assert all(q.outcome is Outcome.NOT_MEASURED for q in result.quantities.values())
    assert result.outcome is Outcome.UNDECIDED


def test_a_stem_that_does_not_move_is_told() -> None:
    samples = record(VALVE, Rig(cycles=2))
    samples = replace(samples, position_m=np.full(len(samples.time_s), 0.05))
    result = analyse(samples, profile_for(VALVE), PERFECT)
    assert "did not move" in result.quantities["lift_off"].why


def test_spikes_and_lost_readings_are_survived() -> None:
    samples = record(VALVE, Rig())
    random = np.random.default_rng(8)
    pressure, position = samples.pressure_pa.copy(), samples.position_m.copy()
    for column, size in ((pressure, 20 * PSI), (position, 0.5 * INCH)):
        column[random.integers(0, len(column), 60)] += size * random.choice([-1, 1], 60)
        column[random.integers(0, len(column), 200)] = np.nan
        column[4000:4012] = np.nan
    result = analyse(replace(samples, pressure_pa=pressure, position_m=position), profile_for(VALVE), PERFECT)
    for key in QUANTITIES:
        spread = result.quantities[key].expanded_uncertainty or 0.0
        assert abs(value(result, key) - TRUE[key]) < 1.5 * spread, key


# -- judging and advice ------------------------------------------------------------------------------


def test_the_whole_passes_only_when_everything_judged_passes() -> None:
    profile = profile_for(VALVE, rated_travel_m=1.12 * INCH)
    assert analyse(record(VALVE, Rig()), profile, SENSORS).outcome is Outcome.PASS
    tight = replace(profile, required_seat_load_n=9000.0)
    assert analyse(record(VALVE, Rig()), tight, SENSORS).outcome is Outcome.FAIL


def test_travel_is_never_accepted_short() -> None:
    result = analyse(record(VALVE, Rig()), profile_for(VALVE, rated_travel_m=1.14 * INCH), SENSORS)
    assert result.quantities["travel"].outcome is Outcome.FAIL
    assert any("Travel is short by 0.015 in" in line for line in result.advice)


def test_a_value_within_its_uncertainty_of_a_limit_is_undecided() -> None:
    exactly = Tolerance(0.5 * PSI, 0.0)  # lift-off is exactly at its upper limit
    result = analyse(record(VALVE, Rig()), profile_for(VALVE, lower_tolerance=exactly), SENSORS)
    assert result.quantities["lift_off"].outcome is Outcome.UNDECIDED
    assert result.outcome is Outcome.UNDECIDED


def test_a_spring_only_basis_judges_the_spring_only_ends() -> None:
    profile = profile_for(
        VALVE,
        basis=Basis.SPRING_ONLY,
        bench_lower_pa=10 * PSI,
        bench_upper_pa=30 * PSI,
        rated_travel_m=1.12 * INCH,
    )
    result = analyse(record(VALVE, Rig()), profile, SENSORS)
    assert result.quantities["lift_off"].outcome is Outcome.NOT_JUDGED
    assert result.quantities["spring_only_lower"].outcome is Outcome.PASS
    assert result.outcome is Outcome.PASS


def test_adjuster_advice_gives_turns_and_direction() -> None:
    low = IdealValve(lower_pa=8 * PSI, upper_pa=28 * PSI)  # two psi too low
    result = analyse(record(low, Rig()), profile_for(VALVE), SENSORS)
    rate = VALVE.area_m2 * 20 * PSI / (1.125 * INCH)
    expected = VALVE.area_m2 * 2 * PSI / (rate * 0.002)  # turns = A dP / (k pitch)
    line = next(line for line in result.advice if line.startswith("Tighten"))
    assert f"{expected:.1f} turns" in line
    assert "raises" in line


def test_advice_is_in_the_units_asked_for() -> None:
    low = IdealValve(lower_pa=8 * PSI, upper_pa=28 * PSI)
    result = analyse(record(low, Rig()), profile_for(VALVE), SENSORS, units=UNIT_SETS["bar"])
    line = next(line for line in result.advice if line.startswith("Tighten"))
    assert "on its rated 0.724 bar" in line  # 10.5 psi with friction in it
    assert "psi" not in " ".join(result.advice)


def test_a_wrong_span_is_said_not_to_be_mended_by_turning() -> None:
    stiff = IdealValve(upper_pa=36 * PSI)
    result = analyse(record(stiff, Rig()), profile_for(VALVE), SENSORS)
    assert any("No turning of the adjuster mends that" in line for line in result.advice)


def test_sticking_is_seen_and_lift_off_is_read_before_the_first_hop() -> None:
    # 0.6 psi above the sliding line is a hop of 34 mil: no rig could miss it.
    from .stick_slip import sticking_record

    samples, truth_pa = sticking_record(VALVE, extra_pa=0.6 * PSI)
    result = analyse(samples, profile_for(VALVE), PERFECT)
    assert value(result, "lift_off") == pytest.approx(truth_pa, abs=0.06 * PSI)
    assert value(result, "lift_off") > value(result, "sliding_intercept") + 0.3 * PSI
    assert any("sticks" in line for line in result.advice)


# -- transmitters --------------------------------------------------------------------------------------


def test_stated_lags_are_aligned() -> None:
    rig = Rig(noise_pa=0.01 * PSI, noise_m=0.0003 * INCH, pressure_lag_s=0.15, position_lag_s=0.02)
    samples = record(VALVE, rig)
    told = replace(PERFECT, pressure_lag_s=0.15, position_lag_s=0.02)
    aligned = value(analyse(samples, profile_for(VALVE), told), "full_travel")
    ignored = value(analyse(samples, profile_for(VALVE), PERFECT), "full_travel")
    assert aligned == pytest.approx(TRUE["full_travel"], abs=0.02 * PSI)
    assert ignored < TRUE["full_travel"] - 0.08 * PSI


def test_drag_is_told_from_cycles_of_different_speed() -> None:
    dragging = replace(VALVE, more_drag_s=0.2)
    fast, slow = record(dragging, Rig(rate_pa_per_s=2 * PSI)), record(dragging, Rig(rate_pa_per_s=0.7 * PSI))
    joined = join(part(fast, fast.cycle <= 2), part(slow, slow.cycle == 3))
    result = analyse(joined, profile_for(VALVE), PERFECT)
    assert any("lags the pressure by 0.2" in note for note in result.notes)
    for key in ("full_travel", "reseat", "friction", "hysteresis"):
        assert value(result, key) == pytest.approx(TRUE[key], abs=0.02 * PSI, rel=0.02), key


def join(first: Samples, second: Samples) -> Samples:
    later = replace(second, time_s=second.time_s - second.time_s[0] + first.time_s[-1] + 0.02)
    names = ("time_s", "pressure_pa", "position_m", "output_pa", "supply_pa", "cycle", "stage")
    return Samples(**{n: np.concatenate((getattr(first, n), getattr(later, n))) for n in names})


def test_without_a_casing_transmitter_the_uncertainty_is_the_ips_and_it_is_said() -> None:
    inferred = replace(SENSORS, pressure_is_inferred=True, pressure_accuracy_pa=1.0 * PSI)
    result = analyse(record(replace(VALVE, more_drag_s=0.69), Rig()), profile_for(VALVE), inferred)
    quantity = result.quantities["lift_off"]
    assert value(result, "lift_off") == pytest.approx(TRUE["lift_off"], abs=0.3 * PSI)
    assert (quantity.expanded_uncertainty or 0.0) > 1.0 * PSI
    assert any("I/P" in component.source for component in quantity.budget)
    assert any("no transmitter for casing pressure" in note for note in result.notes)


def test_a_first_cycle_that_differs_is_left_out_and_told() -> None:
    tight = record(replace(VALVE, half_band_pa=1.1 * PSI), Rig(cycles=1))
    others = record(VALVE, Rig(cycles=4))
    joined = join(part(tight, tight.cycle <= 1), part(others, others.cycle >= 2))
    result = analyse(joined, profile_for(VALVE), PERFECT)
    assert value(result, "lift_off") == pytest.approx(TRUE["lift_off"], abs=0.03 * PSI)
    assert any("first cycle differs" in note for note in result.notes)


def test_the_budget_adds_up_and_names_its_sources() -> None:
    result = analyse(record(VALVE, Rig()), profile_for(VALVE), SENSORS)
    for key, quantity in result.quantities.items():
        total = sum(c.standard_uncertainty**2 for c in quantity.budget) ** 0.5
        assert quantity.standard_uncertainty == pytest.approx(total, rel=1e-9), key
        expanded = quantity.coverage_factor * total
        assert quantity.expanded_uncertainty == pytest.approx(expanded, rel=1e-9), key
        assert all(c.source for c in quantity.budget)
    load = {c.source for c in result.quantities["seat_load"].budget}
    assert "effective area of the diaphragm" in load
    corner = {c.source for c in result.quantities["lift_off"].budget}
    assert "accuracy of the pressure transmitter" in corner


@pytest.mark.parametrize("bow", [0.005, 0.015])
def test_a_bowed_spring_line_does_not_shift_the_ends(bow: float) -> None:
    result = analyse(record(replace(VALVE, bow=bow), Rig()), profile_for(VALVE), PERFECT)
    for key in (
        "lift_off",
        "full_travel",
        "return_start",
        "reseat",
        "spring_only_lower",
        "spring_only_upper",
    ):
        assert value(result, key) == pytest.approx(TRUE[key], abs=0.04 * PSI), key


def test_correlated_noise_widens_the_uncertainty() -> None:
    samples = record(VALVE, Rig(noise_m=0.0))
    random = np.random.default_rng(3)
    wander = np.empty(len(samples.time_s))
    state = 0.0
    for i, kick in enumerate(random.normal(size=len(wander)).tolist()):
        state = 0.95 * state + kick
        wander[i] = state
    wander *= 0.002 * INCH / wander.std()
    white = record(VALVE, Rig())
    drifting = replace(samples, position_m=samples.position_m + wander)
    u = [
        analyse(s, profile_for(VALVE), PERFECT).quantities["travel"].standard_uncertainty or 0.0
        for s in (white, drifting)
    ]
    assert u[1] > 2.0 * u[0]
