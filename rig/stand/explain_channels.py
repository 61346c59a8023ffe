"""One signal of a stand in people's words: where it is, what its number means, how well it is known."""

from collections.abc import Iterator

from rig.stand.blocks import words as registers_of
from rig.stand.file_channels import dimension_of
from rig.stand.model import AnalogChannel, BitChannel, LiveRange
from rig.units import UnitSet


def analog_words(channel: AnalogChannel, units: UnitSet) -> Iterator[str]:
    """Some lines: place and type, scale, live range, accuracy and calibration."""
    dimension, scale = dimension_of(channel.role), channel.scale
    order = f", {channel.word_order.value}" if registers_of(channel.number) > 1 else ""
    yield f"{place(channel)}, {channel.number.value}{order}"
    low, high = (units.text(dimension, value) for value in (scale.value_low, scale.value_high))
    yield f"{scale.raw_low:.10g} is {low}, {scale.raw_high:.10g} is {high}"
    if channel.live is not None:
        yield _live(channel.live)
    calibration = channel.calibration
    share = 100 * calibration.accuracy / scale.span
    lag = f"; follows with a lag of {1000 * channel.lag_s:g} ms" if channel.lag_s else ""
    yield f"± {units.text(dimension, calibration.accuracy, 2)} ({share:.2g} % of span){lag}"
    dates = [
        f"calibrated {calibration.calibrated}" if calibration.calibrated else "",
        f"due {calibration.due}" if calibration.due else "no due date given",
        f"certificate {calibration.certificate}" if calibration.certificate else "",
    ]
    yield ", ".join(part for part in dates if part)


def _live(live: LiveRange) -> str:
    return (
        f"live from {live.low:.7g} to {live.high:.7g}; failed at or below {live.failed_low:.7g} "
        f"and at or above {live.failed_high:.7g}"
    )


def bit_words(channel: BitChannel) -> str:
    sense = "0 means yes" if channel.inverted else "1 means yes"
    if channel.role in ("supply_valve", "supply_valve_readback"):
        sense = f"{0 if channel.inverted else 1} is open"
    if channel.role in ("vent_valve", "vent_valve_readback"):
        sense = "0 vents, as it does when the module fails" if channel.inverted else "1 vents"
    return f"{place(channel)}: {sense}"


def place(channel: AnalogChannel | BitChannel) -> str:
    """'outputs, holding register 0' or 'cabinet, input register 30, bit 3'."""
    bit = getattr(channel, "bit", None)
    of_it = "" if bit is None else f", bit {bit}"
    return f"{channel.module}, {channel.table.value[:-1]} {channel.address}{of_it}"
