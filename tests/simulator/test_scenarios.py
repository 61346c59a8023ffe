"""Every scenario that comes with the simulator: it loads, runs, states the truth; and bad files are told."""

from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from rig.stand.model import Stand, Table
from simulator import scenario_truth
from simulator.faults.kinds import KINDS
from simulator.plant import Converter
from simulator.scenario import FOLDER, ScenarioProblem, load, names, read
from simulator.scenario_fields import TRUTH
from simulator.scenario_random import random_scenario
from simulator.truth import truth
from tests.simulator.ride import ride
from tests.simulator.second_rise import SLOW, Foot, second_rise
from tests.simulator.stands import INCH, PSI, stand

ROWS = {  # findings of a curve that every technician knows, mild and gross
    "slack-left-in", "tight-packing", "sticky-plug", "bent-stem", "galling", "wrong-spring",
    "adjuster-off", "short-travel",
    "plug-not-seated", "loose-connector", "leaking-diaphragm", "starved-supply", "soft-seat",
}  # fmt: skip
CURVES = [name for name in names() if not load(name).faults]
HEALTHY = [name for name in names() if name.startswith("healthy-")]


def big_stand() -> Stand:
    """Ranges wide enough for every scenario."""
    made = stand()
    wide = replace(made.stem_position, scale=replace(made.stem_position.scale, value_high=6 * INCH))
    return replace(made, stem_position=wide)


STAND = big_stand()


def test_there_are_healthy_ones_all_rows_mild_and_gross_and_every_fault() -> None:
    assert len(names()) >= 40
    for row in ROWS:
        assert {f"{row}-mild", f"{row}-gross"} <= set(names()), row
    used = {fault.kind for name in names() for fault in load(name).faults}
    assert len(used) >= 20
    assert set(KINDS) - used <= {"module silent"}


def test_there_is_a_healthy_one_for_every_profile() -> None:
    models = sorted(path.stem for path in (FOLDER.parents[1] / "profiles" / "valves").glob("*.yaml"))
    assert models
    assert [model for model in models if f"healthy-{model}" not in names()] == []


def test_every_file_states_exactly_what_the_command_generates(capsys: pytest.CaptureFixture[str]) -> None:
    assert scenario_truth.main(["--check"]) == 0
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    "spoil",
    [("lift_off: 10.000", "lift_off: 10.001"), ("  reseat: 8.600 psi\n", ""), ("area: 105", "area: 104")],
)
def test_a_truth_that_is_not_the_models_is_told_and_renewed(
    spoil: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shipped = (FOLDER / "healthy-brine-letdown.yaml").read_text(encoding="utf-8")
    file = tmp_path / "one.yaml"
    assert spoil[0] in shipped
    file.write_text(shipped.replace(*spoil), encoding="utf-8")
    assert scenario_truth.main(["--check", str(file)]) == 1
    assert capsys.readouterr().out == f"{file}\n"
    assert scenario_truth.main([str(file)]) == 0
    assert scenario_truth.main(["--check", str(file)]) == 0
    assert file.read_text(encoding="utf-8") == shipped or "area" in spoil[0]


@pytest.mark.parametrize("name", names())
def test_the_stand_runs_and_a_conclusion_is_stated(name: str) -> None:
    scenario = load(name)
    assert set(scenario.truth_stated) == set(TRUTH)
    assert scenario.conclusion
    made = scenario.make(STAND)
    made.write(1, Table.COILS, 0, [1, 1])
    made.write(1, Table.HOLDING, 0, [9000])
    made.advance(0.5)
    assert made.time_s == 0.5


@pytest.mark.parametrize("name", CURVES)
def test_the_foot_of_a_slow_second_stroke_is_as_stated(name: str) -> None:
    """Contact loss, lift-off of the plug, and what the seat bears."""
    scenario = load(name)
    true, seen = scenario.truth(), second_rise(scenario.actuator)
    sticks = scenario.actuator.friction.static_ratio > 1.0  # lets go all at once, and lands with a knock
    assert seen.contact_loss_pa == pytest.approx(true.contact_loss, abs=(0.2 if sticks else 0.1) * PSI)
    assert seen.plug_lifts_pa == pytest.approx(true.lift_off, abs=(0.1 if sticks else 0.05) * PSI)
    if scenario.actuator.action == "air-to-open":
        landing = 0.03 if sticks else 0.01  # of the load; a light one suffers more from the speed
        assert seen.rest.seat_n == pytest.approx(true.seat_load, rel=landing, abs=25.0)


def test_a_loose_connector_shows_a_second_corner() -> None:
    """The stem goes alone at low friction, stands while the plug's friction turns, and takes it along."""
    scenario = load("loose-connector-gross")
    true, a = scenario.truth(), scenario.actuator
    foot = Foot(a)
    seen = foot.go(true.lift_off + 1.0 * PSI, SLOW)
    slope = a.slope_n_per_m / a.area_m2
    own_pa = true.spring_only_lower + a.actuator_friction_share * a.friction.coulomb_n / a.area_m2
    alone = next(o for o in seen if o.stem_m > 0.7 * a.connector_play_m)
    assert alone.casing_pa - slope * alone.stem_m == pytest.approx(own_pa, abs=0.03 * PSI)
    assert alone.plug_m < 0.0
    together = seen[-1]
    assert together.stem_m - together.plug_m == pytest.approx(a.connector_play_m)
    assert together.casing_pa - slope * together.stem_m == pytest.approx(
        true.sliding_intercept, abs=0.03 * PSI
    )
    standing = [o for o in seen if -3e-5 <= o.stem_m - a.connector_play_m < 5e-5]
    assert standing[-1].casing_pa - standing[0].casing_pa > 0.4 * PSI  # 0.56 psi between the two lines


@pytest.mark.parametrize(
    "name", [n for n in HEALTHY if "intake" not in n] + ["tight-packing-mild", "short-travel-gross"]
)
def test_a_slow_ride_finds_the_stated_truth(name: str) -> None:
    scenario = load(name)
    true = scenario.truth()
    air = Converter(lag_s=0.05, supply_pa=100 * PSI, fill_conductance=5e-7, exhaust_conductance=5e-7)
    wide = replace(scenario.actuator, tubing_conductance=5e-7)
    r = ride(wide, true.full_travel + 2 * PSI, 3 * PSI, air, step_s=0.004)
    travel = scenario.actuator.travel_m
    found = [r.crossing_up(0.0), r.crossing_up(travel), r.crossing_down(travel), r.crossing_down(0.0)]
    expected = [true.sliding_intercept, true.full_travel, true.return_start, true.reseat]
    viscous = scenario.actuator.friction.viscous_n_s_per_m * 3 * PSI / true.spring_rate
    assert found == pytest.approx(expected, abs=0.05 * PSI + viscous)
    at_rated = r.crossing_up(min(scenario.actuator.rated_travel_m, travel))
    assert at_rated == pytest.approx(true.at_rated_travel, abs=0.05 * PSI + viscous)
    assert max(r.stem_m) - min(r.stem_m) == pytest.approx(true.travel, rel=0.01)


def test_slack_left_in_and_set_right_reads_like_a_healthy_valve_but_for_its_seat() -> None:
    healthy, hidden = truth(load("healthy-brine-letdown").actuator), load("slack-left-in-hidden").truth()
    assert hidden.lift_off == pytest.approx(healthy.lift_off)
    assert hidden.travel == pytest.approx(healthy.travel)
    assert (hidden.seat_load, hidden.slack) == (0.0, 0.0)
    made = load("slack-left-in-hidden").make(STAND)
    made.advance(1.0)
    assert made.outputs.seat_n == 0.0
    sound = load("healthy-brine-letdown").make(STAND)
    sound.advance(1.0)
    assert sound.outputs.seat_n > 1000.0


def test_all_that_is_wrong_with_a_file_is_told_at_once() -> None:
    text = yaml.safe_dump(
        {
            "title": "x",
            "actuator": {"area": "69", "rated_travel": "1 in", "lower": "8 psi", "upper": "30 in", "leg": 1},
            "condition": {"rust": 1},
            "faults": [{"kind": "gremlins"}, {"kind": "stem jams", "start": {"moon": "full"}}],
            "colour": "red",
        }
    )
    with pytest.raises(ScenarioProblem) as told:
        read(text, "bad")
    for part in ("conclusion", "'69' has no unit", "30 in", "leg", "gremlins", "moon", "colour"):
        assert part in str(told.value), part


def test_an_unknown_name_is_told_with_those_that_there_are() -> None:
    with pytest.raises(ScenarioProblem, match=r"no scenario 'zzz'.*healthy-brine-letdown"):
        load("zzz")


def test_a_name_misspelt_is_told_with_the_nearest() -> None:
    with pytest.raises(ScenarioProblem, match=r"the nearest are: (.*, )?healthy-brine-letdown") as told:
        load("brine-letdown")
    assert "leaking-diaphragm-mild" not in str(told.value)


def test_text_that_is_no_yaml_is_told() -> None:
    with pytest.raises(ScenarioProblem, match="not readable"):
        read("a: [1", "bad")


def test_random_scenarios_repeat_with_their_seed_and_keep_their_ranges() -> None:
    assert random_scenario(5) == random_scenario(5)
    assert random_scenario(5) != random_scenario(6)
    drawn = [random_scenario(seed) for seed in range(400)]
    assert 0.42 < sum(s.finding == "healthy" for s in drawn) / 400 < 0.58
    assert len({s.finding for s in drawn}) > 30
    for s in drawn:
        assert 30 <= s.actuator.area_m2 / INCH**2 <= 220.001
        assert s.supply_pa is not None
        if s.finding == "healthy":
            assert s.supply_pa > truth(s.actuator).full_travel
            assert truth(s.actuator).reseat > 0.0
            assert truth(s.actuator).seat_load >= 0.0


def test_larger_random_actuators_tend_to_longer_travel_and_wider_tubing() -> None:
    drawn = sorted((random_scenario(seed).actuator for seed in range(300)), key=lambda a: a.area_m2)
    small, large = drawn[:100], drawn[-100:]
    for part in ("rated_travel_m", "moving_mass_kg", "tubing_conductance", "casing_volume_m3"):
        mean_small, mean_large = (sum(getattr(a, part) for a in group) / 100 for group in (small, large))
        assert mean_large > 1.3 * mean_small, part
