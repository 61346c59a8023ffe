"""What happens beside the samples, rarely and in words: trips, refusals, modes, trouble on the link."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from safety.state import Trip

# Kinds of notice.
TRIP, REFUSED, MODE, LIMITED, LINK, WRITE = "trip", "refused", "mode", "limited", "link", "write failed"
PRIORITY = "priority"  # of the scan among the programs of this computer; for the record alone
ASTRAY = "written otherwise"
BY_HAND = "by hand"  # what people must do where the guard has come to its end
SILENT = "no reading"  # the scan does not answer: what is shown is old
WARNING = "warning"  # goes onto the sheet

AIR_LEFT = (
    "The casing may hold pressure, and the spring is loaded. Stay clear of the stem. Shut off the supply by "
    "hand, vent by hand, and go near only when a gauge at the casing shows nothing."
)

# A condition that comes and goes is told again only when it has been away for this long.
QUIET_S = 5.0


@dataclass(frozen=True, slots=True)
class Notice:
    time_s: float
    kind: str
    text: str
    trip: Trip | None = None  # with kind "trip"


class Teller:
    """Collects notices; the same words are told once for as long as they keep being true."""

    def __init__(self) -> None:
        self._waiting: list[Notice] = []
        self._last_true_s: dict[tuple[str, str], float] = {}

    def tell(self, time_s: float, kind: str, texts: Iterable[str]) -> None:
        for text in texts:
            if time_s - self._last_true_s.get((kind, text), -inf) > QUIET_S:
                self._waiting.append(Notice(time_s, kind, text))
            self._last_true_s[kind, text] = time_s

    def tell_anyway(self, notice: Notice) -> None:
        self._waiting.append(notice)

    def take(self) -> list[Notice]:
        taken, self._waiting = self._waiting, []
        return taken
