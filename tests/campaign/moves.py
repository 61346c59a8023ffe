"""The watch on the stem: false alarms at rest, delay of a true one, false stops while the stem slides.

    python -m tests.campaign.measurement motion --runs 1000000

Reference plant: 105 in2, 20 psi over 1.125 in, noise in percent of 2 in, 50 scans/s. Delay is how far the
pressure has gone past lift-off when the watch says that the stem has moved, on a ramp of so many psi/s.
"""

import random
from dataclasses import dataclass

from rig.analysis.motion import EndOfTravel, MotionWatch

PSI, INCH = 6894.757293168361, 0.0254
SCAN_S, SPAN_M = 0.02, 2.0 * INCH
M_PER_PSI = 0.05625 * INCH
REST_S = 4.0  # before lift-off, so that the baseline is there
NOISES, RATES = (0.02, 0.1, 0.25), (0.5, 1.0, 3.0)  # percent of span; psi/s


@dataclass(frozen=True)
class Alarms:
    name: str
    left_rest: int
    moving: int  # scans in which the stem was said to be moving
    scans: int

    def told(self) -> str:
        return (
            f"at rest, noise {self.name}: left its rest {self.left_rest} times, "
            f"moving in {self.moving} scans, of {self.scans}"
        )


def at_rest(name: str, given: float | None, scans: int, seed: int = 7, each: int = 25) -> Alarms:
    """A stem that never moves. `moving` looks half a second back, so it is asked every `each` scans."""
    noise, watch, left, moving = random.Random(seed), MotionWatch(given), 0, 0
    for scan in range(scans):
        if watch.update(scan * SCAN_S, noise.gauss(0.0, 1.0)):
            left += 1
            watch.restart()
        if scan % each == 0:
            moving += watch.moving
    return Alarms(name, left, moving, scans)


def delays_psi(percent: float, rate_psi_per_s: float, starts: int) -> list[float]:
    """Delays of alarms, sorted; a false one before lift-off counts as negative."""
    sigma, found = percent / 100.0 * SPAN_M, []
    for seed in range(starts):
        noise, watch, now = random.Random(f"{percent} {rate_psi_per_s} {seed}"), MotionWatch(sigma), 0.0
        while not watch.left_rest and now < REST_S + 60.0:
            past_psi = rate_psi_per_s * (now - REST_S)
            watch.update(now, M_PER_PSI * max(0.0, past_psi) + noise.gauss(0.0, sigma))
            now += SCAN_S
        found.append(rate_psi_per_s * (now - SCAN_S - REST_S))
    return sorted(found)


def false_stops(percent: float, rate_psi_per_s: float, scans: int, over_psi: float = 1.5) -> int:
    """How often a sliding stem is said to have come to its stop."""
    noise, sigma, stops = random.Random(f"stops {percent}"), percent / 100.0 * SPAN_M, 0
    watch = EndOfTravel(M_PER_PSI / PSI, over_psi * PSI, sigma)
    for scan in range(scans):
        pressure_psi = rate_psi_per_s * scan * SCAN_S
        place = M_PER_PSI * pressure_psi + noise.gauss(0.0, sigma)
        stops += watch.update(scan * SCAN_S, place, pressure_psi * PSI)
    return stops


def report(scans: int, starts: int = 400) -> str:
    lines = [at_rest("known", 1.0, scans).told(), at_rest("learned", None, scans).told()]
    lines.append(f"{'noise':>8s}{'psi/s':>7s}{'mean delay, psi':>17s}{'95 %, psi':>11s}{'false stops':>13s}")
    for percent in NOISES:
        for rate in RATES:
            found = delays_psi(percent, rate, starts)
            mean, late = sum(found) / starts, found[int(0.95 * starts)]
            stops = false_stops(percent, rate, scans // 10)
            lines.append(f"{percent:7.2f}%{rate:7.1f}{mean:17.3f}{late:11.3f}{stops:13d}")
    return "\n".join(lines)
