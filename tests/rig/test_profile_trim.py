"""Trim, process and springs in a profile's file: what is read, what cannot be."""

from dataclasses import replace

import pytest

from rig.analysis.judge import limits_of
from rig.files import FileProblems
from rig.forces.balance import balance_of
from rig.profile.explain import explain
from rig.profile.load import load_profile, load_profile_text, profile_text, shipped_profiles
from rig.profile.model import Flow, Mounting, Plug, Trim
from rig.report.forces_words import first_out_text
from tests.rig.force_valves import INCH, LBF, OPENER, PEOPLE, PSI

FILE = """
model: brine-letdown
title: Brine let-down valve
action: air-to-open
effective_area: 69 in2
rated_travel: 1-1/8 in
travel_surplus: 1/32 in
bench_range:
  lower: 10 psi
  upper: 30 psi
  basis: spring only
  lower_tolerance: 0.5 psi
  upper_tolerance: 1.5 psi
casing_maximum: 55 psi
supply: 35 psi
supply_margin: 2 psi
obtainable_ranges: [3 to 15 psi, 40 to 200 kPa, 0.4 bar to 2 bar]
trim:
  plug: push-down-to-open
  flow: Flow-to-close
  seat_bore: 2 in
  seat_line_load: 60 lbf/in
  seat_line_load_source: the works' trim sheet
  stem_diameter: 1/2 in
  balanced: yes
  balance_seal_bore: 2.1 in
  packing_friction: 69 lbf
  moving_weight: 20 lb
  mounting: on its side
process:
  upstream: 100 psi
  downstream: 20 psi
  open_upstream: 60 psi
  open_downstream: 50 psi
"""


def problems(text: str) -> str:
    with pytest.raises(FileProblems) as caught:
        load_profile_text(text, "valve.yaml")
    return str(caught.value)


def test_everything_is_read_in_si() -> None:
    profile = load_profile_text(FILE, "valve.yaml")
    trim = profile.trim
    assert (trim.plug, trim.flow, trim.mounting) == (
        Plug.PUSH_DOWN_TO_OPEN,
        Flow.FLOW_TO_CLOSE,
        Mounting.ON_ITS_SIDE,
    )
    assert trim.balanced
    assert trim.seat_line_load_source == "the works' trim sheet"
    got = [
        trim.seat_bore_m,
        trim.seat_line_load_n_per_m,
        trim.stem_diameter_m,
        trim.balance_seal_bore_m,
        trim.packing_friction_n,
        trim.moving_weight_n,
        trim.upstream_pa,
        trim.downstream_pa,
        trim.open_upstream_pa,
        trim.open_downstream_pa,
        profile.supply_margin_pa,
    ]
    lengths = [2 * INCH, 60 * LBF / INCH, 0.5 * INCH, 2.1 * INCH, 69 * LBF, 20 * LBF]
    assert got == pytest.approx([*lengths, 100 * PSI, 20 * PSI, 60 * PSI, 50 * PSI, 2 * PSI])
    ends = [end for pair in profile.obtainable_ranges_pa for end in pair]
    assert ends == pytest.approx([3 * PSI, 15 * PSI, 40e3, 200e3, 40e3, 200e3])


def test_all_of_it_may_be_left_out() -> None:
    text = FILE[: FILE.index("supply_margin")]
    profile = load_profile_text(text, "valve.yaml")
    assert profile.trim == Trim()
    assert profile.obtainable_ranges_pa == ()
    assert profile.supply_margin_pa is None


@pytest.mark.parametrize(
    ("weight", "newton"), [("20 lb", 20 * LBF), ("20 lbf", 20 * LBF), ("10 kg", 98.0665), ("90 N", 90.0)]
)
def test_a_weight_may_be_given_as_mass_or_force(weight: str, newton: float) -> None:
    # 10 kg × 9.80665 m/s² (standard gravity, NIST SP 811, B.8)
    profile = load_profile_text(FILE.replace("20 lb", weight), "valve.yaml")
    assert profile.trim.moving_weight_n == pytest.approx(newton)


@pytest.mark.parametrize(
    ("change", "line", "told"),
    [
        (("seat_bore: 2 in", "seat_bore: 2"), 21, "no unit"),
        (("seat_bore: 2 in", "seat_bore: -2 in"), 21, "above zero"),
        (("seat_bore: 2 in", "seat_boer: 2 in"), 21, "did you mean seat_bore?"),
        (("  seat_line_load_source: the works' trim sheet\n", ""), 22, "has no source"),
        (("60 lbf/in", "60 lbf"), 22, "load per length"),
        (("60 lbf/in", "120 lbf/in"), 22, "more than the range can give"),
        (("stem_diameter: 1/2 in", "stem_diameter: 2 in"), 24, "does not fit a seat bore of 2 in"),
        (("  balance_seal_bore: 2.1 in\n", ""), 25, "does not say how far"),
        (("balanced: yes", "balanced: no"), 26, "belongs to a balanced plug"),
        (("packing_friction: 69 lbf", "packing_friction: -69 lbf"), 27, "is negative"),
        (("moving_weight: 20 lb", "moving_weight: heavy"), 28, "is not a number with a unit"),
        (("on its side", "sideways"), 29, "upright, inverted or on its side"),
        (("push-down-to-open", "pull"), 19, "push-down-to-close or push-down-to-open"),
        (("downstream: 20 psi\n  open", "downstream: 120 psi\n  open"), 32, "is above upstream"),
        (("open_downstream: 50 psi", "open_downstream: 70 psi"), 34, "is above open_upstream"),
        (("upstream: 100 psi\n", "upstream: -20 psi\n"), 31, "below a vacuum"),
        (("supply_margin: 2 psi", "supply_margin: -2 psi"), 16, "is negative"),
        (("3 to 15 psi", "3-15 psi"), 17, "is not a range"),
        (("3 to 15 psi", "15 to 3 psi"), 17, "does not rise"),
        (("3 to 15 psi", "30 to 60 psi"), 17, "above the casing maximum"),
    ],
)
def test_what_cannot_be_is_told_with_its_line(change: tuple[str, str], line: int, told: str) -> None:
    assert change[0] in FILE
    text = problems(FILE.replace(*change, 1))
    assert told in text
    assert f"valve.yaml:{line}:" in text


def test_a_seat_load_given_and_one_from_the_seat_line_have_to_agree() -> None:
    # 60 lbf/in × π × 2 in = 376.99 lbf
    assert "times the seat's circumference is 377 lbf" in problems(FILE + "required_seat_load: 500 lbf\n")
    assert load_profile_text(FILE + "required_seat_load: 380 lbf\n", "valve.yaml").required_seat_load_n


def test_figures_that_contradict_each_other_are_found_when_the_profile_is_checked() -> None:
    # 69 in² × 20 psi / 1.125 in = 1227 lbf/in; the most that 10 psi gives is 690 lbf
    assert "contradicts the range" in problems(FILE + "spring_rate: 900 lbf/in\n")
    plain = FILE.replace("  seat_line_load: 60 lbf/in\n  seat_line_load_source: the works' trim sheet\n", "")
    assert "690 lbf with no air" in problems(plain + "required_seat_load: 700 lbf\n")
    assert "above the casing maximum" in problems(FILE.replace("upper: 30 psi", "upper: 60 psi"))
    assert "above the supply" in problems(FILE.replace("upper: 30 psi", "upper: 40 psi"))


def test_the_check_judges_the_seat_load_by_the_seat_line_where_none_is_given() -> None:
    assert limits_of(OPENER)["seat_load"][0] == pytest.approx(376.991 * LBF, rel=1e-5)
    given = replace(OPENER, required_seat_load_n=380 * LBF)
    assert limits_of(given)["seat_load"][0] == pytest.approx(380 * LBF)


def test_trim_and_process_are_explained() -> None:
    text = " ".join(explain(load_profile_text(FILE, "valve.yaml"), PEOPLE).split())
    for part in (
        "push-down-to-open: the stem comes out through the port",
        "60 lbf/in, from the works' trim sheet",
        "its seal runs in a bore of 2.1",
        "100 psi before the plug, 20 psi behind it",
        "69 lbf allowed for, half band",
    ):
        assert part in text


@pytest.mark.parametrize("name", sorted(shipped_profiles()))
def test_no_shipped_profile_is_short_by_its_own_figures(name: str) -> None:
    balance = balance_of(load_profile(name))
    assert [m.name for m in balance.margins if m.short] == []
    assert "factor" in first_out_text(balance, PEOPLE)
    assert "seat_line_load:" not in profile_text(name) or "seat_line_load_source:" in profile_text(name)
