"""Standard signals: 4-20 mA, the pneumatic ranges, and the failure levels of NAMUR NE 43."""

import pytest

from rig.stand.channels import health_of
from rig.stand.file_live import ne43
from rig.stand.model import Scale
from rig.units import UNIT_SETS, Dimension, parse
from safety.signals import Health

PERCENT_OF_LOOP = Scale(raw_low=4000, value_low=0.0, raw_high=20000, value_high=100.0)  # raw: microamperes


@pytest.mark.parametrize(("ma", "percent"), [(4, 0), (8, 25), (12, 50), (16, 75), (20, 100)])
def test_current_loop_has_a_live_zero(ma: float, percent: float) -> None:
    # 4-20 mA: IEC 60381-1 (from memory)
    assert PERCENT_OF_LOOP.to_si(1000 * ma) == pytest.approx(percent, abs=1e-12)
    assert PERCENT_OF_LOOP.to_raw(percent) == pytest.approx(1000 * ma, abs=1e-9)


@pytest.mark.parametrize(("kpa", "percent"), [(20, 0), (40, 25), (60, 50), (80, 75), (100, 100)])
def test_pneumatic_signal_is_linear_from_20_to_100_kpa(kpa: float, percent: float) -> None:
    # 20-100 kPa: IEC 60382:1991
    signal = Scale(raw_low=0, value_low=20e3, raw_high=100, value_high=100e3)
    assert signal.to_raw(parse(f"{kpa} kPa", Dimension.PRESSURE)) == pytest.approx(percent, abs=1e-9)


def test_3_to_15_psi_is_not_20_to_100_kpa() -> None:
    # 3 psi = 20.684 kPa, 15 psi = 103.421 kPa (computed); off by 0.86 and 4.28 % of an 80 kPa span
    low, high = (parse(text, Dimension.PRESSURE) / 1e3 for text in ("3 psi", "15 psi"))
    assert low == pytest.approx(20.684, abs=5e-4)
    assert high == pytest.approx(103.421, abs=5e-4)
    assert (low - 20) / 80 == pytest.approx(0.0086, abs=5e-5)
    assert (high - 100) / 80 == pytest.approx(0.0428, abs=5e-5)
    assert UNIT_SETS["kPa"].text(Dimension.PRESSURE, 1e3 * low) == "20.7 kPa"
    assert UNIT_SETS["psi"].text(Dimension.PRESSURE, 100e3) == "14.5 psi"


def test_levels_of_ne_43_in_per_cent_of_the_signal() -> None:
    # NAMUR NE 43 as quoted: window 3.8 to 20.5 mA, failed at 3.6 and 21 mA; per cent computed
    live = ne43(PERCENT_OF_LOOP)
    levels = [PERCENT_OF_LOOP.to_si(raw) for raw in (live.failed_low, live.low, live.high, live.failed_high)]
    assert levels == pytest.approx([-2.5, -1.25, 103.125, 106.25], abs=1e-9)


@pytest.mark.parametrize(
    ("ma", "health"),
    [
        (3.5, Health.FAILED),
        (3.6, Health.FAILED),  # at the level counts as failed
        (3.601, Health.OUT_OF_RANGE),  # neither measurement nor failure
        (3.799, Health.OUT_OF_RANGE),
        (3.8, Health.GOOD),
        (4.0, Health.GOOD),
        (20.5, Health.GOOD),
        (20.501, Health.OUT_OF_RANGE),
        (20.999, Health.OUT_OF_RANGE),
        (21.0, Health.FAILED),
        (22.0, Health.FAILED),
    ],
)
def test_health_of_a_current_loop(ma: float, health: Health) -> None:
    assert health_of(round(1000 * ma), ne43(PERCENT_OF_LOOP)) is health


@pytest.mark.parametrize("top", [4095, 27648, 10000])
def test_the_levels_lie_alike_on_any_raw_scale(top: int) -> None:
    scale = Scale(raw_low=0, value_low=0.0, raw_high=top, value_high=100.0)
    live = ne43(scale)
    assert scale.to_si(live.failed_low) == pytest.approx(-2.5)
    assert scale.to_si(live.high) == pytest.approx(103.125)
