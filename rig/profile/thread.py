"""The thread of an adjuster: how far one turn moves the spring seat."""

import re

from rig.units import INCH_M, Dimension, UnitError, parse

_UNIFIED = re.compile(
    r"^(?:\d+/\d+|\d+-\d+/\d+|\d+)\s*-\s*(\d+)(?:\s*UN[A-Z]*(?:-\d[AB])?)?(?:\s*LH)?$", re.I
)
_METRIC = re.compile(r"^M\s*\d+(?:\.\d+)?\s*[x×]\s*(\d+(?:\.\d+)?)$", re.I)
EXAMPLE = "1/2-20 UNF, M12 x 1.75, or the pitch alone: 1.27 mm"


def thread_pitch_m(designation: str) -> float:
    """Pitch [m]: of '1/2-20 UNF' 25.4 mm / threads per inch (ASME B1.1), 'M12 x 1.75', or '1.27 mm' itself.

    Raises UnitError for text that is none of these.
    """
    text = " ".join(designation.split())
    if unified := _UNIFIED.match(text):
        threads_per_inch = int(unified[1])
        if threads_per_inch == 0:
            raise UnitError(f"'{designation}' has no threads", f"write it like {EXAMPLE}")
        return INCH_M / threads_per_inch
    if metric := _METRIC.match(text):
        return float(metric[1]) * 1e-3
    try:
        return parse(text, Dimension.LENGTH)
    except UnitError:
        raise UnitError(
            f"'{designation}' is neither a thread nor a pitch", f"write it like {EXAMPLE}"
        ) from None


def pressure_per_turn_pa(area_m2: float, spring_rate_n_per_m: float, pitch_m: float) -> float:
    """What one turn of the adjuster shifts the whole range by [Pa]: k · pitch / A (force balance)."""
    return spring_rate_n_per_m * pitch_m / area_m2
