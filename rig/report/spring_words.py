"""The setting of a spring as people and records keep it: from as-found by every adjustment to as-left."""

from typing import Any

from rig.analysis.adjuster import turns_text
from rig.procedure.set_spring import Look, SpringSetting
from rig.units import Dimension, UnitSet


def setting_record(setting: SpringSetting) -> dict[str, Any]:
    """For run.json of the check that follows, SI: turns in are positive; standard uncertainties."""
    return {
        "within tolerance": setting.within,
        "why not": setting.why,
        "wanted lower end (Pa)": setting.target_pa,
        "looks": [
            {
                "turns before it": look.turns,
                "lower end (Pa)": look.judged.value,
                "standard uncertainty (Pa)": look.judged.standard_uncertainty,
            }
            for look in setting.looks
        ],
        "remarks": list(setting.remarks),
    }


def setting_lines(setting: SpringSetting, units: UnitSet) -> list[str]:
    """One line a look, the reason where it did not come to its end."""
    lines = ["Lower end of the bench range, as the profile judges it:"]
    lines += [_line(at, look, setting.target_pa, units) for at, look in enumerate(setting.looks)]
    lines += list(setting.remarks)
    return [*lines, setting.why] if setting.why else lines


def _line(at: int, look: Look, target_pa: float, units: UnitSet) -> str:
    value, off = look.judged.value, look.judged.value - target_pa
    doubt = units.to(Dimension.PRESSURE, 2.0 * look.judged.standard_uncertainty)
    measured = units.text(Dimension.PRESSURE, value, decimals=2)
    away = f"{units.text(Dimension.PRESSURE, abs(off), decimals=2)} too {'high' if off > 0.0 else 'low'}"
    return f"{step_name(at, look.turns):<30} {measured} ± {doubt:.2g}, {away}"


def step_name(at: int, turns: float) -> str:
    """What was done before a look; `turns` in are positive."""
    if at == 0:
        return "as found"
    return f"{turns_text(turns)} {'in' if turns > 0.0 else 'out'}" if turns else "looked again"
