"""The friction element, inside the plant's own loop, against the LuGre paper's parameters and closed forms.

Parameters: Canudas de Wit, Olsson, Astrom, Lischinsky, IEEE TAC 40 (1995) 419-425, Table I, as quoted by
a public implementation; expected values computed from them with scipy's LSODA or in closed form.
"""

from collections.abc import Iterator
from itertools import pairwise
from math import log, sqrt

import pytest

from simulator.actuator import Friction
from simulator.march import Coefficients, State
from tests.simulator.casings import at_rest, pulled, pulled_mass

S0 = 1e5  # N/m
PAPER = Friction(
    coulomb_n=1.0,
    static_ratio=1.5,
    stribeck_m_per_s=0.001,
    viscous_n_s_per_m=0.4,
    bristle_n_per_m=S0,
    bristle_damping_n_s_per_m=sqrt(S0),
)


@pytest.mark.parametrize(
    ("v_m_per_s", "expected_n"),
    [  # g(v) + sigma2 v, computed from the closed form
        (1e-4, 1.495065),
        (5e-4, 1.389600),
        (1e-3, 1.184340),
        (2e-3, 1.009958),
        (0.01, 1.004),
        (0.1, 1.040),
    ],
)
def test_steady_friction_against_speed(v_m_per_s: float, expected_n: float) -> None:
    c = pulled_mass(PAPER, 1e12, 0.0)  # a mass that nothing slows down
    far = 20 * 1.5 / S0  # bristles are saturated after some of these lengths
    steps = 2000
    state = pulled(c, at_rest(c)._replace(v_m_per_s=v_m_per_s), 0.0, steps, far / v_m_per_s / steps)
    assert S0 * state.bristle_m + 0.4 * v_m_per_s == pytest.approx(expected_n, abs=1e-6)


def slow_load(
    c: Coefficients, state: State, from_n: float, to_n: float, seconds: float, dt: float
) -> Iterator[tuple[float, State]]:
    """Load at a constant rate, the force renewed every five steps; yields force and state."""
    pieces = round(seconds / (5 * dt))
    for i in range(pieces):
        force = from_n + (to_n - from_n) * (i + 0.5) / pieces
        state = pulled(c, state, force, 5, dt)
        yield force, state


def last(states: Iterator[tuple[float, State]]) -> State:
    *_, (_, state) = states
    return state


@pytest.mark.parametrize(("force_n", "expected_m"), [(0.285, 3.16e-6), (1.425, 44.94e-6)])
def test_movement_before_sliding_under_a_slow_load(force_n: float, expected_m: float) -> None:
    # closed form x = -(Fs/s0) ln(1 - F/Fs), with Fs 1.5 N: 3.16 um and 44.94 um (LSODA 3.150 and 44.81)
    assert -(1.5 / S0) * log(1 - force_n / 1.5) == pytest.approx(expected_m, rel=1e-2)
    c = pulled_mass(PAPER, 1.0, 0.0)
    state = last(slow_load(c, at_rest(c), 0.0, force_n, 10.0, 2e-3))
    assert state.x_m == pytest.approx(expected_m, rel=1e-2)


def test_the_loop_before_sliding_closes_and_leaves_a_residue_on_unloading() -> None:
    # +/-1.425 N, 10 s half period: 35.39 um at no force while unloading; back to 44.808 um after one cycle
    c = pulled_mass(PAPER, 1.0, 0.0)
    state = last(slow_load(c, at_rest(c), 0.0, 1.425, 5.0, 2e-3))
    first_m = state.x_m
    residue = last(slow_load(c, state, 1.425, 0.0, 5.0, 2e-3))
    assert residue.x_m == pytest.approx(35.39e-6, rel=2e-2)
    state = last(slow_load(c, residue, 0.0, -1.425, 5.0, 2e-3))
    state = last(slow_load(c, state, -1.425, 1.425, 10.0, 2e-3))
    assert state.x_m == pytest.approx(first_m, abs=0.1e-6)


def break_away_peak(rate_n_per_s: float) -> float:
    """Largest bristle force while a 1 kg mass is loaded at a constant rate from rest [N]."""
    c = pulled_mass(PAPER, 1.0, 0.0)
    dt = min(2e-4, 4e-4 / rate_n_per_s)
    peak, previous = 0.0, at_rest(c)
    for force, state in slow_load(c, previous, 0.0, 2.0, 2.0 / rate_n_per_s, dt):
        friction = force - (state.v_m_per_s - previous.v_m_per_s) / (5 * dt)  # Newton, 1 kg
        peak, previous = max(peak, friction), state
        if state.v_m_per_s > 0.02:
            break
    return peak


def test_break_away_force_falls_as_the_load_comes_faster() -> None:
    # LSODA: 1 N/s 1.432, 2 N/s 1.394, 5 N/s 1.313, 10 N/s 1.220, 20 N/s 1.099
    expected = {1.0: 1.432, 2.0: 1.394, 5.0: 1.313, 10.0: 1.220, 20.0: 1.099}
    got = {rate: break_away_peak(rate) for rate in expected}
    assert got == pytest.approx(expected, rel=1e-2)
    assert sorted(got.values(), reverse=True) == list(got.values())


def stick_slip(seconds: float) -> list[tuple[float, float, float]]:
    """(t, x, v) of 1 kg pulled through a 2 N/m spring whose free end moves at 0.1 m/s."""
    c = pulled_mass(PAPER, 1.0, 2.0)
    dt = 5e-4
    return [
        (force / 0.2, state.x_m, state.v_m_per_s)
        for force, state in slow_load(c, at_rest(c), 0.0, 0.2 * seconds, seconds, dt)
    ]


def test_stick_slip_has_the_period_of_the_published_case() -> None:
    # LSODA: stick-to-stick 6.363 s, 0.6363 m a slip, first slip 7.438 s, peak speed 0.370 m/s; slip starts at
    # a spring force of 1.487 N and stops at 0.780 N
    points = stick_slip(40.0)
    slipping = [v > PAPER.stribeck_m_per_s for _, _, v in points]
    starts = [i for i in range(1, len(points)) if slipping[i] and not slipping[i - 1]]
    stops = [i for i in range(1, len(points)) if not slipping[i] and slipping[i - 1]]
    assert points[starts[0]][0] == pytest.approx(7.438, rel=1e-2)
    periods = [points[b][0] - points[a][0] for a, b in pairwise(stops[1:])]
    assert len(periods) >= 3
    assert sum(periods) / len(periods) == pytest.approx(6.363, rel=1e-2)
    slip_m = points[stops[-1]][1] - points[stops[-2]][1]
    assert slip_m == pytest.approx(0.6363, rel=1e-2)
    assert max(v for _, _, v in points[stops[0] :]) == pytest.approx(0.370, rel=1e-2)
    spring_n = [2.0 * (0.1 * points[i][0] - points[i][1]) for i in (starts[-1], stops[-1])]
    assert spring_n == pytest.approx([1.487, 0.780], rel=1e-2)


def test_below_static_friction_the_stem_holds_and_above_it_slides() -> None:
    # Karnopp and Coulomb limits: stuck while the force is below Fs = 1.5 N, but for the bristles' give
    c = pulled_mass(PAPER, 1.0, 0.0)
    held = last(slow_load(c, at_rest(c), 0.0, 1.4, 20.0, 2e-3))
    assert held.x_m < 5 * 1.5 / S0
    assert held.bristle_m * S0 == pytest.approx(1.4, abs=1e-3)
    gone = last(slow_load(c, at_rest(c), 0.0, 1.6, 20.0, 2e-3))
    assert gone.x_m > 0.001


def test_work_lost_in_a_cycle_of_gross_sliding_is_four_times_coulomb_times_amplitude() -> None:
    # closed form, Coulomb limit (static = sliding friction, no viscous part): 4 Fc X
    coulomb = Friction(1.0, 1.0, 1e-3, 0.0, 1e7, 0.0)
    c, work = pulled_mass(coulomb, 0.01, 100.0), 0.0  # light: nothing overshoots
    reached = last(slow_load(c, at_rest(c), 0.0, 3.0, 5.0, 1e-3))
    x = reached.x_m
    for start, end in ((3.0, -3.0), (-3.0, 3.0)):
        for force, state in slow_load(c, reached, start, end, 10.0, 1e-3):
            work += force * (state.x_m - x)
            reached, x = state, state.x_m
    amplitude = (3.0 - 1.0) / 100.0
    assert x == pytest.approx(amplitude, rel=5e-3)
    assert work == pytest.approx(4.0 * 1.0 * amplitude, rel=5e-3)
