"""Spring formulas against worked examples of textbooks; half a unit of the last printed digit."""

import pytest

from simulator import spring
from simulator.truth import truth
from tests.simulator.valve_set_a import VALVE_A

INCH, LBF = 0.0254, 4.4482216152605  # exact; exact by definition
PSI_PA = LBF / INCH**2
LBF_PER_INCH = LBF / INCH


def test_rate_of_a_music_wire_spring() -> None:
    # Shigley, compression-spring example: d 0.037, D 0.400 in, k 4.13 lbf/in; N and G (11.85e6 psi) memory
    rate = spring.coil_rate_n_per_m(0.037 * INCH, 0.400 * INCH, 10.5, 11.85e6 * PSI_PA)
    assert rate / LBF_PER_INCH == pytest.approx(4.13, abs=0.005)


def test_rate_and_free_length_of_a_spring_under_1250_newton() -> None:
    # machine-design textbook example 10.1 (FOSSEE text-book companion 764): d 7, D 42 mm, N 8,
    # G 81370 N/mm2: k 41.2030 N/mm, free length 70 + 9 + 30.3376 = 109.3376 mm
    rate = spring.coil_rate_n_per_m(7e-3, 42e-3, 8, 81370e6)
    assert rate / 1000 == pytest.approx(41.2030, abs=5e-5)
    assert 1250 / rate * 1000 == pytest.approx(30.3376, abs=5e-5)
    assert spring.free_length_m(70e-3, 9e-3, 1250, rate) * 1000 == pytest.approx(109.3376, abs=5e-5)


def test_coils_for_a_wanted_rate() -> None:
    # the same book, example 10.4: 150 to 300 N over 5 mm, d 4, D 24 mm: N 6.278549
    assert spring.active_coils(4e-3, 24e-3, 150 / 5e-3, 81370e6) == pytest.approx(6.278549, abs=5e-7)


def test_rate_of_a_worked_suspension_spring() -> None:
    # public worked figure (cites Wahl): d 0.1, D 1.0 in, N 10, G 11.5e6 psi: 14.375 lbf/in
    rate = spring.coil_rate_n_per_m(0.1 * INCH, 1.0 * INCH, 10, 11.5e6 * PSI_PA)
    assert rate / LBF_PER_INCH == pytest.approx(14.375, abs=5e-4)


def test_a_turn_of_the_adjuster_shifts_both_ends_alike_and_leaves_the_span() -> None:
    # k pitch / A with a 1/2-20 thread (1.27 mm, ASME B1.1): 210490 * 0.00127 / 0.0445 = 6007.24 Pa (computed)
    assert spring.turn_pa(210490, 1.27e-3, 0.0445) == pytest.approx(6007.24, abs=0.005)
    before, after = truth(VALVE_A), truth(VALVE_A.turned(1.0))
    assert after.spring_only_lower - before.spring_only_lower == pytest.approx(6007.24, abs=0.005)
    assert after.spring_only_upper - before.spring_only_upper == pytest.approx(6007.24, abs=0.005)
    assert after.spring_rate == before.spring_rate
