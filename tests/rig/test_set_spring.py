"""Setting the spring: advice that fits, learning from the response, and reasons where turning is no cure."""

from dataclasses import dataclass, replace

import pytest

from rig.analysis.adjuster import PerTurn, Turned, advised_turns, learned_per_turn, turns_text
from rig.procedure.conductor import Logged
from rig.procedure.set_spring import SetSpring, SpringSetting
from rig.profile.model import Profile, Tolerance
from rig.stand.run import How
from rig.stand.sample import Sample
from simulator import Actuator, actuator_for
from simulator.plant import Converter
from simulator.truth import truth
from tests.campaign import spring as campaign
from tests.rig.guided_bench import Line, Script, machine_for, ride
from tests.rig.plain_bench import PlainStand, ride_plain
from tests.rig.stands import stand
from tests.rig.synthetic import SENSORS, IdealValve, profile_for

PSI, INCH = 6894.757293168361, 0.0254
PITCH_M = 2e-3


def profile(**changes: object) -> Profile:
    """105 in2, 1-1/8 in, 10.5 to 30.5 psi friction included; a turn of 2 mm shifts it by 1.4 psi."""
    return profile_for(IdealValve(), **({"adjuster_pitch_m": PITCH_M} | changes))


def actuator(turned: float, given: Profile | None = None, **changes: object) -> Actuator:
    p = given or profile()
    base = actuator_for(
        area_m2=p.area_m2,
        rated_travel_m=p.rated_travel_m,
        lower_pa=p.bench_lower_pa,
        upper_pa=p.bench_upper_pa,
        friction_fraction=0.025,
    )
    return replace(base, adjuster_pitch_m=PITCH_M, **changes).turned(turned)  # type: ignore[arg-type]


@dataclass
class Set:
    setting: SpringSetting
    script: Script
    log: list[Logged]
    off_psi: float  # true, as left


def set_on(valve: Actuator, given: Profile, share: float = 1.0, key: str = "", **options: object) -> Set:
    """On the plain plant; `share` of every turn arrives."""
    guided = SetSpring(profile=given, sensors=SENSORS, highest_pa=40 * PSI, **options)  # type: ignore[arg-type]
    hands = Line(
        "Turn the adjuster", key=key, act=lambda machine: machine.turn_adjuster(share * guided.asked_turns)
    )
    machine = PlainStand(valve, Converter(supply_pa=45 * PSI, full_scale_pa=60 * PSI), seed=1)
    script = Script([hands])
    done = ride_plain(machine, guided, guided.run(), script)
    off = (truth(machine.actuator).lift_off - given.bench_lower_pa) / PSI
    return Set(done.value, script, done.log, off)


def test_under_the_guard_on_the_whole_stand() -> None:
    given = profile()
    guided = SetSpring(profile=given, sensors=SENSORS, highest_pa=40 * PSI)
    hands = Line("Turn the adjuster", act=lambda machine: machine.turn_adjuster(guided.asked_turns))
    done = ride(machine_for(stand(), actuator(1.5)), given, guided, guided.run(), Script([hands]))
    assert done.ended.how is How.FINISHED
    assert done.ended.vented
    assert not done.ended.trips
    assert done.ended.value.within


@pytest.mark.parametrize("turned", [1.5, -1.5])
def test_one_adjustment_sets_it_and_the_sequence_is_kept(turned: float) -> None:
    done = set_on(actuator(turned), profile())
    setting = done.setting
    assert setting.within
    assert setting.adjustments == 1
    assert abs(done.off_psi) < 0.25
    assert setting.as_found.judged.value - setting.target_pa == pytest.approx(turned * 1.42 * PSI, rel=0.06)
    assert setting.as_left.turns == pytest.approx(-turned, abs=0.126)
    facts = [entry.told.text for entry in done.log if entry.told.kind == "fact"]
    assert facts[0].startswith("Lower end as found")
    assert facts[1].startswith("Lower end after adjustment 1")


def test_the_prompt_tells_turns_direction_pressure_and_caution() -> None:
    done = set_on(actuator(1.0), profile())
    prompt = done.script.shown[0].prompt
    assert prompt is not None
    assert prompt.title == "Turn the adjuster 1 turn OUT (loosen)"
    assert "It should then lift at about 10." in prompt.text
    assert "never take the adjuster out" in prompt.caution
    assert prompt.hold.vent
    assert prompt.large is not None
    assert prompt.large.name == "casing pressure"


def test_no_wrench_before_the_air_is_proven_gone() -> None:
    """At the prompt the true casing pressure is zero and the vent is open."""
    pressures = []
    guided = SetSpring(profile=profile(), sensors=SENSORS, highest_pa=40 * PSI)

    def turn(machine: object) -> None:
        pressures.append(machine.outputs.casing_pa)  # type: ignore[attr-defined]
        machine.turn_adjuster(guided.asked_turns)  # type: ignore[attr-defined]

    script = Script([Line("Turn the adjuster", act=turn, after_s=0.1)])
    ride(machine_for(stand(), actuator(2.0)), profile(), guided, guided.run(), script)
    assert pressures
    assert max(pressures) < 0.3 * PSI


def test_pressure_that_does_not_go_means_no_prompt() -> None:
    """The vent is stuck from the first stroke on: the prompt for the wrench never opens."""
    machine, given = machine_for(stand(), actuator(2.0)), profile()
    guided = SetSpring(profile=given, sensors=SENSORS, highest_pa=40 * PSI)

    def stuck(sample: Sample) -> None:
        if sample.reading.pressure.value > 8 * PSI:
            machine.condition.exhaust_factor, machine.condition.vent_valve_stuck = 0.0, True

    done = ride(machine, given, guided, guided.run(), Script([]), each=stuck)
    assert not any(title.startswith("Turn") for title in done.prompts())
    assert done.ended.trips, "and the guard says that the pressure does not fall"


def test_a_wrong_thread_is_noticed_told_and_allowed_for() -> None:
    given = profile(adjuster_pitch_m=1.25e-3)  # really 2 mm
    done = set_on(actuator(2.0, given), given)
    setting = done.setting
    assert setting.within
    assert setting.adjustments == 2
    assert any("not 1.25 mm" in remark for remark in setting.remarks)


def test_an_unknown_thread_is_learned_from_one_turn() -> None:
    given = profile(adjuster_pitch_m=None)
    done = set_on(actuator(2.5, given), given)
    setting = done.setting
    assert setting.within
    assert [abs(look.turns) for look in setting.looks][:2] == [0.0, 1.0]
    assert any("One turn moves lift-off by" in remark for remark in setting.remarks)


def test_an_adjuster_that_works_the_other_way_round_is_noticed() -> None:
    done = set_on(actuator(1.0), profile(), share=-1.0)
    setting = done.setting
    assert setting.within
    assert any("other way round" in remark for remark in setting.remarks)


def test_turns_that_never_arrive_end_it_with_the_reason() -> None:
    done = set_on(actuator(2.0), profile(), share=0.0)
    setting = done.setting
    assert not setting.within
    assert "do not arrive" in setting.why


def test_a_wrong_spring_is_not_turned_at() -> None:
    given = profile()
    valve = actuator(0.0, given)
    stiff = replace(valve, spring_rate_n_per_m=1.4 * valve.spring_rate_n_per_m)
    setting = set_on(stiff, given).setting
    assert not setting.within
    assert setting.adjustments == 0
    assert "wrong spring" in setting.why


def test_friction_that_leaves_no_seat_load_is_not_turned_at() -> None:
    given = profile(required_seat_load_n=2800.0)  # 10.5 psi less a band of 1 psi on 105 in2: 4440 N
    tight = replace(actuator(1.0, given).friction, coulomb_n=105 * INCH**2 * 2.5 * PSI)
    setting = set_on(actuator(1.0, given, friction=tight), given).setting
    assert not setting.within
    assert "Mend the friction" in setting.why


def test_never_past_the_end_of_the_adjuster() -> None:
    setting = set_on(actuator(3.0), profile(), turns_left=(2.0, 2.0)).setting
    assert not setting.within
    assert "out of its reach" in setting.why
    assert setting.adjustments == 0


def test_never_asks_for_a_loose_spring() -> None:
    given = profile(bench_lower_pa=0.9 * PSI, bench_upper_pa=20.9 * PSI, lower_tolerance=Tolerance(0.0, 0.0))
    valve = actuator(0.0, given)
    setting = set_on(replace(valve, preload_n=valve.preload_n + 3000.0), given).setting
    assert not setting.within
    assert "loose" in setting.why or "come back" in setting.why or "could not be read" in setting.why


def test_it_cannot_be_turned_ends_it() -> None:
    setting = set_on(actuator(2.0), profile(), key="n").setting
    assert "could not be turned" in setting.why


def test_within_tolerance_as_found_asks_for_nothing() -> None:
    done = set_on(actuator(0.1), profile())
    assert done.setting.within
    assert done.script.shown == []


@pytest.mark.parametrize(
    ("turns", "text"),
    [
        (1.25, "1-1/4 turns"),
        (-0.125, "1/8 turn"),
        (1.0, "1 turn"),
        (0.5, "1/2 turn"),
        (-2.375, "2-3/8 turns"),
    ],
)
def test_turns_in_words(turns: float, text: str) -> None:
    assert turns_text(turns) == text


def test_turns_are_the_force_balance() -> None:
    """A dP / (k pitch): 105 in2 x 2 psi / (1866.7 lbf/in x 0.0787 in) = 1.43 -> 1-3/8 turns out."""
    per_turn = PerTurn(105 * INCH**2, 0.0, learned=False)  # not used: the figure below is worked by hand
    slope_pa_per_m = 20 * PSI / (1.125 * INCH)  # k / A = (1866.7 lbf/in) / (105 in2)
    per_turn = PerTurn(slope_pa_per_m * PITCH_M, 0.0, learned=False)
    assert advised_turns(2 * PSI, per_turn, per_turn) == -1.375


def test_late_turns_are_not_believed_entirely_and_never_asked_for_beyond_twice() -> None:
    expected = PerTurn(1.0, 0.1, learned=False)
    half = learned_per_turn([Turned(-2.0, 12.0, 11.0)], expected)
    assert half is not None
    assert 0.5 < half.value < 0.65
    tenth = PerTurn(0.1, 0.01, learned=True)
    assert advised_turns(1.0, tenth, expected) == -2.0


def test_short_campaign() -> None:
    """The long form: python -m tests.campaign.spring 0 500."""
    done = [campaign.run(campaign.draw(seed)) for seed in range(6)]
    text = campaign.told(done)
    assert sum(d.within for d in done) >= 5, text
    assert not any(d.worse for d in done), text
    assert not [d for d in done if d.setting.within and not d.within], text


def test_the_transmitters_own_error_is_in_what_set_is_decided_on() -> None:
    """As in the check that follows; a rectangular half width (GUM 4.3.7)."""
    done = set_on(actuator(1.5), profile())
    least = SENSORS.pressure_accuracy_pa / 3.0**0.5
    for look in done.setting.looks:
        lift = look.stroke.lift_off_pa
        assert lift is not None
        assert look.judged.standard_uncertainty == pytest.approx(
            (lift.standard_uncertainty**2 + least**2) ** 0.5
        )
