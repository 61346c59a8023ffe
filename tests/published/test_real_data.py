"""The simulated physics against two measured records that anybody may use (CC0 1.0).

No open record of diaphragm pressure and stem travel of a spring-and-diaphragm valve was found; these are the
nearest: a pneumatic cylinder's friction at constant pressure, and a chamber that leaks.
Source of both: TU Delft thesis 2021 on 3D-printed pneumatic actuators, its open data repository,
`results_pneumatic-actuator/data/friction` and `appendix_compressed-air_chamber/data`.
"""

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from simulator.actuator import Friction
from simulator.air import REFERENCE_DENSITY, REFERENCE_K
from tests.simulator.casings import at_rest, locked_casing, pulled, pulled_mass, vessel_pressures

DATA = Path(__file__).parent / "data"
BORE_M, ROOM_PA = 0.025, 101_325.0
BRISTLE_N_PER_M = 1e6


def table(name: str) -> np.ndarray:  # type: ignore[type-arg]
    return np.genfromtxt(DATA / name, delimiter=",", names=True)


def friction_force() -> tuple[np.ndarray, np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    """Time [s], position [m], force less pressure times area [N]; the author's method, first 15 rows out."""
    rows = table("cylinder_friction_oring_3bar_cc0.csv")[15:]
    force = rows["force_N"] - rows["pressure_bar_gauge"] * 1e5 * pi / 4 * BORE_M**2
    return rows["time_ms"] / 1e3, rows["position_mm"] / 1e3, force


def halves(force: np.ndarray) -> tuple[float, float]:  # type: ignore[type-arg]
    middle = force.mean()
    return float(force[force > middle].mean()), float(force[force <= middle].mean())


def test_the_authors_figures_follow_from_the_record() -> None:
    upper, lower = halves(friction_force()[2])
    assert (upper, lower) == pytest.approx((7.663, -3.215), abs=0.0006)
    assert (upper - lower) / 2.0 == pytest.approx(5.439, abs=0.0006)


def test_the_friction_element_rides_the_measured_loop() -> None:
    """One fitted number, sliding friction; the measured speed drives it. Residuals are printed."""
    time, position, force = friction_force()
    upper, lower = halves(force)
    sliding = Friction(
        coulomb_n=(upper - lower) / 2.0, bristle_n_per_m=BRISTLE_N_PER_M, viscous_n_s_per_m=0.0
    )
    speed = np.convolve(np.gradient(position, time), np.ones(11) / 11, "same")
    c = pulled_mass(sliding, 1e12, 0.0)  # a mass that goes at whatever speed it is given
    state, told = at_rest(c), []
    for v, step in zip(speed[:2500], np.diff(time)[:2500], strict=True):
        state = pulled(c, state._replace(v_m_per_s=float(v)), 0.0, 10, float(step) / 10)
        told.append(BRISTLE_N_PER_M * state.bristle_m)
    model = np.array(told)
    residual = force[:2500] - (upper + lower) / 2.0 - model
    moving = np.abs(speed[:2500]) > 0.002
    rms = sqrt(float(np.mean(residual[moving] ** 2)))
    print(f"friction loop: residual {rms:.3f} N rms of {sliding.coulomb_n:.3f} N, {moving.sum()} readings")
    model_upper, model_lower = halves(model[moving])
    assert (model_upper - model_lower) / 2.0 == pytest.approx(5.439, rel=0.01)
    spread = sqrt(
        float(np.mean([np.var(force[:2500][moving & (np.sign(speed[:2500]) == s)]) for s in (1, -1)]))
    )
    assert rms < 1.2 * spread, "no more is left than the readings scatter along the stroke"


def test_a_leaking_chamber_falls_as_measured() -> None:
    """Leak line of the source: -2.34941e-4 bar/s. The vessel leaks through one choked orifice, isothermal.

    The conductance is fitted to the slope; the volume does not matter to the course (1 litre here). The
    record does not say gauge or absolute; taken as gauge (assumption, it shifts the fitted conductance only).
    """
    rows = table("chamber_pressure_hold_cc0.csv")
    time, bar = rows["time_s"], rows["pressure_bar"]
    line = scipy.stats.linregress(time, bar)
    assert line.slope == pytest.approx(-2.34941e-4, rel=1e-4)
    start_pa = line.intercept * 1e5 + ROOM_PA
    volume = 1e-3
    # choked: dp/dt = -C rho0 R T p / V, and rho0 R T0 = 1e5 Pa at the reference state of ISO 8778
    conductance = -line.slope * 1e5 / start_pa * volume / 1e5
    assert pytest.approx(1e5, rel=5e-3) == REFERENCE_DENSITY * 287.0475 * REFERENCE_K
    c = locked_casing(volume, conductance, 0.3, ROOM_PA, wall_w_per_k=1e3)
    when = tuple(float(t) for t in time[::50])
    got = vessel_pressures(c, start_pa, ROOM_PA, when, 0.01)
    residual = (np.array(got) - ROOM_PA) / 1e5 - bar[::50]
    of_the_line = line.intercept + line.slope * time[::50] - bar[::50]
    rms, least = (sqrt(float(np.mean(r**2))) for r in (residual, of_the_line))
    print(f"leaking chamber: residual {1e3 * rms:.2f} mbar rms, of the best line {1e3 * least:.2f} mbar")
    assert rms < 1.05 * least, "the physics leaves no more than the best line does"
    assert got[-1] < got[0] - 0.02e5
