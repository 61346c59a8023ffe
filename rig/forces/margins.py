"""Margins as factors: what there is over what it takes. Below 1 is short; the smallest runs out first."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from rig.forces.knowns import Knowns
from rig.forces.line import Line, derived
from rig.forces.process import Process
from rig.forces.stroke import Stroke


@dataclass(frozen=True, slots=True)
class Margin:
    """`factor` is None where it cannot be computed; infinite where nothing is needed."""

    name: str
    available: Line
    required: Line
    factor: float | None
    needs: tuple[str, ...] = ()

    @property
    def short(self) -> bool:
        return self.factor is not None and self.factor < 1.0


def margin(name: str, available: Line, required: Line) -> Margin:
    needs = tuple(dict.fromkeys((*available.needs, *required.needs)))
    if available.value is None or required.value is None:
        return Margin(name, available, required, None, needs)
    if required.value <= 0.0:
        return Margin(name, available, required, inf)
    return Margin(name, available, required, available.value / required.value)


def margins_of(knowns: Knowns, process: Process, stroke: Stroke, required: Line) -> tuple[Margin, ...]:
    """Every margin of this setting, in service too where the profile states the process."""
    found = [
        margin("seat load", stroke.seat_load, required),
        margin("supply", knowns.supply, stroke.supply),
        *(margin(*parts) for parts in _returns(knowns, stroke)),
        margin("casing", knowns.casing, knowns.supply),
    ]
    if process.stated:
        found += [
            margin("seat load in service", stroke.seat_load_service, required),
            margin("supply in service", knowns.supply, stroke.supply_service),
            *(margin(*parts) for parts in _returns_in_service(knowns, process, stroke)),
        ]
    return tuple(found)


def first_out(margins: Iterable[Margin]) -> Margin | None:
    """The smallest factor: what runs out first."""
    known = [m for m in margins if m.factor is not None]
    return min(known, key=lambda m: m.factor if m.factor is not None else inf, default=None)


def _returns(knowns: Knowns, stroke: Stroke) -> list[tuple[str, Line, Line]]:
    """The spring has to push the stem home against friction."""
    return [("spring return", stroke.preload, knowns.friction)]


def _returns_in_service(knowns: Knowns, process: Process, stroke: Stroke) -> list[tuple[str, Line, Line]]:
    pairs = [("at rest", stroke.preload, process.resisting_rest)]
    pairs.append(("at full travel", stroke.spring_full, process.resisting_full))
    return [
        (
            f"return {where}, in service",
            derived(
                "return_force",
                f"{spring.name} and process",
                spring.dimension,
                "{} + {}",
                lambda s, r: s + r,
                spring,
                resisting,
            ),
            knowns.friction,
        )
        for where, spring, resisting in pairs
    ]
