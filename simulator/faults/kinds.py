"""Every fault by name: what its size means, and what it does."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from simulator.condition import Condition

if TYPE_CHECKING:
    from simulator.faults.runner import Running
    from simulator.stand import SimulatedStand

Apply = Callable[[Condition, "Running", "SimulatedStand", float], None]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault."""

    room: str  # wire | module | air | mechanics | transmitter | room
    size: str  # what the size means, with its unit
    what: str
    apply: Apply


KINDS: dict[str, Kind] = {}


def kind(name: str, room: str, size: str, what: str) -> Callable[[Apply], Apply]:
    """Register a kind."""

    def keep(apply: Apply) -> Apply:
        KINDS[name] = Kind(room, size, what, apply)
        return apply

    return keep
