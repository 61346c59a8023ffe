"""No more cycles than it takes to be certain, and what is said where more would or would not help."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from rig.analysis.check import analyse
from rig.analysis.result import Component, Outcome, Quantity
from rig.analysis.samples import Samples
from rig.analysis.sequential import cycles_to_decide, is_certain
from rig.cli.main import main
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import Planner, plan_ramp
from rig.profile.load import profile_text
from rig.report.cycle_words import more_cycles_lines
from rig.units import UNIT_SETS

from .made_up import PROFILE as VALVE
from .made_up import made_up_result
from .quasi_static import QuasiStaticValve
from .test_bench_check import HIGHEST_PA, PROFILE
from .test_planner import SENSORS

Told = pytest.CaptureFixture[str]
PSI = 6894.757


def quantity(outcome: Outcome, conformity: float | None) -> Quantity:
    return Quantity("lift_off", 1.0, 0.1, (0.0, 2.0), outcome, conformity=conformity)


def result_with(*judged: Quantity):  # type: ignore[no-untyped-def]
    free = Quantity("friction", 1.0, 0.1, None, Outcome.NOT_JUDGED)
    quantities = {f"q{number}": one for number, one in enumerate((*judged, free))}
    return replace(made_up_result(), quantities=quantities)


@pytest.mark.parametrize(
    ("judged", "certain"),
    [
        ([(Outcome.PASS, 0.99), (Outcome.PASS, 0.98)], True),
        ([(Outcome.PASS, 0.99), (Outcome.FAIL, 0.01)], True),  # a sure fail is certain, too
        ([(Outcome.PASS, 0.99), (Outcome.UNDECIDED, 0.6)], False),
        ([(Outcome.PASS, 0.99), (Outcome.NOT_MEASURED, None)], False),
        ([(Outcome.PASS, 0.8)], False),  # shared risk decides by the value: that is not certain
        ([], False),  # nothing was judged: nothing is certain
    ],
)
def test_certain_is_every_judged_quantity_and_nothing_less(
    judged: list[tuple[Outcome, float | None]], certain: bool
) -> None:
    assert is_certain(result_with(*(quantity(*one) for one in judged))) is certain


def near_a_limit(scatter: float, rest: float) -> Quantity:
    """0.3 within its upper limit."""
    budget = (Component("scatter", scatter, statistical=True), Component("accuracy of the gauge", rest))
    u = (scatter**2 + rest**2) ** 0.5
    return Quantity("lift_off", 1.7, 2 * u, (0.0, 2.0), Outcome.UNDECIDED, coverage_factor=2.0, budget=budget)


def test_how_many_cycles_would_decide() -> None:
    # By hand: (0.3/2)^2 - 0.1^2 = 0.0125; 2 cycles * 0.2^2 / 0.0125 = 6.4, so 7.
    assert cycles_to_decide(near_a_limit(0.2, 0.1), 2) == 7
    assert cycles_to_decide(near_a_limit(0.2, 0.15), 2) is None  # what does not average out is too much
    assert cycles_to_decide(near_a_limit(0.4, 0.1), 2) is None  # 26: nobody waits for that


def test_what_stands_in_the_way_is_named() -> None:
    for scatter, rest, words in (
        (0.2, 0.1, "--cycles 7 may decide it"),
        (0.05, 0.2, "more cycles would not help"),
    ):
        one = near_a_limit(scatter * PSI, rest * PSI)
        one = replace(one, value=1.7 * PSI, limits=(0.0, 2.0 * PSI))
        result = replace(made_up_result(), quantities={"lift_off": one}, cycles=({}, {}))
        (line,) = more_cycles_lines(result, VALVE.action, UNIT_SETS["psi"])
        assert words in line
    assert "accuracy of the gauge" in line


def ran(judge: Callable[[Samples, int], str], cycles: int) -> tuple[int, BenchCheck]:
    check = BenchCheck(PROFILE, plan_ramp(PROFILE, HIGHEST_PA), cycles=cycles, judge=judge)
    valve, steps = QuasiStaticValve(), check.run()
    demand = next(steps)
    try:
        while True:
            last = demand.cycle
            demand = steps.send(valve.answer(demand))
    except StopIteration:
        return last, check


def test_the_judge_is_asked_from_the_second_cycle_on_and_ends_the_check() -> None:
    asked: list[int] = []

    def judge(samples: Samples, cycles: int) -> str:
        asked.append(cycles)
        assert samples.cycle.max() == cycles
        return "enough" if cycles == 3 else ""

    last, check = ran(judge, cycles=5)
    assert (last, asked, check.ended) == (3, [2, 3], "enough")
    last, check = ran(lambda samples, cycles: "", cycles=2)
    assert (last, check.ended) == (2, "all 2 cycles asked for were run")


def check(capsys: Told, folder: Path, *words: str) -> tuple[int, dict[str, object]]:
    code = main(["check", "--instant", "--json", "--records", str(folder), *words])
    return code, json.loads(capsys.readouterr().out)


def test_a_check_ends_when_its_verdicts_are_certain_and_says_so(tmp_path: Path, capsys: Told) -> None:
    code, result = check(capsys, tmp_path)
    assert code == 0
    assert result["cycles"] == {
        "measured": 2,
        "ended": "every verdict was certain after 2 of 3 cycles",
    }
    sheet = (Path(str(result["record"])) / "sheet.html").read_text()
    assert "every verdict was certain after 2 of 3 cycles" in sheet
    code, whole = check(capsys, tmp_path, "--all-cycles")
    assert code == 0
    assert whole["cycles"] == {"measured": 3, "ended": "all 3 cycles asked for were run"}


def narrow(folder: Path, tolerance: str) -> str:
    text = profile_text("brine-letdown")
    path = folder / "narrow.yaml"
    path.write_text(text.replace("lower_tolerance: 0.5 psi", f"lower_tolerance: {tolerance}"))
    assert tolerance in path.read_text()
    return str(path)


def test_a_tolerance_too_narrow_for_the_stand_is_refused_before_anything_moves(
    tmp_path: Path, capsys: Told
) -> None:
    path = narrow(tmp_path, "0.1 psi")
    assert main(["check", path, "--instant", "--records", str(tmp_path / "records")]) == 2
    told = capsys.readouterr().err
    assert "Lift-off" in told
    assert "0.2 psi wide" in told
    assert "transmitter good to" in told
    assert "--coarse" in told
    assert not (tmp_path / "records").exists()
    code, result = check(capsys, tmp_path, path, "--coarse")
    assert code == 3
    assert result["cycles"]["measured"] == 3  # type: ignore[index]
    assert any("more cycles would not help" in line for line in result["advice"])  # type: ignore[union-attr]
    assert result["quantities"]["lift_off"]["outcome"] == "undecided"  # type: ignore[index]


def test_the_plan_is_told_without_moving_anything(tmp_path: Path, capsys: Told) -> None:
    assert main(["check", "--plan", "--records", str(tmp_path / "records")]) == 0
    told = capsys.readouterr().out
    assert "2 to 3 measured cycles" in told
    assert "5 psi/s" in told
    assert "± 0.12 psi" in told
    assert not (tmp_path / "records").exists()


@pytest.mark.parametrize(
    ("wanted", "words"),
    [("0.05 psi", "alone leaves ± 0.12 psi"), ("0.2", "no unit"), ("-1 psi", "above zero")],
)
def test_an_uncertainty_that_cannot_be_had_is_refused(wanted: str, words: str, capsys: Told) -> None:
    assert main(["check", "--instant", f"--uncertainty={wanted}"]) == 2
    assert words in capsys.readouterr().err


def test_a_wanted_uncertainty_slows_the_plan_down(capsys: Told) -> None:
    def beside() -> str:
        return capsys.readouterr().out.split("Plan: ")[2].split(" beside")[0]

    main(["check", "--plan", "--stand", "bench-tcp"])
    usual = beside()
    main(["check", "--plan", "--stand", "bench-tcp", "--uncertainty", "0.0705 psi"])
    assert float(beside().split()[0]) < float(usual.split()[0])


def test_a_run_that_ended_in_its_conditioning_stroke_still_tells_what_it_saw() -> None:
    asked = Planner(PROFILE, HIGHEST_PA, sensors=SENSORS)
    check = BenchCheck(PROFILE, asked.plan(), cycles=1, planner=asked)
    valve, steps = QuasiStaticValve(), check.run()
    demand = next(steps)
    while demand.cycle == 0:
        demand = steps.send(valve.answer(demand))
    rows = check.rows.samples()
    first = replace(
        rows, **{name: getattr(rows, name)[rows.cycle == 0] for name in rows.__dataclass_fields__}
    )
    result = analyse(first, PROFILE, SENSORS)
    lift_off = result.quantities["lift_off"].value
    assert lift_off is not None
    assert lift_off == pytest.approx(valve.lower_pa + valve.half_band_pa, abs=0.1 * PSI)
    assert any("values are coarse" in note for note in result.notes)
