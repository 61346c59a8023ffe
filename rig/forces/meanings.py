"""Both honest meanings of a bench range, side by side, from one measured (or allowed) friction and rate.

Set with friction included, the stem starts to move at the lower end; set spring only, it starts Ff/A later.
The price of the first is seat load (A p_lower − 2 Ff instead of A p_lower − Ff), of the second supply.
"""

from dataclasses import dataclass

from rig.forces.knowns import Knowns
from rig.forces.line import Line
from rig.forces.margins import Margin, first_out, margins_of
from rig.forces.process import Process
from rig.forces.setting import setting_of
from rig.forces.stroke import Stroke, stroke_of
from rig.profile.model import Basis


@dataclass(frozen=True, slots=True)
class Meaning:
    basis: Basis
    chosen: bool
    stroke: Stroke
    margins: tuple[Margin, ...]

    @property
    def first_out(self) -> Margin | None:
        return first_out(self.margins)


def meanings_of(knowns: Knowns, process: Process, required: Line) -> tuple[Meaning, ...]:
    """The profile's lower end set under each meaning, with the same spring, friction and travel."""
    found = []
    for basis in (Basis.FRICTION_INCLUDED, Basis.SPRING_ONLY):
        opens, rate = knowns.opens_with_air, knowns.setting.rate
        setting = setting_of(knowns.lower, knowns.friction_pa, basis, rate, opens)
        stroke = stroke_of(knowns, process, required, setting)
        margins = margins_of(knowns, process, stroke, required)
        found.append(Meaning(basis, knowns.profile.basis is basis, stroke, margins))
    return tuple(found)
