"""Travel over casing pressure, up and down, of twelve conditions of the simulated valve, as one SVG picture.

python bench/twelve_curves.py > docs/twelve-curves.svg
"""

import sys
from html import escape
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from simulator.actuator import Actuator
from simulator.scenario import load
from tests.simulator.oracle import ROOM_PA
from tests.simulator.test_against_scipy import HOLD_S, PSI, Ramp, marched

SHOWN = (
    "healthy-brine-letdown", "adjuster-off-gross", "wrong-spring-gross", "tight-packing-gross",
    "sticky-plug-gross", "bent-stem-gross", "galling-gross", "soft-seat-gross",
    "short-travel-gross", "end-coils-close", "effective-area-shrinks", "healthy-seawater-intake",
)  # fmt: skip
WIDE, HIGH, ACROSS = 220.0, 170.0, 4
LEFT, TOP, RIGHT, BOTTOM = 30.0, 34.0, 8.0, 26.0
MOST_PSI = 65.0
INCH = 0.0254
SLOW_PA_PER_S = 0.8 * PSI


class SlowRamp(Ramp):
    """Slow enough for the air to follow, with time to land."""

    def __init__(self, actuator: Actuator) -> None:
        super().__init__(actuator)
        self.up = self.top / SLOW_PA_PER_S
        self.corners = (0.0, self.up, self.up + HOLD_S, 2 * self.up + HOLD_S, 2 * self.up + HOLD_S + 10.0)

    def __call__(self, t: float) -> float:
        return max(0.0, min(SLOW_PA_PER_S * t, self.top, self.top - SLOW_PA_PER_S * (t - self.up - HOLD_S)))


def panel(name: str, column: int, row: int) -> str:
    """One small picture; every one has its own scale of travel, all share that of pressure."""
    scenario = load(name)
    ramp = SlowRamp(scenario.actuator)
    times, (casing, stem) = marched(scenario.actuator, ramp)
    psi, inch = (casing - ROOM_PA) / PSI, stem / INCH
    tall = max(0.25, float(np.ceil(inch.max() * 4.0) / 4.0))
    x = LEFT + np.clip(psi, 0.0, MOST_PSI) / MOST_PSI * (WIDE - LEFT - RIGHT)
    y = HIGH - BOTTOM - inch / tall * (HIGH - TOP - BOTTOM)
    turn = int(np.searchsorted(times, ramp.corners[2]))

    def line(part: slice, colour: str) -> str:
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[part][::8], y[part][::8], strict=True))
        return f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="1.5"/>'

    floor, right = HIGH - BOTTOM, WIDE - RIGHT
    title = escape(scenario.title.split(", ")[-1])
    ticks = "".join(
        f'<text x="{LEFT + at / MOST_PSI * (right - LEFT):.0f}" y="{floor + 13}" '
        f'text-anchor="middle">{at}</text>'
        for at in (0, 20, 40)
    )
    return (
        f'<g transform="translate({column * WIDE:.0f} {row * HIGH:.0f})">'
        f'<text x="{LEFT}" y="{TOP - 18}" font-weight="700">{title}</text>'
        f'<text x="{LEFT}" y="{TOP - 5}" fill="#55656f">{escape(scenario.actuator.action)}</text>'
        f'<rect x="{LEFT}" y="{TOP}" width="{right - LEFT}" height="{floor - TOP}" fill="none" '
        'stroke="#8b9aa3"/>'
        f'<text x="{LEFT - 4}" y="{TOP + 8}" text-anchor="end">{tall:g}</text>'
        f'<text x="{LEFT - 4}" y="{floor}" text-anchor="end">0</text>{ticks}'
        f'<text x="{right}" y="{floor + 13}" text-anchor="end" fill="#55656f">psi</text>'
        f"{line(slice(None, turn), '#0b4f6c')}{line(slice(turn, None), '#d4762c')}</g>"
    )


def main() -> None:
    rows = -(-len(SHOWN) // ACROSS)
    panels = "\n".join(panel(name, i % ACROSS, i // ACROSS) for i, name in enumerate(SHOWN))
    print(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {ACROSS * WIDE:.0f} {rows * HIGH:.0f}" '
        'font-family="Liberation Sans, Arial, sans-serif" font-size="10" role="img" '
        'aria-label="Travel in inches over casing pressure, twelve conditions">'
        f'<rect width="100%" height="100%" fill="#fff"/>\n{panels}\n</svg>'
    )


if __name__ == "__main__":
    main()
