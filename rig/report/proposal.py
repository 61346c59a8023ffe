"""A profile proposed from a measured stroke: each value marked measured or given, none invented."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import floor

from rig.analysis.result import CheckResult, Quantity
from rig.profile.model import Basis, Profile, Tolerance
from rig.profile.write import Entry, profile_yaml
from rig.report.words import decimals_for, in_inches, plain, travel_text
from rig.units import INCH_M, QUANTITY_DIMENSION, Dimension, UnitSet, inches_text

GIVEN = "given: the record's profile"
NEARLY = 0.1  # of a step: a travel this little below a round one was meant to reach it


class NotMeasured(Exception):  # noqa: N818 - told to a person
    """What a profile cannot do without was not measured."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """`profile` is the record's with the given area, `result` its stroke analysed with that area."""

    profile: Profile
    result: CheckResult
    units: UnitSet
    model: str
    record_id: str

    def text(self) -> str:
        """The file's text. Raises NotMeasured."""
        return profile_yaml(self._entries())

    def _entries(self) -> Iterator[Entry]:
        profile = self.profile
        yield Entry("model", self.model, "given")
        yield Entry("title", profile.title, GIVEN)
        yield Entry("action", profile.action.value, GIVEN)
        yield Entry(
            "effective_area", self._text(Dimension.AREA, profile.area_m2), "given: no stroke measures it"
        )
        yield self._travel()
        yield Entry("travel_surplus", self._length(profile.travel_surplus_m), GIVEN)
        if profile.actuator_stroke_m is not None:
            yield Entry("actuator_stroke", self._length(profile.actuator_stroke_m), GIVEN)
        yield Entry("casing_maximum", self._pressure(profile.casing_maximum_pa), GIVEN)
        yield Entry("supply", self._pressure(profile.supply_pa), GIVEN)
        yield self._measured("spring_rate", "spring_rate")
        yield from self._thread()
        yield from self._load()
        yield from self._bench()
        yield self._measured("trim.packing_friction", "friction", "half band")
        yield Entry("notes", f"proposed from record {self.record_id}", "")

    def _bench(self) -> Iterator[Entry]:
        included = self.profile.basis is Basis.FRICTION_INCLUDED
        ends = ("lift_off", "full_travel") if included else ("spring_only_lower", "spring_only_upper")
        for field, key in zip(("lower", "upper"), ends, strict=True):
            yield self._needed(f"bench_range.{field}", key)
        yield Entry("bench_range.basis", self.profile.basis.value, f"{GIVEN}; the ends above were read on it")
        yield from self._tolerance("lower_tolerance", self.profile.lower_tolerance)
        yield from self._tolerance("upper_tolerance", self.profile.upper_tolerance)

    def _tolerance(self, key: str, tolerance: Tolerance) -> Iterator[Entry]:
        minus, plus = self._pressure(tolerance.minus), self._pressure(tolerance.plus)
        value = minus if minus == plus else f"{{minus: {minus}, plus: {plus}}}"
        yield Entry(f"bench_range.{key}", value, GIVEN)

    def _thread(self) -> Iterator[Entry]:
        pitch = self.profile.adjuster_pitch_m
        if pitch is not None:
            yield Entry("adjuster_thread", f"{pitch * 1e3:.6g} mm", f"{GIVEN}; the pitch")

    def _load(self) -> Iterator[Entry]:
        load = self.profile.needed_seat_load_n
        if load is not None:
            yield Entry("required_seat_load", self._text(Dimension.FORCE, load), GIVEN)

    def _travel(self) -> Entry:
        """Rated travel lies at or below what was measured: the next thirty-second of an inch, or half mm."""
        quantity = self._seen("travel")
        assert quantity.value is not None, "seen means measured"
        step = INCH_M / 32 if in_inches(self.units) else 0.5e-3
        rated = floor(quantity.value / step + NEARLY) * step
        shown = inches_text(rated) if in_inches(self.units) else f"{rated * 1e3:g} mm"
        return Entry(
            "rated_travel", shown, f"{self._words(quantity)}, rounded down: check it against the tag"
        )

    def _measured(self, field: str, key: str, note: str = "") -> Entry:
        """Measured, or left out with the reason."""
        quantity = self.result.quantities.get(key)
        if quantity is None or quantity.value is None:
            why = quantity.why if quantity is not None and quantity.why else "no reason given"
            return Entry(field, "", f"not measured: {why}")
        words = self._words(quantity)
        return Entry(field, self._value(quantity), f"{words}; {note}" if note else words)

    def _needed(self, field: str, key: str) -> Entry:
        self._seen(key)
        return self._measured(field, key)

    def _seen(self, key: str) -> Quantity:
        quantity = self.result.quantities.get(key)
        if quantity is None or quantity.value is None:
            why = quantity.why if quantity is not None and quantity.why else "no reason given"
            name = key.replace("_", " ")
            raise NotMeasured(f"no profile can be proposed: {name} was not measured ({why})")
        return quantity

    def _value(self, quantity: Quantity) -> str:
        dimension = QUANTITY_DIMENSION[quantity.key]
        assert quantity.value is not None, "a measured quantity"
        value = self.units.to(dimension, quantity.value)
        return f"{value:.{decimals_for(self._spread(quantity), value)}f} {self.units.symbol(dimension)}"

    def _spread(self, quantity: Quantity) -> float | None:
        dimension, spread = QUANTITY_DIMENSION[quantity.key], quantity.expanded_uncertainty
        return None if spread is None else self.units.to(dimension, spread)

    def _words(self, quantity: Quantity) -> str:
        value, spread = self._value(quantity), self._spread(quantity)
        if spread is None:
            return f"measured: {value}"
        number, symbol = value.split(" ", 1)
        decimals = len(number.partition(".")[2])
        return f"measured: {number} ± {spread:.{decimals}f} {symbol}"

    def _text(self, dimension: Dimension, si: float) -> str:
        return f"{plain(self.units.to(dimension, si))} {self.units.symbol(dimension)}"

    def _pressure(self, pressure_pa: float) -> str:
        return self._text(Dimension.PRESSURE, pressure_pa)

    def _length(self, length_m: float) -> str:
        return (
            travel_text(self.units, length_m)
            if in_inches(self.units)
            else self._text(Dimension.LENGTH, length_m)
        )
