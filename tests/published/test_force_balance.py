"""Force balances worked by hand, in psi, lbf and inches; and the force balance of a published valve.

All balances stand on one invented valve: 69 in², 1-1/8 in travel, friction 69 lbf (69 lbf / 69 in² = 1 psi),
supply 35 psi, seat bore 2 in (π = 3.14159 in²), stem 1/2 in (0.19635 in²), 100 psi before and 20 psi behind
the shut plug, seat line load 60 lbf/in: required 60 × π × 2 = 376.99 lbf.
"""

from dataclasses import replace
from math import pi

import pytest

from rig.forces.balance import Balance, balance_of
from rig.forces.knowns import Found, Measured
from rig.profile.model import Basis, Flow, Mounting, Plug, Profile
from tests.rig.force_valves import CLOSER, INCH, LBF, OPENER, PSI, people, with_trim

SEAT, STEM, SEAL = pi / 4 * 2.0**2, pi / 4 * 0.5**2, pi / 4 * 2.1**2  # in²


def test_69_square_inches_times_10_psi_is_690_lbf_and_serves_a_valve_that_needs_680() -> None:
    # common practice, no source; spring only and no friction, as the everyday sum is done
    profile = replace(with_trim(OPENER, packing_friction_n=0.0), required_seat_load_n=680 * LBF)
    balance = balance_of(profile)
    assert people(balance.stroke.preload) == pytest.approx(690.0, rel=1e-12)
    assert people(balance.stroke.seat_load) == pytest.approx(690.0, rel=1e-12)
    assert balance.margins[0].factor == pytest.approx(690 / 680, rel=1e-12)
    # in the factors of NIST SP 811, B.8, seven digits: 6.894757 E+03 Pa, 4.448222 E+00 N, 6.4516 E-04 m²
    assert balance.stroke.preload.value == pytest.approx(10 * 6.894757e3 * 69 * 6.4516e-4, rel=3e-7)
    assert balance.stroke.preload.value == pytest.approx(690 * 4.448222, rel=3e-7)


def test_the_same_sum_by_pint() -> None:
    pint = pytest.importorskip("pint")
    unit = pint.UnitRegistry()
    force = (69 * unit.inch**2 * 10 * unit.psi).to(unit.newton).magnitude
    preload = balance_of(OPENER).stroke.preload.value
    assert preload == pytest.approx(force, rel=1e-12), f"pint {pint.__version__}"


# -- the process on the shut plug ------------------------------------------------------------------
# force towards open; every pressure on its own face, so another way than the program's:
#   port face of the seat, body side of the plug, ring between seat and balance seal, stem left out


def _by_faces(plug: Plug, balanced: bool, port: float, body: float) -> float:
    """Sum of pressure × face, towards open [lbf, psi, in²]; ring and seal only where balanced."""
    opens_up = plug is Plug.PUSH_DOWN_TO_CLOSE  # the port is below such a plug
    up = 1.0 if opens_up else -1.0
    port_face = SEAT if opens_up else SEAT - STEM
    far_face = (SEAL if balanced else SEAT) - (STEM if opens_up else 0.0)
    far = port if balanced else body  # a balanced plug hands the port's pressure through to its far side
    ring = (
        (SEAL - SEAT) * body if balanced else 0.0
    )  # the body pushes on what the seal is larger, as the port
    upward = (
        port_face * port - far_face * far + ring if opens_up else far_face * far - ring - port_face * port
    )
    return up * upward


@pytest.mark.parametrize(
    ("plug", "flow", "balanced", "hand"),
    [
        # 3.14159 × (100 − 20) + 0.19635 × 20 = 251.327 + 3.927
        (Plug.PUSH_DOWN_TO_CLOSE, Flow.FLOW_TO_OPEN, False, 255.254),
        # 3.14159 × (20 − 100) + 0.19635 × 100 = −251.327 + 19.635
        (Plug.PUSH_DOWN_TO_CLOSE, Flow.FLOW_TO_CLOSE, False, -231.692),
        # 3.14159 × (100 − 20) − 0.19635 × 100: the stem is on the port's side and leaves by closing
        (Plug.PUSH_DOWN_TO_OPEN, Flow.FLOW_TO_OPEN, False, 231.692),
        # 3.14159 × (20 − 100) − 0.19635 × 20
        (Plug.PUSH_DOWN_TO_OPEN, Flow.FLOW_TO_CLOSE, False, -255.254),
        # seal bore 2.1 in: 3.14159 − 3.46361 = −0.32201 in²; −0.32201 × 80 + 0.19635 × 100 = −25.761 + 19.635
        (Plug.PUSH_DOWN_TO_CLOSE, Flow.FLOW_TO_OPEN, True, -6.126),
        # −0.32201 × −80 + 0.19635 × 20 = 25.761 + 3.927
        (Plug.PUSH_DOWN_TO_CLOSE, Flow.FLOW_TO_CLOSE, True, 29.688),
        # −25.761 − 19.635
        (Plug.PUSH_DOWN_TO_OPEN, Flow.FLOW_TO_OPEN, True, -45.396),
        # 25.761 − 3.927
        (Plug.PUSH_DOWN_TO_OPEN, Flow.FLOW_TO_CLOSE, True, 21.834),
    ],
)
def test_force_of_the_process_on_a_shut_plug(plug: Plug, flow: Flow, balanced: bool, hand: float) -> None:
    seal = 2.1 * INCH if balanced else None
    profile = with_trim(OPENER, plug=plug, flow=flow, balanced=balanced, balance_seal_bore_m=seal)
    got = people(balance_of(profile).process.opening_shut)
    port, body = (100.0, 20.0) if flow is Flow.FLOW_TO_OPEN else (20.0, 100.0)
    assert got == pytest.approx(hand, abs=6e-4)
    assert got == pytest.approx(_by_faces(plug, balanced, port, body), rel=1e-12)


def test_an_unbalanced_area_that_is_given_takes_the_place_of_the_bores() -> None:
    # 0.5 × (100 − 20) + 0.19635 × 20 = 43.927 lbf
    profile = with_trim(OPENER, unbalanced_area_m2=0.5 * INCH**2)
    assert people(balance_of(profile).process.opening_shut) == pytest.approx(43.927, abs=5e-4)


def test_wide_open_the_stem_alone_is_left_unless_the_pressures_are_stated() -> None:
    # no drop: 0.19635 × 100 = 19.635 lbf; stated 60 and 50 psi: 3.14159 × 10 + 0.19635 × 50 = 41.233 lbf
    assumed = balance_of(OPENER).process.opening_open
    assert people(assumed) == pytest.approx(19.635, abs=5e-4)
    assert "assumed" in assumed.note
    stated = with_trim(OPENER, open_upstream_pa=60 * PSI, open_downstream_pa=50 * PSI)
    found = balance_of(stated).process.opening_open
    assert people(found) == pytest.approx(41.233, abs=5e-4)
    assert "assumed" not in found.note


# -- whole balances ----------------------------------------------------------------------------------


def _pressures(balance: Balance) -> list[float]:
    stroke = balance.stroke
    return [people(x) for x in (stroke.lift_off, stroke.full_travel, stroke.return_start, stroke.reseat)]


def test_air_to_open_set_spring_only_10_to_30_psi() -> None:
    # preload 69 × 10 = 690 lbf; rate 69 × 20 / 1.125 = 1226.67 lbf/in; at full travel 690 + 1380 = 2070 lbf
    # up 10 + 1 = 11 and 30 + 1 = 31 psi; down 29 and 9 psi; seat load, no air, 69 × 9 = 621 lbf
    # force on the open stop at supply 69 × (35 − 31) = 276 lbf; lowest supply 31 psi
    # lower end needed, spring only: (376.99 + 69) / 69 = 6.464 psi
    balance = balance_of(OPENER)
    assert people(balance.knowns.setting.rate) == pytest.approx(1226.667, abs=5e-4)
    assert people(balance.stroke.spring_full) == pytest.approx(2070.0)
    assert _pressures(balance) == pytest.approx([11.0, 31.0, 29.0, 9.0])
    assert people(balance.stroke.seat_load) == pytest.approx(621.0)
    assert people(balance.stroke.stop_force) == pytest.approx(276.0)
    assert people(balance.stroke.supply) == pytest.approx(31.0)
    assert people(balance.required) == pytest.approx(376.99, abs=5e-3)
    assert people(balance.lift_off_needed) == pytest.approx(6.464, abs=5e-4)


def test_air_to_open_set_friction_included_10_to_30_psi() -> None:
    # lift-off is 10 psi; spring only 9 psi, preload 621 lbf; full travel 30, return 28, reseat 8 psi
    # seat load 69 × 8 = 552 lbf = 690 − 2 × 69; lower end needed (376.99 + 2 × 69) / 69 = 7.464 psi
    balance = balance_of(replace(OPENER, basis=Basis.FRICTION_INCLUDED))
    assert people(balance.stroke.preload) == pytest.approx(621.0)
    assert _pressures(balance) == pytest.approx([10.0, 30.0, 28.0, 8.0])
    assert people(balance.stroke.seat_load) == pytest.approx(552.0)
    assert people(balance.lift_off_needed) == pytest.approx(7.464, abs=5e-4)


def test_air_to_open_in_service_flow_to_open() -> None:
    # the process pushes the plug off its seat with 255.254 lbf, 19.635 lbf wide open
    # seat load 621 − 255.254 = 365.746 lbf; lift-off 11 − 255.254/69 = 7.3007; full 31 − 0.2846 = 30.7154 psi
    # lower end needed (376.991 + 255.254 + 69) / 69 = 10.1630 psi; the supply needed is that of full travel
    # the spring returns it at rest with 690 − 255.254 = 434.746 lbf against 69: factor 6.3007
    balance = balance_of(OPENER)
    assert people(balance.stroke.seat_load_service) == pytest.approx(365.746, abs=5e-4)
    assert people(balance.stroke.lift_off_service) == pytest.approx(7.3007, abs=5e-5)
    assert people(balance.stroke.full_travel_service) == pytest.approx(30.7154, abs=5e-5)
    assert people(balance.stroke.supply_service) == pytest.approx(30.7154, abs=5e-5)
    assert people(balance.lift_off_needed_service) == pytest.approx(10.1630, abs=5e-5)
    assert _factor(balance, "return at rest, in service") == pytest.approx(6.3007, abs=5e-5)
    # 621 / 376.991 = 1.6473 on the stand, 365.746 / 376.991 = 0.9702 in service: that runs out first
    assert _factor(balance, "seat load") == pytest.approx(1.6473, abs=5e-5)
    assert _factor(balance, "seat load in service") == pytest.approx(0.9702, abs=5e-5)
    assert balance.first_out is not None
    assert balance.first_out.name == "seat load in service"


def test_air_to_open_in_service_flow_to_close() -> None:
    # the process holds the plug on its seat with 231.692 lbf: seat load 621 + 231.692 = 852.692 lbf
    # lift-off 11 + 231.692/69 = 14.3579 psi; full travel 31 − 0.19635 × 100 / 69 = 30.7154 psi
    # what helps is not counted on: lower end needed stays (376.991 + 69) / 69 = 6.4636 psi
    balance = balance_of(with_trim(OPENER, flow=Flow.FLOW_TO_CLOSE))
    assert people(balance.stroke.seat_load_service) == pytest.approx(852.692, abs=5e-4)
    assert people(balance.stroke.lift_off_service) == pytest.approx(14.3579, abs=5e-5)
    assert people(balance.stroke.full_travel_service) == pytest.approx(30.7154, abs=5e-5)
    assert people(balance.lift_off_needed_service) == pytest.approx(6.4636, abs=5e-5)


def test_a_plug_that_a_high_pressure_holds_shut_needs_more_supply_than_full_travel() -> None:
    # 800 psi, flow-to-close, behind it 0: −3.14159 × 800 + 0.19635 × 800 = −2356.19 lbf
    # lift-off 11 + 2356.19/69 = 45.148 psi, above full travel: that is the lowest supply
    profile = with_trim(OPENER, flow=Flow.FLOW_TO_CLOSE, upstream_pa=800 * PSI, downstream_pa=0.0)
    balance = balance_of(profile)
    assert people(balance.stroke.lift_off_service) == pytest.approx(45.148, abs=5e-4)
    assert people(balance.stroke.supply_service) == pytest.approx(45.148, abs=5e-4)


def test_air_to_close_set_spring_only_6_to_20_psi() -> None:
    # leaves the open stop at 6 + 1 = 7, meets the seat at 20 + 1 = 21, leaves it at 19, back at 5 psi
    # seat load at supply 69 × (35 − 21) = 966 lbf; force on the open stop, no air, 69 × 5 = 345 lbf
    # lowest supply 21 + 376.991/69 = 26.4636 psi
    # upper end allowed, spring only: 35 − (376.991 + 69)/69 = 28.5364 psi
    balance = balance_of(CLOSER)
    assert _pressures(balance) == pytest.approx([7.0, 21.0, 19.0, 5.0])
    assert people(balance.stroke.seat_load) == pytest.approx(966.0)
    assert people(balance.stroke.stop_force) == pytest.approx(345.0)
    assert people(balance.stroke.supply) == pytest.approx(26.4636, abs=5e-5)
    assert people(balance.lift_off_needed) == pytest.approx(28.5364, abs=5e-5)


def test_air_to_close_set_friction_included_6_to_20_psi() -> None:
    # 6, 20, 18 and 4 psi; seat load 69 × 15 = 1035 lbf; upper end allowed 35 − 376.991/69 = 29.5364 psi
    balance = balance_of(replace(CLOSER, basis=Basis.FRICTION_INCLUDED))
    assert _pressures(balance) == pytest.approx([6.0, 20.0, 18.0, 4.0])
    assert people(balance.stroke.seat_load) == pytest.approx(1035.0)
    assert people(balance.lift_off_needed) == pytest.approx(29.5364, abs=5e-5)


@pytest.mark.parametrize(
    ("flow", "seat", "meets", "supply", "back"),
    [
        # 255.254 off the seat: 966 − 255.254; 21 + 255.254/69; that + 376.991/69 = 24.69933 + 5.46364;
        # the spring and the process open it with 69 × 20 + 255.254 = 1635.254 against 69 lbf
        (Flow.FLOW_TO_OPEN, 710.746, 24.6993, 30.1630, 23.6993),
        # 231.692 onto it: 966 + 231.692; 21 − 3.35786; 17.64214 + 5.46364; 1380 − 231.692 = 1148.308
        (Flow.FLOW_TO_CLOSE, 1197.692, 17.6421, 23.1058, 16.6421),
    ],
)
def test_air_to_close_in_service(flow: Flow, seat: float, meets: float, supply: float, back: float) -> None:
    balance = balance_of(with_trim(CLOSER, flow=flow))
    assert people(balance.stroke.seat_load_service) == pytest.approx(seat, abs=6e-4)
    assert people(balance.stroke.full_travel_service) == pytest.approx(meets, abs=6e-5)
    assert people(balance.stroke.supply_service) == pytest.approx(supply, abs=6e-5)
    assert _factor(balance, "return at full travel, in service") == pytest.approx(back, abs=6e-5)


def test_a_balanced_plug_hardly_feels_the_process() -> None:
    # seal 2.1 in, flow-to-close: 29.688 lbf off the seat; 621 − 29.688 = 591.312 lbf
    trim = {"balanced": True, "balance_seal_bore_m": 2.1 * INCH, "flow": Flow.FLOW_TO_CLOSE}
    assert people(balance_of(with_trim(OPENER, **trim)).stroke.seat_load_service) == pytest.approx(
        591.312, abs=5e-4
    )


@pytest.mark.parametrize(
    ("profile", "mounting", "shift"),
    [
        # 20 lbf upright work against air that lifts a push-down-to-close plug; on its side they are gone,
        # inverted they are against the spring's side: −20 and −40 lbf. Air that pushes down: the reverse.
        (OPENER, Mounting.UPRIGHT, 0.0),
        (OPENER, Mounting.ON_ITS_SIDE, -20.0),
        (OPENER, Mounting.INVERTED, -40.0),
        (CLOSER, Mounting.ON_ITS_SIDE, 20.0),
        (CLOSER, Mounting.INVERTED, 40.0),
    ],
)
def test_another_mounting_than_the_stands_shifts_the_balance(
    profile: Profile, mounting: Mounting, shift: float
) -> None:
    balance = balance_of(with_trim(profile, mounting=mounting))
    assert people(balance.process.mounting_shift) == pytest.approx(shift)
    upright = balance_of(with_trim(profile, mounting=Mounting.UPRIGHT))
    moved = people(balance.stroke.lift_off_service) - people(upright.stroke.lift_off_service)
    assert moved == pytest.approx(shift / 69)


def test_a_supply_margin_comes_on_top_of_what_is_needed() -> None:
    # 31 + 2 = 33 psi; 35/33 = 1.0606
    balance = balance_of(replace(OPENER, supply_margin_pa=2 * PSI))
    assert people(balance.stroke.supply) == pytest.approx(33.0)
    assert _factor(balance, "supply") == pytest.approx(1.0606, abs=5e-5)


# -- a published valve -------------------------------------------------------------------------------
# PhD thesis, Univ. Sao Paulo 2020 (record tde-12022020-100441), nominal values as its public code has them


def _published(friction_n: float) -> Balance:
    profile = replace(OPENER, area_m2=0.0445, rated_travel_m=29e-3)
    measured = Measured(Found(friction_n), Found(210490.0), Found(2550.0 / 0.0445))
    return balance_of(profile, measured)


def test_the_published_valve_with_coulomb_friction() -> None:
    # closed form, agreed by a play-operator march: 73.0337, 210.2070, 178.7463, 41.5730 kPa
    stroke = _published(700.0).stroke
    lines = (stroke.lift_off, stroke.full_travel, stroke.return_start, stroke.reseat)
    values = [line.value for line in lines]
    assert values == pytest.approx([73033.7, 210207.0, 178746.3, 41573.0], abs=0.05)


def test_the_published_valve_without_friction_and_with_static_friction() -> None:
    # F_init / A = 57.3034 kPa, (F_init + k x) / A = 194.4766 kPa; with 780 N lift-off 74.8315 kPa (computed)
    smooth = _published(0.0).stroke
    assert smooth.lift_off.value == pytest.approx(57303.4, abs=0.05)
    assert smooth.full_travel.value == pytest.approx(194476.6, abs=0.05)
    assert _published(780.0).stroke.lift_off.value == pytest.approx(74831.5, abs=0.05)


def _factor(balance: Balance, name: str) -> float:
    factor = next(m.factor for m in balance.margins if m.name == name)
    assert factor is not None, f"{name} could not be computed"
    return factor
