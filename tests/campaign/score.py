"""Scores of estimates against truth: root mean square error, bias, coverage, one-sided tails."""

from dataclasses import dataclass, field
from math import sqrt

from rig.analysis.result import QUANTITIES, CheckResult

PSI, INCH = 6894.757293168361, 0.0254
SHOWN = {  # unit in which a quantity is told, and its name
    "travel": (INCH, "in"),
    "friction": (1.0, "N"),
    "spring_rate": (1.0, "N/m"),
    "seat_load": (1.0, "N"),
}


@dataclass
class Score:
    errors: list[float] = field(default_factory=list)
    uncertainties: list[float] = field(default_factory=list)  # standard
    covered: list[bool] = field(default_factory=list)
    missing: int = 0

    def add(self, error: float, u: float, expanded: float) -> None:
        self.errors.append(error)
        self.uncertainties.append(u)
        self.covered.append(abs(error) <= expanded)

    @property
    def n(self) -> int:
        return len(self.errors)

    @property
    def rmse(self) -> float:
        return sqrt(sum(e * e for e in self.errors) / max(self.n, 1))

    @property
    def bias(self) -> float:
        return sum(self.errors) / max(self.n, 1)

    @property
    def coverage(self) -> float:
        return sum(self.covered) / max(self.n, 1)

    def beyond(self, sign: int, z: float = 1.645) -> float:
        """Share of errors on one side beyond z standard uncertainties."""
        pairs = zip(self.errors, self.uncertainties, strict=True)
        return sum(sign * e > z * u for e, u in pairs) / max(self.n, 1)


class Board:
    """Scores of all quantities; `half_band` is friction as a pressure."""

    def __init__(self) -> None:
        self.scores: dict[str, Score] = {key: Score() for key in (*QUANTITIES, "half_band")}

    def add(self, result: CheckResult, true: dict[str, float], area_m2: float) -> None:
        for key in QUANTITIES:
            quantity, score = result.quantities[key], self.scores[key]
            if quantity.value is None or quantity.standard_uncertainty is None:
                score.missing += 1
                continue
            error = quantity.value - true[key]
            u = quantity.standard_uncertainty
            expanded = quantity.expanded_uncertainty or 0.0
            score.add(error, u, expanded)
            if key == "friction":
                self.scores["half_band"].add(error / area_m2, u / area_m2, expanded / area_m2)

    def table(self) -> str:
        lines = [
            f"{'quantity':18s}{'unit':>5s}{'n':>6s}{'missing':>8s}{'RMSE':>10s}{'bias':>10s}{'median u':>10s}"
            f"{'cover95':>9s}{'low tail':>9s}{'high tail':>10s}"
        ]
        for key, score in self.scores.items():
            unit, name = SHOWN.get(key, (PSI, "psi"))
            middle = sorted(score.uncertainties)[score.n // 2] if score.n else 0.0
            lines.append(
                f"{key:18s}{name:>5s}{score.n:6d}{score.missing:8d}{score.rmse / unit:10.5f}"
                f"{score.bias / unit:+10.5f}"
                f"{middle / unit:10.5f}{score.coverage:9.3f}{score.beyond(-1):9.3f}{score.beyond(1):10.3f}"
            )
        return "\n".join(lines)
