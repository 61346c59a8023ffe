"""What is wrong with the stand at this moment: faults write it, all others obey it."""

from dataclasses import dataclass, field

from simulator.transmitters import Spoiled


@dataclass(slots=True)
class Condition:
    """Healthy unless changed; made anew whenever faults are looked at."""

    # air
    supply_factor: float = 1.0
    pilot_override_pa: float | None = None
    pilot_frozen: bool = False
    hose_off: bool = False
    exhaust_factor: float = 1.0
    leak_extra: float = 0.0
    supply_valve_stuck: bool = False
    vent_valve_stuck: bool = False
    # mechanics
    friction_factor: float = 1.0
    jammed: bool = False
    spring_factor: float = 1.0
    debris_m: float = 0.0
    slip_m: float = 0.0
    # transmitters, by role
    spoiled: dict[str, Spoiled] = field(default_factory=dict)
    swapped: tuple[str, str] | None = None
    # output module, by name ("" for all)
    module_silent: set[str] = field(default_factory=set)
    outputs_stuck: set[str] = field(default_factory=set)
    writes_ignored: set[str] = field(default_factory=set)
    rebooting: set[str] = field(default_factory=set)
    # wire: kind -> size
    wire: dict[str, float] = field(default_factory=dict)
    power_cut: bool = False

    def of(self, role: str) -> Spoiled:
        """The transmitter of that role, to be spoiled."""
        return self.spoiled.setdefault(role, Spoiled())
