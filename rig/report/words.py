"""What people read on sheet, table and screen: names of quantities by action, values with uncertainty."""

from math import floor, inf, isfinite, log10

from rig.analysis.result import CheckResult, Outcome, Quantity
from rig.profile.model import Action
from rig.record.reader import Record
from rig.stand.notice import AIR_LEFT, WARNING
from rig.units import QUANTITY_DIMENSION, Dimension, UnitSet, inches_text

AID_NOT_SAFETY = (
    "An operating aid, not a certified safety function. Local codes, lockout/tagout rules and licensed "
    "practice come first."
)
BEFORE_MOVEMENT = (
    "Eye protection on. Hands out of the yoke: the stem will move without further warning.",
    "Hoses and fittings tight, casing vent clear, emergency stop within reach.",
    "The stem connector stores spring energy: leave it alone during the check.",
    AID_NOT_SAFETY,
)
ON_THE_SHEET = (
    "The spring stores energy: before the stem connector is undone, lift the plug off its seat and hold it.",
    "Never exceed the casing maximum. A stand needs its own relief valve and emergency stop.",
    AID_NOT_SAFETY,
)

CHANGED = (
    "The files of this record are not those that the run wrote: somebody or something has changed them since."
)

_AIR_TO_OPEN = {
    "lift_off": "Lift-off",
    "sliding_intercept": "Sliding intercept",
    "full_travel": "Full travel",
    "return_start": "Start of return",
    "reseat": "Reseat",
    "travel": "Travel",
    "friction": "Friction",
    "spring_rate": "Spring rate",
    "spring_only_lower": "Spring only, lower",
    "spring_only_upper": "Spring only, upper",
    "seat_load": "Seat load, no air",
    "hysteresis": "Hysteresis",
}
_TERMS = {  # of IEC 61298-2 and ISA-51.1
    "inaccuracy_above": "Inaccuracy, above",
    "inaccuracy_below": "Inaccuracy, below",
    "travel_hysteresis": "Hysteresis",
    "dead_band": "Dead band",
    "non_repeatability": "Non-repeatability",
    "linearity_terminal": "Linearity, terminal-based",
    "linearity_independent": "Linearity, independent",
    "linearity_zero_based": "Linearity, zero-based",
}
_AIR_TO_OPEN |= _TERMS
_AIR_TO_CLOSE = _AIR_TO_OPEN | {
    "lift_off": "Leaves open stop",
    "full_travel": "Plug meets seat",
    "return_start": "Plug leaves seat",
    "reseat": "Back on open stop",
    "seat_load": "Seat load at supply",
}
_MEANING = {  # short enough for one line of the sheet's table
    "lift_off": "first movement, friction included",
    "sliding_intercept": "sliding line drawn back to rest",
    "full_travel": "end of travel, friction included",
    "return_start": "first movement coming back",
    "reseat": "back at rest",
    "travel": "rest to end of travel, never short",
    "friction": "area times half the gap",
    "spring_rate": "effective area times slope",
    "spring_only_lower": "mean of up and down at rest",
    "spring_only_upper": "mean of up and down at the end",
    "hysteresis": "widest gap between up and down",
    "inaccuracy_above": "largest error above the ideal line",
    "inaccuracy_below": "largest error below the ideal line",
    "travel_hysteresis": "averages falling less rising, widest",
    "dead_band": "reversal until the stem moves, of input",
    "non_repeatability": "widest spread at one point, one side",
    "linearity_terminal": "from the line through both ends",
    "linearity_independent": "from the line that fits best",
    "linearity_zero_based": "from the best line through the lower end",
}
_CORNERS = {
    "lift_off": "lift-off",
    "full_travel": "full travel",
    "return_start": "return",
    "reseat": "reseat",
}
_CORNERS_AIR_TO_CLOSE = {
    "lift_off": "leaves stop",
    "full_travel": "on seat",
    "return_start": "leaves seat",
    "reseat": "back on stop",
}


STOPPING = ("stop", "refused", "refusal")  # kinds of event that end a run without a trip
CUT_OFF = "The record ends before the run was ended: the program was killed, or could not write any more."


def causes_of(record: Record, result: CheckResult) -> tuple[str, ...]:
    """Why a run was stopped: its trips, the first cause first, else what a person did or was refused."""
    if result.trips or result.outcome is not Outcome.STOPPED:
        return result.trips
    told = tuple(event.text for event in record.events if event.kind in STOPPING)
    return told if record.closed else (*told, CUT_OFF)


def warnings_of(record: Record) -> tuple[str, ...]:
    """What a person must know before going near the valve."""
    told = tuple(event.text for event in record.events if event.kind == WARNING)
    return (CHANGED, *told) if record.changed else told


BY_TIME_ONLY = (
    "The casing is taken as vented only because the vent was open for long enough: nothing measures it. Look "
    "at a gauge."
)


def casing_words(record: Record, units: UnitSet) -> str:
    """Whether the air was gone at the end; empty where a warning tells that it is not known, or a record that
    was cut off cannot tell."""
    if not record.closed or any(event.text == AIR_LEFT for event in record.events):
        return ""
    if record.pressure_is_inferred:
        return BY_TIME_ONLY
    read = [value for value in record.samples.pressure_pa[-50:] if isfinite(value)]
    return (
        f"At the end the casing read {live_text(units, Dimension.PRESSURE, read[-1])}: vented."
        if read
        else ""
    )


def quantity_name(key: str, action: Action) -> str:
    return (_AIR_TO_CLOSE if action is Action.AIR_TO_CLOSE else _AIR_TO_OPEN)[key]


def quantity_meaning(key: str, action: Action) -> str:
    if key == "seat_load":
        return "supply above seating" if action is Action.AIR_TO_CLOSE else "effective area times reseat"
    return _MEANING[key]


def corner_name(key: str, action: Action) -> str:
    """The short name beside a corner of the plot."""
    return (_CORNERS_AIR_TO_CLOSE if action is Action.AIR_TO_CLOSE else _CORNERS)[key]


def ends(action: Action) -> tuple[str, str]:
    """What the stem rests against without air, and at the end of travel."""
    return ("open stop", "seat") if action is Action.AIR_TO_CLOSE else ("seat", "open stop")


def decimals_for(uncertainty: float | None, value: float) -> int:
    """Decimals for two digits of the uncertainty (JCGM 100:2008, 7.2.6), else for three of the value."""
    size = uncertainty if uncertainty and isfinite(uncertainty) else abs(value) / 10.0
    if size <= 0.0 or not isfinite(size):
        return 2
    return min(6, max(0, 1 - floor(log10(size))))


def measured_text(quantity: Quantity, units: UnitSet) -> tuple[str, str]:
    """Value, and ± expanded uncertainty, without the unit; dashes when not measured."""
    if quantity.value is None or quantity.outcome is Outcome.NOT_MEASURED:
        return "–", ""
    dimension = QUANTITY_DIMENSION[quantity.key]
    value = units.to(dimension, quantity.value)
    if quantity.expanded_uncertainty is None:
        return f"{value:.{decimals_for(None, value)}f}", ""
    spread = units.to(dimension, quantity.expanded_uncertainty)
    decimals = decimals_for(spread, value)
    return f"{value:.{decimals}f}", f"± {spread:.{decimals}f}"


def limits_text(quantity: Quantity, units: UnitSet) -> str:
    """'7.60 to 8.40', 'at least 680' or 'at most 3.1', without the unit; empty without limits."""
    if quantity.limits is None:
        return ""
    dimension = QUANTITY_DIMENSION[quantity.key]
    low, high = quantity.limits
    if low == -inf:
        return f"at most {plain(units.to(dimension, high))}"
    if high == inf:
        return f"at least {plain(units.to(dimension, low))}"
    return f"{plain(units.to(dimension, low))} to {plain(units.to(dimension, high))}"


def plain(value: float) -> str:
    """A limit as people write it: up to four significant digits, no idle zeros beyond two decimals."""
    if value == 0.0:
        return "0"
    decimals = min(4, max(0, 3 - floor(log10(abs(value)))))
    shown = f"{value:.{decimals}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def in_inches(units: UnitSet) -> bool:
    return units.symbol(Dimension.LENGTH) == "in"


def travel_text(units: UnitSet, travel_m: float) -> str:
    """A rated travel as people say it: '1-1/8 in' or '28.58 mm'."""
    if in_inches(units):
        return inches_text(travel_m)
    shown = f"{units.to(Dimension.LENGTH, travel_m) + 1e-9:.2f}"  # 28.575 is to end in 8, not in 7
    return f"{shown.rstrip('0').rstrip('.')} {units.symbol(Dimension.LENGTH)}"


_STEP = {Dimension.PRESSURE: 50.0, Dimension.LENGTH: 25e-6}  # Pa, m: finer than this no eye follows


def live_text(units: UnitSet, dimension: Dimension, si: float) -> str:
    """A value that changes while it is looked at: always as many decimals, and no minus before zero."""
    decimals = max(0, round(-log10(units.to(dimension, _STEP[dimension]))))
    return f"{units.to(dimension, si):z.{decimals}f} {units.symbol(dimension)}"


def pressure_range_text(units: UnitSet, lower_pa: float, upper_pa: float) -> str:
    """'8 to 30 psi'."""
    lower, upper = (plain(units.to(Dimension.PRESSURE, value)) for value in (lower_pa, upper_pa))
    return f"{lower} to {upper} {units.symbol(Dimension.PRESSURE)}"
