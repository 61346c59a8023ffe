"""The live range of a signal: outside it a number on the wire is no measurement."""

from math import isfinite

from rig.files import Section
from rig.stand.model import LiveRange, Scale

CURRENT_LOOP = "4-20 mA"
# NAMUR NE 43: failed at or below 3.6 mA and at or above 21 mA; measuring window 3.8 to 20.5 mA.
NE43_MA = (3.6, 3.8, 20.5, 21.0)
KEYS = ("failed_low", "low", "high", "failed_high")


def read_live(section: Section, scale: Scale | None, number: tuple[float, float]) -> LiveRange | None:
    """What `live` says, else what the signal implies of the scale, else None. `number`: what the type
    can hold."""
    signal = section.text_or_none("signal")
    given = section.section_or_none("live", "{failed_low: 3600, low: 3800, high: 20500, failed_high: 21000}")
    if signal is not None and " ".join(signal.split()) not in (CURRENT_LOOP, "none"):
        section.problem(
            "signal", f"'{signal}' is not known here", f"write {CURRENT_LOOP} or none, and live: for others"
        )
        return None
    if given is not None:
        return _given(given)
    if signal is None or signal == "none" or scale is None:
        return None
    live = ne43(scale)
    if live.failed_low < number[0] or live.failed_high > number[1]:
        section.problem(
            "signal",
            f"a failed loop reads {live.failed_low:g} or {live.failed_high:g}, which the type cannot hold",
            "a broken wire would look like a measurement: use a type with a sign, or give live:",
        )
    return live


def ne43(scale: Scale) -> LiveRange:
    """The NE 43 levels as raw numbers, where the two points of the scale are 4 mA and 20 mA."""
    per_ma = (scale.raw_high - scale.raw_low) / 16.0
    return LiveRange(*(scale.raw_low + (level - 4.0) * per_ma for level in NE43_MA))


def _given(section: Section) -> LiveRange | None:
    levels = [_raw(section, key) for key in KEYS]
    section.finish()
    if not all(isfinite(level) for level in levels):
        return None
    failed_low, low, high, failed_high = levels
    if not failed_low < low < high < failed_high:
        section.problem("", "is not in order", "failed_low < low < high < failed_high")
        return None
    return LiveRange(failed_low, low, high, failed_high)


def _raw(section: Section, key: str) -> float:
    text = section.text(key, "3600")
    try:
        return float(text) if text else float("nan")
    except ValueError:
        section.problem(key, f"'{text}' is not a raw number", "the number in the register, without a unit")
        return float("nan")
