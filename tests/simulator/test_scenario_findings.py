"""Scenarios are what they say: healthy ones meet their profile, rows show their finding, faults act."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

import pytest
import yaml

from rig.profile.load import load_profile
from rig.profile.model import Basis, Profile
from rig.stand.model import Stand, Table
from simulator import NoAnswer, Refused
from simulator.plant import rest_position
from simulator.scenario import FOLDER, Scenario, load, names, read
from tests.simulator.stands import INCH, PSI, stand

MODELS = sorted(path.stem for path in (FOLDER.parents[1] / "profiles" / "valves").glob("*.yaml"))
HEALTHY = [name for name in names() if name.startswith("healthy-")]


def model_of(name: str) -> str:
    return next(model for model in MODELS if name.startswith(f"healthy-{model}"))


# -- healthy -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", HEALTHY)
def test_a_healthy_one_is_rated_as_its_profile(name: str) -> None:
    profile, scenario = load_profile(model_of(name)), load(name)
    a = scenario.actuator
    assert a.action == profile.action.value
    assert profile.actuator_stroke_m is not None
    rated = (profile.area_m2, profile.rated_travel_m, profile.actuator_stroke_m)
    assert (a.area_m2, a.rated_travel_m, a.stroke_m) == pytest.approx(rated)
    assert scenario.finding == "healthy"
    assert scenario.faults == ()


@pytest.mark.parametrize("name", HEALTHY)
def test_a_healthy_one_can_be_handed_back(name: str) -> None:
    """Within the profile's tolerances, never short, enough seat load and enough air."""
    profile, scenario = load_profile(model_of(name)), load(name)
    true = scenario.truth()
    lower, upper = ends(profile, scenario)
    assert -profile.lower_tolerance.minus <= lower - profile.bench_lower_pa <= profile.lower_tolerance.plus
    assert -profile.upper_tolerance.minus <= upper - profile.bench_upper_pa <= profile.upper_tolerance.plus
    assert 0.0 <= true.travel - profile.rated_travel_m <= profile.travel_surplus_m
    assert true.seat_load >= (profile.needed_seat_load_n or 0.0)
    assert true.slack > 0.0
    assert true.full_travel < (scenario.supply_pa or inf)


def ends(profile: Profile, scenario: Scenario) -> tuple[float, float]:
    """Lower and upper end on the profile's basis [Pa], the upper one at rated travel."""
    true, a = scenario.truth(), scenario.actuator
    band = a.friction.coulomb_n / a.area_m2 if profile.basis is Basis.FRICTION_INCLUDED else 0.0
    return true.spring_only_lower + band, true.spring_only_upper + band


# -- the rows of what a curve says -------------------------------------------------------------------------


def as_rated(name: str) -> Scenario:
    """The same valve with nothing wrong."""
    data = yaml.safe_load((FOLDER / f"{name}.yaml").read_text(encoding="utf-8"))
    data.pop("condition", None)
    return read(yaml.safe_dump(data), name)


def gap(s: Scenario, sound: Scenario) -> float:
    """Widest gap of the lines, times that of the sound valve, less one."""
    return s.truth().hysteresis / sound.truth().hysteresis - 1.0


def uneven(s: Scenario, sound: Scenario) -> float:
    a = s.actuator
    factors = [a.friction.factor_at(a.travel_m * i / 40) for i in range(41)]
    return max(factors) / min(factors) - 1.0


def ends_apart(s: Scenario, sound: Scenario) -> float:
    """Both ends off in opposite ways [psi]; 0 where they are not."""
    lower = s.truth().spring_only_lower - sound.truth().spring_only_lower
    upper = s.truth().spring_only_upper - sound.truth().spring_only_upper
    return abs(upper - lower) / PSI if lower * upper < 0.0 else 0.0


def ends_alike(s: Scenario, sound: Scenario) -> float:
    """Both ends shifted alike, the rate right [psi]; 0 where they are not."""
    lower = s.truth().spring_only_lower - sound.truth().spring_only_lower
    upper = s.truth().spring_only_upper - sound.truth().spring_only_upper
    same = abs(lower - upper) < 1.0 and s.truth().spring_rate == sound.truth().spring_rate
    return abs(lower) / PSI if same else 0.0


def short(s: Scenario, sound: Scenario) -> float:
    """Travel below rated [in], at the right rate and an upper pressure that is low."""
    low = s.truth().full_travel < sound.truth().full_travel
    return (s.actuator.rated_travel_m - s.truth().travel) / INCH if low else 0.0


def stem_sunk(s: Scenario, sound: Scenario) -> float:
    """How much deeper the stem rests than on the sound seat [mm]."""
    return 1e3 * (rest_position(sound.actuator) - rest_position(s.actuator))


def starved(s: Scenario, sound: Scenario) -> float:
    """What the air lacks above full travel to be 2 psi [psi]."""
    assert s.supply_pa is not None
    return (s.truth().full_travel + 2 * PSI - s.supply_pa) / PSI


# row -> (what it shows, at least so much in the mild form, and in the gross one)
SHOWS: dict[str, tuple[Callable[[Scenario, Scenario], float], float, float]] = {
    "tight-packing": (gap, 0.5, 3.0),
    "sticky-plug": (lambda s, _: s.truth().break_away_step / PSI, 0.1, 0.5),
    "bent-stem": (uneven, 0.3, 1.5),
    "galling": (uneven, 0.3, 1.5),
    "wrong-spring": (ends_apart, 0.5, 3.0),
    "adjuster-off": (ends_alike, 0.4, 2.0),
    "short-travel": (short, 0.02, 0.1),
    "plug-not-seated": (lambda s, o: (s.truth().travel - o.truth().travel) / INCH, 0.02, 0.1),
    "slack-left-in": (lambda s, o: 1.0 - s.truth().seat_load / o.truth().seat_load, 0.3, 1.0),
    "loose-connector": (lambda s, _: s.actuator.connector_play_m / INCH, 0.01, 0.05),
    "leaking-diaphragm": (lambda s, _: s.actuator.leak_conductance * 1e8, 0.001, 0.1),  # dm3/(s bar)
    "starved-supply": (starved, 0.5, 4.0),
    "soft-seat": (stem_sunk, 0.02, 0.1),
}  # fmt: skip


@pytest.mark.parametrize("row", SHOWS)
def test_a_row_shows_its_finding_mildly_and_grossly(row: str) -> None:
    shown, mild, gross = SHOWS[row]
    got = {form: shown(load(f"{row}-{form}"), as_rated(f"{row}-{form}")) for form in ("mild", "gross")}
    assert got["mild"] >= mild
    assert got["gross"] >= max(gross, 1.4 * got["mild"])


@pytest.mark.parametrize("row", sorted(set(SHOWS) - {"starved-supply"}))
def test_a_valve_with_nothing_wrong_does_not_show_it(row: str) -> None:
    sound = as_rated(f"{row}-mild")
    assert abs(SHOWS[row][0](sound, sound)) < SHOWS[row][1]


def test_enough_air_is_not_starved() -> None:
    assert starved(load("healthy-brine-letdown"), load("healthy-brine-letdown")) < SHOWS["starved-supply"][1]


# -- faults ------------------------------------------------------------------------------------------------


FAULTY = [name for name in names() if load(name).faults]
SCAN_S = 0.25
UNSEEN = {"fault-answers-twice"}  # a client in process has nothing that could come twice: see test_serve.py


def wide_stand() -> Stand:
    """Ranges wide enough for every scenario."""
    made = stand()
    return replace(
        made,
        stem_position=replace(
            made.stem_position, scale=replace(made.stem_position.scale, value_high=6 * INCH)
        ),
        demand_output=replace(
            made.demand_output, scale=replace(made.demand_output.scale, value_high=100 * PSI)
        ),
    )


@dataclass(frozen=True)
class Drive:
    """What a client saw, scan by scan, and when each fault began [s]."""

    seen: list[object]
    began_s: list[float | None]


def drive(scenario: Scenario, strokes: int = 2) -> Drive:
    """Up 5 psi beyond full travel and down again."""
    s = scenario.make(wide_stand())
    top = (scenario.truth().full_travel / PSI + 5.0) / 100.0
    stroke_s = (
        20.0 + 4000.0 * scenario.actuator.area_m2 * scenario.actuator.stroke_m
    )  # much air takes its time
    seen: list[object] = []
    for i in range(1, round(strokes * stroke_s / SCAN_S) + 1):
        phase = (i * SCAN_S % stroke_s) / stroke_s
        share = top * min(1.0, 2.8 * min(phase, 1.0 - phase))
        s.advance(i * SCAN_S)
        try:
            got: object = s.read(1, Table.INPUT, 0, 4), s.read(1, Table.DISCRETE, 0, 4)
            s.write(1, Table.HOLDING, 0, [round(4000 + 16000 * share)])
            s.write(1, Table.COILS, 0, [1, 1] if 0.02 < phase < 0.98 else [0, 0])
        except (NoAnswer, Refused) as nothing:
            got = type(nothing)
        seen.append(got)
    return Drive(seen, [one.began_s for one in s.faults.running])


SOUND: dict[str, Drive] = {}  # many scenarios have the same valve


def drive_without(scenario: Scenario) -> Drive:
    sound = replace(scenario, name="", title="", conclusion="", finding="", faults=(), truth_stated={})
    key = repr(sound)
    SOUND[key] = SOUND.get(key) or drive(sound)
    return SOUND[key]


@pytest.mark.parametrize("name", FAULTY)
def test_every_fault_of_a_scenario_begins_and_acts_and_not_before(name: str) -> None:
    scenario = replace(load(name), seed=1)
    with_it, without = drive(scenario), drive_without(scenario)
    assert None not in with_it.began_s
    first = min(began for began in with_it.began_s if began is not None)
    differs = [i for i, (a, b) in enumerate(zip(with_it.seen, without.seen, strict=True), 1) if a != b]
    if name in UNSEEN:
        assert differs == []
        return
    assert differs, "nobody could tell"
    assert differs[0] * SCAN_S >= first
