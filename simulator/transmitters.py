"""Transmitters: from a true value to a raw count, with every way of being wrong. SI until the count."""

from dataclasses import dataclass
from math import exp, inf
from random import Random

from rig.stand.model import AnalogChannel, Number

LIMITS = {
    Number.INT16: (-32768.0, 32767.0),
    Number.UINT16: (0.0, 65535.0),
    Number.INT32: (-2147483648.0, 2147483647.0),
    Number.UINT32: (0.0, 4294967295.0),
    Number.FLOAT32: (-3.4e38, 3.4e38),
}


@dataclass(frozen=True, slots=True)
class Errors:
    """How a transmitter differs from a perfect one; shares are of the channel's span."""

    noise_share: float = 0.0001  # standard deviation
    zero_share: float = 0.0
    span_share: float = 0.0  # of the value
    lag_s: float | None = None  # None: what the stand file states
    resolution_share: float = 0.0  # of the transmitter itself, before the count
    update_s: float = 0.0  # a new value only this often
    drift_share_per_s: float = 0.0
    drift_share_per_k: float = 0.0  # of room temperature away from 20 degC


PERFECT = Errors(noise_share=0.0, lag_s=0.0)


@dataclass(slots=True)
class Spoiled:
    """What a fault does to a transmitter at present."""

    stuck: bool = False
    offset: float = 0.0  # SI
    factor: float = 1.0  # around the low end of the range: wrong range jumper
    spike_chance: float = 0.0  # a sample
    spike: float = 0.0  # SI
    dropout_chance: float = 0.0  # a sample reads as a broken loop
    failed_low: bool = False
    failed_high: bool = False
    upside_down: bool = False


class Transmitter:
    """One analog input. `follow` gives it the truth as time goes by, `raw` is what the register holds."""

    def __init__(self, channel: AnalogChannel, errors: Errors, random: Random) -> None:
        self.channel, self.errors, self.random = channel, errors, random
        self.lag_s = channel.lag_s if errors.lag_s is None else errors.lag_s
        self.room_offset_k = 0.0
        self.spoiled = Spoiled()
        self._true: float | None = None
        self._lagged = 0.0
        self._time_s = 0.0
        self._next_s = -inf
        self._raw = 0.0
        low, high = LIMITS[channel.number]
        self._register_low, self._register_high = low, high
        live = channel.live
        if live is not None:  # a healthy transmitter saturates at the edge of its live range (NE 43)
            low, high = max(low, min(live.low, live.high)), min(high, max(live.low, live.high))
        self._low, self._high = low, high
        self._float = channel.number is Number.FLOAT32
        scale = channel.scale
        self._span, self._base = scale.span, min(scale.value_low, scale.value_high)
        self._per_count = scale.per_count

    def follow(self, time_s: float, true: float) -> None:
        """First-order lag, exact for a straight line between the calls."""
        if self._true is None:
            self._true = self._lagged = true
        step = time_s - self._time_s
        if step > 0.0:
            if self.lag_s > 0.0:
                slope = (true - self._true) / step
                behind = self._lagged - self._true + slope * self.lag_s
                self._lagged = true - slope * self.lag_s + behind * exp(-step / self.lag_s)
            else:
                self._lagged = true
        self._time_s, self._true = time_s, true
        if time_s >= self._next_s:
            self._next_s = time_s + self.errors.update_s
            self._raw = self._measure(time_s)

    @property
    def raw(self) -> float:
        """The number in the register; a whole one unless the register holds a float."""
        return self._raw

    def _measure(self, time_s: float) -> float:
        s = self.spoiled
        if s.failed_low or s.failed_high or (s.dropout_chance and self.random.random() < s.dropout_chance):
            return self._failure(s.failed_high)
        if s.stuck:
            return self._raw
        e, span, base, value = self.errors, self._span, self._base, self._lagged
        if s.upside_down:
            value = 2.0 * base + span - value
        value = base + (value - base) * s.factor + s.offset
        if s.spike_chance and self.random.random() < s.spike_chance:
            value += s.spike
        drift = e.drift_share_per_s * time_s + e.drift_share_per_k * self.room_offset_k
        value += value * e.span_share + (e.zero_share + drift) * span
        if e.noise_share:
            value += self.random.gauss(0.0, e.noise_share * span)
        if e.resolution_share:
            grain = e.resolution_share * span
            value = round(value / grain) * grain
        scale = self.channel.scale
        raw = scale.raw_low + (value - scale.value_low) / self._per_count
        if raw > self._high:
            raw = self._high
        elif raw < self._low:
            raw = self._low
        return raw if self._float else float(round(raw))

    def _failure(self, high: bool) -> float:
        """NE 43 failure level just beyond the live range; without a live range the end of the register."""
        live = self.channel.live
        if live is None:
            return float("nan") if self._float else (self._register_high if high else self._register_low)
        beyond = 0.01 * (live.failed_high - live.failed_low)
        raw = live.failed_high + beyond if high else live.failed_low - beyond
        raw = min(max(raw, self._register_low), self._register_high)
        return raw if self._float else float(round(raw))
