"""Which of the obtainable bench ranges would serve: each is another spring, set in the profile's meaning."""

from dataclasses import dataclass

from rig.forces.knowns import Knowns
from rig.forces.line import Line, given
from rig.forces.margins import Margin, first_out, margins_of
from rig.forces.process import Process
from rig.forces.setting import range_rate, setting_of
from rig.forces.stroke import Stroke, stroke_of
from rig.units import Dimension


@dataclass(frozen=True, slots=True)
class RangeChoice:
    lower_pa: float
    upper_pa: float
    stroke: Stroke
    margins: tuple[Margin, ...]

    @property
    def judged(self) -> bool:
        return all(m.factor is not None for m in self.margins)

    @property
    def serves(self) -> bool:
        """Every margin known and none short."""
        return self.judged and not any(m.short for m in self.margins)

    @property
    def first_out(self) -> Margin | None:
        return first_out(self.margins)


def range_choices(knowns: Knowns, process: Process, required: Line) -> tuple[RangeChoice, ...]:
    return tuple(
        range_choice(knowns, process, required, lower_pa, upper_pa)
        for lower_pa, upper_pa in knowns.profile.obtainable_ranges_pa
    )


def range_choice(
    knowns: Knowns, process: Process, required: Line, lower_pa: float, upper_pa: float
) -> RangeChoice:
    lower = given("lower", "lower end", Dimension.PRESSURE, lower_pa)
    upper = given("upper", "upper end", Dimension.PRESSURE, upper_pa)
    rate = range_rate(knowns.area, lower, upper, knowns.travel)
    basis, opens = knowns.profile.basis, knowns.opens_with_air
    setting = setting_of(lower, knowns.friction_pa, basis, rate, opens)
    stroke = stroke_of(knowns, process, required, setting)
    return RangeChoice(lower_pa, upper_pa, stroke, margins_of(knowns, process, stroke, required))


def best_range(choices: tuple[RangeChoice, ...]) -> RangeChoice | None:
    """Of those that serve, the one whose smallest margin is largest."""
    serving = [c for c in choices if c.serves]
    return max(serving, key=_smallest, default=None)


def _smallest(choice: RangeChoice) -> float:
    first = choice.first_out
    return first.factor if first is not None and first.factor is not None else 0.0
