"""What coupling and taking apart share: a stem held and watched while hands are at the connector."""

from collections.abc import Generator
from dataclasses import dataclass, field, replace

from rig.analysis.samples import Sensors
from rig.procedure.couple_words import CoupleWords
from rig.procedure.guided import Code, Guided, Large, Prompt, Stop
from rig.procedure.hold import Hold
from rig.procedure.watch import Stroke
from rig.profile.model import Profile
from rig.units import UNIT_SETS, Dimension, UnitSet
from safety.signals import Demand, Reading

STEADY_S = 1.5


@dataclass
class AtConnector(Guided):
    """`missing`: what the stand lacks against movement, in words; `isolating_valve`: whether it has one at
    the casing, which is shut by hand."""

    stroke: Stroke = field(init=False)
    profile: Profile = field(kw_only=True)
    sensors: Sensors = field(kw_only=True)
    highest_pa: float = field(kw_only=True)
    units: UnitSet = field(default=UNIT_SETS["psi"], kw_only=True)
    missing: tuple[str, ...] = field(default=(), kw_only=True)
    isolating_valve: bool = field(default=False, kw_only=True)

    words: CoupleWords = field(init=False)

    def __post_init__(self) -> None:
        self.stroke = Stroke(self.profile.rated_travel_m)
        self.remarks: list[str] = []
        self._hold: Hold | None = None

    def see(self, reading: Reading) -> None:
        super().see(reading)
        if self._hold is not None:
            self._hold.see(reading)

    def _to_the_end(self, start: str) -> Code[str]:
        """Walk through the steps; why it ended early, empty where it did not."""
        try:
            yield from self.walk(self.steps(), start)
        except Stop as stop:
            self.remark(str(stop))
            return str(stop)
        return ""

    def _watched(self, hold: Hold) -> Generator[Demand, Reading, None]:
        """Let a hold see where the stem stands."""
        began_s = self.now_s
        while self.now_s - began_s < STEADY_S:
            reading = yield hold.demand
            self.stroke.see(reading)
            hold.see(reading)

    def _place(self) -> Large:
        """The reading to watch while hands are in."""
        raise NotImplementedError

    def _where(self, name: str, hold: Hold) -> Large:
        return Large(name, Dimension.LENGTH, hold.travel_m, hold.plan.target_m, hold.plan.tolerance_m)

    def _watch(self, prompt: Prompt) -> Prompt:
        """The place renewed; what has moved is said, and never corrected with hands in."""
        off = None if self._hold is None else self._hold.off()
        caution = prompt.caution if off is None else f"{self.words.drifted(off)} {prompt.caution}"
        return replace(prompt, large=self._place(), caution=caution)

    def _pressure(self, prompt: Prompt) -> Prompt:
        large = prompt.large
        return replace(prompt, large=None if large is None else replace(large, value=self.stroke.pressure_pa))

    def _say(self, text: str) -> None:
        self.remarks.append(text)
        self.remark(text)
