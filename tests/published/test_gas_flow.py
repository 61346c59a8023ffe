"""The air of the simulated stand against ISO 6358, closed forms and a gas-property library."""

from math import asin, exp, log, pi, sin

import pytest

from simulator import air
from tests.simulator.casings import extrapolated, locked_casing, vessel_pressures, volume_for_unit_rate

ISOTHERMAL_W_PER_K, ADIABATIC_W_PER_K = 1e6, 0.0
ONE = air.conductance_si(1.0)  # 1 dm3/(s bar)


def test_critical_ratio_of_an_ideal_diatomic_gas() -> None:
    # (2/(g+1))^(g/(g-1)) at g = 1.4; same value from fluids 1.3.1 `P_critical_flow`
    assert air.critical_ratio(1.4) == pytest.approx(0.528281788, abs=1e-9)


def test_choked_nozzle_flow_of_a_one_millimetre_hole() -> None:
    # computed from the textbook formula: hole of 1 mm, 500 kPa abs, 293.15 K, R 287.05: 9.26950e-4 kg/s
    flow = air.choked_nozzle_flow(pi / 4 * 1e-6, 500e3, 293.15)
    assert flow == pytest.approx(9.26950e-4, rel=1e-6)


@pytest.mark.parametrize(
    ("p2_bar", "expected_kg_per_s"),
    [(1.0, 0.008295), (5.0, 0.00668625), (6.5, 0.00365045)],  # computed from the law of ISO 6358-1:2013
)
def test_flow_law_of_iso_6358(p2_bar: float, expected_kg_per_s: float) -> None:
    flow = air.mass_flow(ONE, 0.3, 7e5, p2_bar * 1e5, 293.15)
    assert flow == pytest.approx(expected_kg_per_s, abs=5e-9)


def test_conductance_of_an_ideal_nozzle_of_one_square_millimetre() -> None:
    # 0.19919 dm3/(s bar): choked nozzle flow over rho0 p1 at the reference state
    conductance = air.choked_nozzle_flow(1e-6, 1e5, 293.15) / (air.REFERENCE_DENSITY * 1e5)
    assert conductance / air.conductance_si(1.0) == pytest.approx(0.19919, abs=1e-4)


FILL = ((0.1, 0.349957), (0.5, 0.719639), (1.0, 0.984084))  # t [s], p/p1; closed form below, V for k = 1/s


def test_isothermal_fill_follows_its_closed_form() -> None:
    # r = r0 + k t up to b, then b + (1-b) sin(k (t-tb)/(1-b)); C 1, b 0.3, p1 4 bar, from r 0.25
    b, r0 = 0.3, 0.25
    times = tuple(t for t, _ in FILL)
    for t, expected in FILL:
        tb = b - r0
        assert b + (1 - b) * sin((t - tb) / (1 - b)) == pytest.approx(expected, abs=1e-6)
    c = locked_casing(volume_for_unit_rate(ONE), ONE, b, 1e5, ISOTHERMAL_W_PER_K)
    coarse, fine = (vessel_pressures(c, 1e5, 4e5, times, dt) for dt in (4e-4, 2e-4))
    for got, (_, expected) in zip(extrapolated(coarse, fine), FILL, strict=True):
        assert got / 4e5 == pytest.approx(expected, abs=2e-5)


def test_isothermal_discharge_follows_its_closed_form() -> None:
    # 5 exp(-k t) bar while choked, that is to 3.3333 bar at ln(1.5)/k = 0.405465 s; 1.2 bar at 1.531460 s
    choked_end = log(5 * 0.3)
    assert 5 * exp(-choked_end) == pytest.approx(3.3333, abs=1e-4)
    c = locked_casing(volume_for_unit_rate(ONE), ONE, 0.3, 1e5, ISOTHERMAL_W_PER_K)
    times = (0.2, 0.4, 1.5312, 1.5316)
    coarse, fine = (vessel_pressures(c, 5e5, 1e5, times, dt) for dt in (4e-4, 2e-4))
    got = extrapolated(coarse, fine)
    assert got[0] == pytest.approx(5e5 * exp(-0.2), rel=2e-5)
    assert got[1] == pytest.approx(5e5 * exp(-0.4), rel=2e-5)
    share = (1.531460 - 1.5312) / 0.0004
    assert got[2] + share * (got[3] - got[2]) == pytest.approx(1.2e5, rel=5e-5)


# t [s], p [Pa]: p/p0 = (1 + (g-1)/2 t/tau)^(-2g/(g-1)), tau 5.034496 s; V 1 L, A 1 mm2, 8 bar, 293.15 K
BLOW_DOWN = ((0.5, 697103.5), (1.0, 609056.9), (2.0, 468454.1), (3.0, 363744.5))


def blow_down(dt: float) -> list[float]:
    conductance = air.choked_nozzle_flow(1e-6, 1e5, 293.15) / (air.REFERENCE_DENSITY * 1e5)
    c = locked_casing(1e-3, conductance, 0.528, 1e5, ADIABATIC_W_PER_K)
    return vessel_pressures(c, 8e5, 1e5, tuple(t for t, _ in BLOW_DOWN), dt)


def test_adiabatic_choked_blow_down_follows_its_closed_form() -> None:
    coarse, fine = blow_down(4e-3), blow_down(2e-3)
    for got, (_, expected) in zip(extrapolated(coarse, fine), BLOW_DOWN, strict=True):
        assert got == pytest.approx(expected, rel=5e-5)  # R here is 287.0475, in the row 287.05


def test_a_step_of_half_the_length_halves_the_error() -> None:
    exact = [p for _, p in BLOW_DOWN]
    errors = [abs(blow_down(dt)[-1] - exact[-1]) for dt in (0.02, 0.01, 0.005)]
    assert errors[0] / errors[1] == pytest.approx(2.0, abs=0.1)
    assert errors[1] / errors[2] == pytest.approx(2.0, abs=0.1)


def test_isothermal_and_adiabatic_blow_down_start_at_rates_apart_by_gamma() -> None:
    # d(ln p)/dt at t = 0 is 1/tau isothermal, g/tau adiabatic (both closed forms)
    rates = []
    for wall in (ISOTHERMAL_W_PER_K, ADIABATIC_W_PER_K):
        c = locked_casing(1e-3, ONE, 0.3, 1e5, wall)
        rates.append(1.0 - vessel_pressures(c, 8e5, 1e5, (1e-3,), 1e-5)[0] / 8e5)
    assert rates[1] / rates[0] == pytest.approx(1.4, abs=0.01)


def test_a_pressure_change_needs_29_ms_for_ten_metres_of_tube() -> None:
    # 10 m over 343.3 m/s (CoolProp, air at 20 degC): 29.13 ms; ideal gas within 1 %
    assert air.tube_delay_s(10.0, 293.15) == pytest.approx(0.02913, rel=0.01)


def test_constants_of_air_agree_with_a_property_library() -> None:
    coolprop = pytest.importorskip("CoolProp", reason="CoolProp is not installed")
    from CoolProp.CoolProp import PropsSI

    at = ("T", 293.15, "P", 101325.0, "Air")
    said = f"CoolProp {coolprop.__version__}"
    assert PropsSI("D", *at) == pytest.approx(1.204575, rel=1e-5), said
    gas_constant = PropsSI("gas_constant", "Air") / PropsSI("molar_mass", "Air")
    assert pytest.approx(gas_constant, rel=1e-5) == air.R_AIR, said
    gamma = PropsSI("C", *at) / PropsSI("O", *at)
    assert pytest.approx(gamma, rel=2e-3) == air.GAMMA, said
    assert air.sound_speed(293.15) == pytest.approx(PropsSI("A", *at), rel=2e-3), said
    # ideal gas at the highest casing pressures: compressibility within 0.3 %
    z = PropsSI("Z", "T", 293.15, "P", 600e3, "Air")
    assert z == pytest.approx(1.0, abs=3e-3), said


def test_the_flow_law_has_no_infinite_slope_and_no_step_at_equal_pressures() -> None:
    assert air.flow_share(1.0, 0.3) == 0.0
    just_above = air.flow_share(air.LINEAR_FROM + 1e-12, 0.3)
    assert air.flow_share(air.LINEAR_FROM, 0.3) == pytest.approx(just_above, abs=1e-9)
    assert air.flow_share(0.3, 0.3) == 1.0
    assert asin(air.flow_share(0.5, 0.3)) < pi / 2
