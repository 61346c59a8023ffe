"""What a profile says of trim, packing, process and springs to be had, as label and words."""

from collections.abc import Iterator

from rig.profile.model import Flow, Plug, Profile, Trim
from rig.units import Dimension, UnitSet, inches_text

Row = tuple[str, str]
PLUGS = {
    Plug.PUSH_DOWN_TO_CLOSE: "push-down-to-close: the stem comes out on the body's side",
    Plug.PUSH_DOWN_TO_OPEN: "push-down-to-open: the stem comes out through the port",
}
FLOWS = {
    Flow.FLOW_TO_OPEN: "flow-to-open: the inlet is on the port's side of the plug",
    Flow.FLOW_TO_CLOSE: "flow-to-close: the inlet is on the body's side of the plug",
}


def trim_rows(profile: Profile, units: UnitSet) -> Iterator[Row]:
    """Only what is there; 'stemrig forces' tells what is missing for which figure."""
    trim = profile.trim
    if trim.plug is not None:
        yield "Plug", PLUGS[trim.plug]
    if trim.flow is not None:
        yield "Flow", FLOWS[trim.flow]
    yield from _sizes(trim, units)
    if trim.packing_friction_n is not None:
        yield "Packing friction", f"{_force(units, trim.packing_friction_n)} allowed for, half band"
    if trim.moving_weight_n is not None:
        yield "Moving weight", f"{_force(units, trim.moving_weight_n)}; in service {trim.mounting.value}"
    yield from _process(trim, units)
    if profile.supply_margin_pa is not None:
        yield "Supply margin", f"{units.text(Dimension.PRESSURE, profile.supply_margin_pa)} wanted"
    if profile.obtainable_ranges_pa:
        text = units.text
        ranges = (
            f"{text(Dimension.PRESSURE, lower)} to {text(Dimension.PRESSURE, upper)}"
            for lower, upper in profile.obtainable_ranges_pa
        )
        yield "Springs to be had", ", ".join(ranges)


def _sizes(trim: Trim, units: UnitSet) -> Iterator[Row]:
    if trim.seat_bore_m is not None:
        yield "Seat bore", _length(units, trim.seat_bore_m)
    if trim.seat_line_load_n_per_m is not None:
        load = units.text(Dimension.LINE_LOAD, trim.seat_line_load_n_per_m)
        yield "Seat line load", f"{load}, from {trim.seat_line_load_source}"
    if trim.stem_diameter_m is not None:
        yield "Stem diameter", _length(units, trim.stem_diameter_m)
    if trim.balanced and trim.balance_seal_bore_m is not None:
        yield "Balanced plug", f"its seal runs in a bore of {_length(units, trim.balance_seal_bore_m)}"
    if trim.unbalanced_area_m2 is not None:
        yield "Unbalanced area", units.text(Dimension.AREA, trim.unbalanced_area_m2)


def _process(trim: Trim, units: UnitSet) -> Iterator[Row]:
    for label, before, behind in (
        ("Process at shut-off", trim.upstream_pa, trim.downstream_pa),
        ("Process wide open", trim.open_upstream_pa, trim.open_downstream_pa),
    ):
        parts = [
            f"{units.text(Dimension.PRESSURE, pressure)} {where}"
            for pressure, where in ((before, "before the plug"), (behind, "behind it"))
            if pressure is not None
        ]
        if parts:
            yield label, ", ".join(parts)


def _force(units: UnitSet, force_n: float) -> str:
    return units.text(Dimension.FORCE, force_n)


def _length(units: UnitSet, length_m: float) -> str:
    inches = units.symbol(Dimension.LENGTH) == "in"
    return inches_text(length_m) if inches else units.text(Dimension.LENGTH, length_m)
