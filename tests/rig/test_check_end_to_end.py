"""The check as its user runs it: exit codes, the JSON object, the record, the errors against the truth."""

import json
from pathlib import Path

import pytest

from rig.analysis.result import QUANTITIES
from rig.cli.main import main
from rig.cli.session import demo_actuator
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import plan_ramp
from rig.profile.load import load_profile, shipped_profiles
from rig.stand.clock import VirtualClock
from rig.stand.file import load_stand
from rig.stand.limits import limits_for
from rig.stand.link import InProcessBus
from rig.stand.loop import ScanLoop
from rig.stand.outputs import Outputs
from rig.stand.run import How, run_inline
from rig.stand.sample import Sample
from rig.stand.scanner import Scanner
from rig.units import QUANTITY_DIMENSION, UNIT_SETS
from safety.state import PersonEvent
from simulator import Fault, SimulatedStand, Trigger

PSI = UNIT_SETS["psi"]


def check(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> tuple[int, dict[str, object]]:
    code = main(["check", *words, "--json", "--records", str(folder)])
    return code, json.loads(capsys.readouterr().out)


def truth_in_psi(profile_name: str) -> dict[str, float]:
    profile, stand = load_profile(profile_name), load_stand("simulated")
    found = SimulatedStand(stand, demo_actuator(profile)).truth
    told = {key: PSI.to(QUANTITY_DIMENSION[key], getattr(found, key)) for key in QUANTITIES}
    if profile.action.value == "air-to-open":  # reached at rated travel, before the stop
        beyond_m = max(0.0, found.travel - profile.rated_travel_m)
        at_rated = found.full_travel - found.spring_rate * beyond_m / profile.area_m2
        told["full_travel"] = PSI.to(QUANTITY_DIMENSION["full_travel"], at_rated)
    if profile.action.value == "air-to-close":  # seat load is told at the valve's supply, not the stand's
        at_supply = profile.area_m2 * (profile.supply_pa - found.full_travel)
        told["seat_load"] = PSI.to(QUANTITY_DIMENSION["seat_load"], at_supply)
    return told


@pytest.mark.parametrize("name", sorted(shipped_profiles()))
def test_every_shipped_model_is_measured_within_its_uncertainty(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, result = check(capsys, tmp_path, name, "--instant", "--cycles", "1")
    assert code == 0, result["trips"]
    truth = truth_in_psi(name)
    for key in ("lift_off", "full_travel", "return_start", "reseat", "friction", "spring_rate"):
        got = result["quantities"][key]  # type: ignore[index]
        assert abs(got["value"] - truth[key]) <= got["uncertainty"], (key, got, truth[key])


def test_the_result_object_holds_every_quantity_and_where_the_record_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, result = check(capsys, tmp_path, "--instant", "--cycles", "1", "--units", "bar")
    keys = {"outcome", "basis", "cycles", "quantities", "performance", "trips", "advice", "record"}
    assert set(result) == keys
    quantities = result["quantities"]
    assert tuple(quantities) == QUANTITIES  # type: ignore[arg-type]
    assert quantities["lift_off"]["unit"] == "bar"  # type: ignore[index]
    folder = Path(str(result["record"]))
    names = {path.name for path in folder.iterdir()}
    assert {"samples.csv", "events.csv", "profile.yaml", "stand.yaml", "result.json", "sheet.html"} <= names


def test_redo_makes_the_same_result_from_the_record_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, result = check(capsys, tmp_path, "--instant", "--cycles", "1")
    assert main(["redo", str(result["record"]), "--json"]) == code
    assert json.loads(capsys.readouterr().out) == result


def test_over_real_modbus_tcp_the_numbers_are_those_of_virtual_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, instant = check(capsys, tmp_path, "--instant", "--cycles", "1")
    code, wired = check(capsys, tmp_path, "--cycles", "1")
    assert code == 0
    for key in QUANTITIES:
        one, other = (result["quantities"][key] for result in (instant, wired))  # type: ignore[index]
        assert abs(one["value"] - other["value"]) <= one["uncertainty"] + other["uncertainty"], key


def test_a_cap_that_leaves_nothing_to_measure_is_refused_before_anything_moves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--instant", "--cap", "1 psi", "--records", str(tmp_path)]) == 2
    assert "nothing was moved" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_an_unknown_profile_and_a_cap_without_unit_are_the_persons_mistakes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "no-such-valve", "--records", str(tmp_path)]) == 2
    assert main(["check", "--instant", "--cap", "30", "--records", str(tmp_path)]) == 2
    assert "has no unit" in capsys.readouterr().err


def test_a_stand_that_does_not_answer_is_told_with_its_own_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (Path("profiles/stands/simulated.yaml")).read_text()
    plain = tmp_path / "unplugged.yaml"
    plain.write_text(text.replace("built_in: yes", "built_in: no").replace("port: 5020", "port: 1"))
    assert main(["check", "--stand", str(plain), "--yes", "--records", str(tmp_path / "records")]) == 5
    assert "127.0.0.1:1" in capsys.readouterr().err


class Bench:
    """The check in virtual time with a hand on the stand: `act(time_s, stand)` is called every scan."""

    def __init__(self, *faults: Fault) -> None:
        self.profile, self.stand = load_profile("brine-letdown"), load_stand("simulated")
        self.machine = SimulatedStand(self.stand, demo_actuator(self.profile), faults=faults)
        clock = VirtualClock(lambda passed_s: self.machine.advance(self.machine.time_s + passed_s))
        buses = {name: InProcessBus(self.machine) for name in self.stand.links}
        self.scanner = Scanner(self.stand, buses, clock)
        self.scanner.connect()
        self.limits = limits_for(self.profile, self.stand)
        self.loop = ScanLoop(self.scanner, Outputs(self.stand, buses, clock), clock, self.limits)
        self.samples: list[Sample] = []
        plan = plan_ramp(self.profile, self.limits.demand_max_pa)
        self.check = BenchCheck(self.profile, plan, cycles=1)
        self.orders: list[tuple[float, PersonEvent]] = []

    def person(self) -> PersonEvent | None:
        now_s = self.samples[-1].reading.time_s if self.samples else 0.0
        if self.orders and now_s >= self.orders[0][0]:
            return self.orders.pop(0)[1]
        return None


def test_a_pressed_emergency_stop_trips_and_vents() -> None:
    bench = Bench()

    def on_sample(sample: Sample) -> None:
        bench.samples.append(sample)
        if sample.reading.time_s > 15.0:
            bench.machine.press_emergency_stop()

    ended = run_inline(bench.loop, bench.check.run(), on_sample)
    assert ended.how is How.TRIPPED
    assert "emergency stop" in ended.trips[0].text.lower()
    assert ended.vented
    assert bench.machine.outputs.casing_pa < 0.5 * 6894.757
    tripped = next(s for s in bench.samples if s.mode == "tripped")
    assert tripped.command.vent_open
    assert tripped.command.output_pa == 0.0


@pytest.mark.parametrize(
    ("share", "ends", "code"),
    [
        (0.0, How.TRIPPED, "supply lost"),
        (0.1, How.TRIPPED, "supply lost"),  # 8 psi: below the rated lift-off of 10 psi
        (0.6, How.FINISHED, None),
        (1.2, How.FINISHED, None),
        (1.3, How.TRIPPED, "supply too high"),  # 104 psi: above 1.25 times the 80 psi that are nominal
    ],
)
def test_a_supply_that_goes_away_or_runs_off_under_way_trips(
    share: float, ends: How, code: str | None
) -> None:
    bench = Bench(Fault("supply low", share, start=Trigger(time_s=8.0)))
    ended = run_inline(bench.loop, bench.check.run(), bench.samples.append)
    assert (ended.how, ended.vented) == (ends, True)
    assert [trip.code for trip in ended.trips[:1]] == ([code] if code else [])


def test_the_first_interrupt_vents_in_order_and_the_second_at_once() -> None:
    slow, quick = Bench(), Bench()
    slow.orders = [(15.0, PersonEvent.STOP)]
    quick.orders = [(15.0, PersonEvent.STOP), (15.1, PersonEvent.SAFE_NOW)]
    ended = run_inline(slow.loop, slow.check.run(), slow.samples.append, person=slow.person)
    assert (ended.how, ended.vented, ended.trips) == (How.STOPPED, True, ())
    again = run_inline(quick.loop, quick.check.run(), quick.samples.append, person=quick.person)
    assert again.how is How.STOPPED
    assert again.trips[0].code == "ordered safe"
    assert quick.samples[-1].reading.time_s < slow.samples[-1].reading.time_s


def test_the_casing_never_goes_above_the_cap() -> None:
    bench = Bench()
    highest = 0.0

    def on_sample(sample: Sample) -> None:
        nonlocal highest
        highest = max(highest, bench.machine.outputs.casing_pa)

    ended = run_inline(bench.loop, bench.check.run(), on_sample)
    assert ended.how is How.FINISHED
    assert 30 * 6894.757 < highest <= bench.limits.pressure_max_pa.value
