"""The force balance: what holds for every valve, what is missing, which range serves."""

from dataclasses import replace

import pytest
from hypothesis import given as property_of
from hypothesis import settings
from hypothesis import strategies as st

from rig.analysis.result import CheckResult, Outcome, Quantity
from rig.forces.balance import Balance, balance_of
from rig.forces.knowns import Found, Measured, measured_of
from rig.forces.line import Line, derived, given
from rig.forces.margins import margin
from rig.profile.model import Basis, Flow, Mounting, Plug, Profile, Trim
from rig.units import Dimension
from tests.rig.force_valves import CLOSER, INCH, LBF, OPENER, PSI, people, with_trim

VALVES = [replace(p, basis=b) for p in (OPENER, CLOSER) for b in Basis]


def lines_of(balance: Balance) -> list[Line]:
    stroke = balance.stroke
    named = [getattr(stroke, name) for name in type(stroke).__dataclass_fields__]
    return [*named, balance.required, balance.lift_off_needed, balance.lift_off_needed_service]


# -- lines -----------------------------------------------------------------------------------------------


def test_a_line_without_one_of_its_terms_needs_what_the_term_needs_and_has_no_value() -> None:
    bore = given("bore", "seat bore", Dimension.LENGTH, None)
    load = given("load", "seat line load", Dimension.LINE_LOAD, None)
    product = derived(
        "f", "force", Dimension.FORCE, "{} × {} × {}", lambda a, b, c: a * b * c, load, bore, bore
    )
    assert product.value is None
    assert product.needs == ("seat line load", "seat bore")
    twice = derived("g", "twice", Dimension.FORCE, "2 × {}", lambda f: 2 * f, product)
    assert twice.needs == product.needs


def test_zero_is_a_value_and_not_a_missing_one() -> None:
    line = derived("f", "half", None, "{} ÷ 2", lambda a: a / 2, given("a", "a", None, 0.0))
    assert line.value == 0.0
    assert line.known


def test_a_formula_tells_its_terms_by_name() -> None:
    seat = balance_of(OPENER).stroke.seat_load
    assert seat.words == "effective area × reseat"


# -- what holds for every valve ---------------------------------------------------------------------------


@pytest.mark.parametrize("profile", VALVES)
def test_friction_parts_up_from_down_and_leaves_the_span(profile: Profile) -> None:
    stroke = balance_of(profile).stroke
    up, full, back, home = (
        people(x) for x in (stroke.lift_off, stroke.full_travel, stroke.return_start, stroke.reseat)
    )
    assert up - home == pytest.approx(2.0)  # 2 × 69 lbf / 69 in²
    assert full - back == pytest.approx(2.0)
    span = (profile.bench_upper_pa - profile.bench_lower_pa) / PSI
    assert full - up == pytest.approx(span)


positive = st.floats(0.2, 5.0)


@settings(max_examples=60, deadline=None)
@property_of(area=positive, travel=positive, friction=positive, air_opens=st.booleans())
def test_the_two_meanings_differ_by_the_friction_and_nothing_else(
    area: float, travel: float, friction: float, air_opens: bool
) -> None:
    base = OPENER if air_opens else CLOSER
    profile = replace(
        with_trim(base, packing_friction_n=friction * 69 * LBF),
        area_m2=area * base.area_m2,
        rated_travel_m=travel * base.rated_travel_m,
    )
    included, alone = balance_of(profile).meanings
    half_pa = friction / area * PSI
    assert included.basis is Basis.FRICTION_INCLUDED
    for key in ("lift_off", "full_travel", "reseat", "return_start"):
        later = getattr(alone.stroke, key).value - getattr(included.stroke, key).value
        assert later == pytest.approx(half_pa)
    gained = alone.stroke.seat_load.value - included.stroke.seat_load.value  # type: ignore[operator]
    sign = 1.0 if air_opens else -1.0  # what the supply has to give above the seat is what the spring took
    assert gained == pytest.approx(sign * friction * 69 * LBF)


@settings(max_examples=60, deadline=None)
@property_of(
    plug=st.sampled_from(Plug),
    flow=st.sampled_from(Flow),
    upstream=st.floats(0.0, 1000.0),
    share=st.floats(0.0, 1.0),
    air_opens=st.booleans(),
)
def test_what_the_seat_loses_to_the_process_the_air_gains(
    plug: Plug, flow: Flow, upstream: float, share: float, air_opens: bool
) -> None:
    """At the seat, process force × lever is the same force, whichever figure shows it."""
    base = OPENER if air_opens else CLOSER
    profile = with_trim(
        base, plug=plug, flow=flow, upstream_pa=upstream * PSI, downstream_pa=share * upstream * PSI
    )
    balance = balance_of(profile)
    stroke, opening = balance.stroke, balance.process.opening_shut
    assert people(stroke.seat_load) - people(stroke.seat_load_service) == pytest.approx(
        people(opening), abs=1e-6
    )
    at_seat = (
        (stroke.lift_off, stroke.lift_off_service)
        if air_opens
        else (stroke.full_travel, stroke.full_travel_service)
    )
    shift = (people(at_seat[1]) - people(at_seat[0])) * 69
    assert shift == pytest.approx(-people(opening) if air_opens else people(opening), abs=1e-6)


def test_no_process_pressure_is_no_process_force() -> None:
    balance = balance_of(with_trim(OPENER, upstream_pa=0.0, downstream_pa=0.0))
    assert balance.process.opening_shut.value == 0.0
    assert balance.stroke.seat_load_service.value == balance.stroke.seat_load.value


def test_a_lower_end_set_as_needed_just_serves() -> None:
    for profile in VALVES:
        needed = balance_of(profile).lift_off_needed_service.value
        assert needed is not None
        if profile.action is OPENER.action:
            set_so = replace(profile, bench_lower_pa=needed, bench_upper_pa=needed + 15 * PSI)
        else:
            set_so = replace(profile, bench_upper_pa=needed, bench_lower_pa=needed - 15 * PSI)
        balance = balance_of(set_so)
        factor = next(m.factor for m in balance.margins if m.name == "seat load in service")
        assert factor == pytest.approx(1.0)


# -- missing is never zero ---------------------------------------------------------------------------------

MISSING = [
    ({"seat_bore_m": None}, "seat bore", ("required", "opening_shut")),
    ({"seat_line_load_n_per_m": None}, "required seat load", ("required",)),
    ({"stem_diameter_m": None}, "stem diameter", ("opening_shut", "opening_open")),
    ({"plug": None}, "plug", ("opening_shut", "opening_open")),
    ({"flow": None}, "flow", ("opening_shut", "opening_open")),
    ({"upstream_pa": None}, "upstream pressure at shut-off", ("opening_shut",)),
    ({"downstream_pa": None}, "downstream pressure at shut-off", ("opening_shut",)),
    ({"packing_friction_n": None}, "packing friction", ("reseat", "seat_load")),
    ({"balanced": True}, "balance seal bore", ("opening_shut",)),
    ({"mounting": Mounting.ON_ITS_SIDE, "moving_weight_n": None}, "moving weight", ("mounting_shift",)),
]


@pytest.mark.parametrize(("lacking", "need", "not_computed"), MISSING)
def test_what_is_missing_is_named_and_never_taken_as_zero(
    lacking: dict[str, object], need: str, not_computed: tuple[str, ...]
) -> None:
    balance = balance_of(with_trim(OPENER, **lacking))
    for key in not_computed:
        places = (balance, balance.stroke, balance.process)
        line: Line = next(getattr(place, key) for place in places if hasattr(place, key))
        assert line.value is None
        assert any(need in missing for missing in line.needs), line.needs
    # nothing that needs it got a value by another way
    for line in lines_of(balance):
        assert (line.value is None) == bool(line.needs)


def test_with_friction_included_lift_off_and_full_travel_need_no_friction() -> None:
    stroke = balance_of(replace(OPENER, basis=Basis.FRICTION_INCLUDED, trim=Trim())).stroke
    assert people(stroke.lift_off) == pytest.approx(10.0)
    assert people(stroke.full_travel) == pytest.approx(30.0)
    assert stroke.reseat.value is None


def test_a_profile_with_nothing_optional_computes_what_it_can() -> None:
    balance = balance_of(replace(OPENER, trim=Trim()))
    assert not balance.process.stated
    assert balance.required.needs == ("required seat load (or seat line load and seat bore)",)
    assert [m.name for m in balance.margins] == ["seat load", "supply", "spring return", "casing"]
    assert balance.first_out is not None
    assert balance.first_out.name == "casing"


# -- margins -----------------------------------------------------------------------------------------------


def test_the_smallest_margin_runs_out_first_and_a_missing_one_never_does() -> None:
    balance = balance_of(OPENER)
    factors = [m.factor for m in balance.margins if m.factor is not None]
    assert balance.first_out is not None
    assert balance.first_out.factor == min(factors)
    lacking = balance_of(with_trim(OPENER, seat_line_load_n_per_m=None))
    assert lacking.first_out is not None
    assert lacking.first_out.factor is not None


def test_a_margin_is_short_below_one_and_not_at_one() -> None:
    def of(value: float) -> Line:
        return given("f", "force", Dimension.FORCE, value)

    assert not margin("m", of(100.0), of(100.0)).short
    assert margin("m", of(100.0 - 1e-9), of(100.0)).short
    assert margin("m", of(-5.0), of(100.0)).factor == pytest.approx(-0.05)
    assert not margin("m", of(5.0), of(0.0)).short  # nothing is needed


# -- obtainable ranges ---------------------------------------------------------------------------------------


def _ranges(*pairs: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    return tuple((low * PSI, high * PSI) for low, high in pairs)


def test_of_the_obtainable_ranges_the_one_with_the_largest_smallest_margin_would_serve() -> None:
    profile = replace(OPENER, obtainable_ranges_pa=_ranges((3, 15), (6, 30), (10, 30), (12, 30), (12, 33)))
    balance = balance_of(profile)
    # in service 10–30 lacks 376.991 − 365.746 lbf; 12–30 opens at 31 psi, 12–33 at 34 of the 35 psi supply
    assert [c.serves for c in balance.ranges] == [False, False, False, True, True]
    assert balance.best_range is not None
    assert balance.best_range.upper_pa == pytest.approx(30 * PSI)


def test_a_range_that_cannot_be_judged_is_not_said_to_serve() -> None:
    profile = with_trim(OPENER, packing_friction_n=None)
    balance = balance_of(replace(profile, obtainable_ranges_pa=_ranges((12, 30))))
    assert not balance.ranges[0].judged
    assert balance.best_range is None


# -- measured ------------------------------------------------------------------------------------------------


def test_measured_values_take_the_place_of_the_profiles() -> None:
    measured = Measured(Found(138 * LBF), Found(1300 * LBF / INCH), Found(9 * PSI))
    balance = balance_of(OPENER, measured)
    # 138 lbf / 69 in² = 2 psi: lift-off 11 psi; full travel 11 + 1300 × 1.125 / 69 = 32.1957 psi
    assert balance.measured
    assert people(balance.stroke.lift_off) == pytest.approx(11.0)
    assert people(balance.stroke.full_travel) == pytest.approx(32.1957, abs=5e-5)
    # the meanings are of the rated lower end with the measured friction and spring
    included, alone = balance.meanings
    assert people(included.stroke.lift_off) == pytest.approx(10.0)
    assert people(alone.stroke.lift_off) == pytest.approx(12.0)
    assert people(alone.stroke.full_travel) == pytest.approx(33.1957, abs=5e-5)


def test_what_a_check_did_not_measure_falls_back_on_the_profile() -> None:
    def quantity(key: str, value: float | None, spread: float | None) -> Quantity:
        return Quantity(key, value, spread, None, Outcome.NOT_JUDGED)

    quantities = {
        "friction": quantity("friction", 300.0, 12.0),
        "spring_rate": quantity("spring_rate", None, None),
    }
    measured = measured_of(CheckResult(Outcome.UNDECIDED, "friction included", quantities))
    assert measured == Measured(Found(300.0, 12.0))
    balance = balance_of(OPENER, measured)
    assert balance.knowns.friction.spread == 12.0
    assert balance.knowns.setting.rate.formula
