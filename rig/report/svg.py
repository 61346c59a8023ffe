"""The few SVG parts the plots are made of. Coordinates in CSS pixels (96 to the inch)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

from rig.analysis.samples import Floats


@dataclass(frozen=True, slots=True)
class Axis:
    """A linear axis: values `low..high` lie at pixels `start..end` (either way round)."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        return self.start + (value - self.low) * (self.end - self.start) / (self.high - self.low)

    def all_at(self, values: Floats) -> Floats:
        return self.start + (values - self.low) * (self.end - self.start) / (self.high - self.low)

    def clamped(self, value: float) -> float:
        return self.at(min(max(value, self.low), self.high))


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round values (1, 2, 5 times a power of ten) between low and high, roughly `about` of them."""
    raw = (high - low) / about
    power = 10.0 ** floor(log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw * 0.999)
    return steps(low, high, step)


def steps(low: float, high: float, step: float) -> list[float]:
    """Whole multiples of `step` from low to high."""
    return [index * step for index in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]


def text(x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> str:
    of_kind = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{of_kind}>{escape(words)}</text>'


def line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'


def box(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    x, y, width, height = min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1)
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" class="{kind}"/>'


def dot(x: float, y: float, kind: str) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" class="{kind}"/>'


def wedge(x: float, y: float, up: bool, kind: str) -> str:
    """A small triangle that points up or down."""
    way = -1.0 if up else 1.0
    base = y - way * 4.0
    points = f"{x:.1f},{y + way * 5.0:.1f} {x - 4.5:.1f},{base:.1f} {x + 4.5:.1f},{base:.1f}"
    return f'<polygon points="{points}" class="{kind}"/>'


def curve(xs: Sequence[float], ys: Sequence[float], kind: str) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(xs, ys, strict=True))
    return f'<polyline points="{points}" class="{kind}"/>'


def drawing(width: float, height: float, title: str, parts: Iterable[str]) -> str:
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img" aria-label="{escape(title)}">\n{body}\n</svg>'
    )
