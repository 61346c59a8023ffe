"""The output module's communication watchdog: outputs fall to their fail-safe values when nobody speaks."""

from dataclasses import dataclass

from rig.stand.model import Watchdog


@dataclass(slots=True)
class DogState:
    """One module's watchdog; disarmed at first where a register takes the timeout, else always armed."""

    setting: Watchdog
    timeout_s: float = 0.0
    fed_s: float | None = None  # None: nobody has spoken yet
    tripped: bool = False

    def __post_init__(self) -> None:
        if self.setting.timeout_register is None:
            self.timeout_s = self.setting.timeout_s

    def request(self, time_s: float, writes: bool) -> None:
        """A valid request came."""
        if self.tripped and self.setting.latched:
            return
        if writes or self.setting.fed_by == "any request":
            self.fed_s, self.tripped = time_s, False

    def written(self, register: int, value: int, time_s: float) -> None:
        """A service register was written."""
        if register == self.setting.timeout_register:
            self.timeout_s = value * self.setting.timeout_unit_s
            self.fed_s = time_s
        if register == self.setting.reset_register and value == self.setting.reset_value:
            self.tripped, self.fed_s = False, time_s

    def due_s(self) -> float | None:
        """When it will trip if nobody speaks, None if never [s]."""
        if self.tripped or self.timeout_s <= 0.0 or self.fed_s is None:
            return None
        return self.fed_s + self.timeout_s
