"""What the curve says beside its quantities: friction that changes along the stroke, a seat that gives.

A sign is told where z = value / sqrt(u_noise^2 + u_sys^2 + u_pop^2) exceeds 3.3: of ten such signs a healthy
valve shows one by chance in a hundred checks. Noise is small here; how much healthy valves differ from each
other decides, and that is an assumption, stated with each sign.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from rig.analysis.budget import RECTANGULAR
from rig.analysis.corner import Corner
from rig.analysis.curve import BINS, INNER, OUTER
from rig.analysis.cycle import Findings
from rig.analysis.drag import CYCLE_SCATTER_PA, Drag
from rig.analysis.quantities import Noises
from rig.analysis.samples import Floats, Sensors
from rig.profile.model import Action, Profile
from rig.units import Dimension, UnitSet

LEAST_Z = 3.3
# Assumption: friction of a healthy valve is even along its stroke within 5 % of itself (standard). The
# simulated healthy ones are within 1 %.
EVEN_WITHIN = 0.05
# Hops make peaks of their own: up to 0.22 of the gap on 60 simulated sticking stems.
HOPS_PEAK = 0.5
# Assumption: seats give 0.5e-7 m/N, within the same (standard): metal next to nothing, soft ones 1e-7 m/N at
# most. A seat that gives more than 2.1e-7 m/N (4.7 kN/mm) is told.
SEAT_M_PER_N, SEAT_SD_M_PER_N = 0.5e-7, 0.5e-7


@dataclass(frozen=True, slots=True)
class Gap:
    """Width of the friction loop along the stroke, up less down, mean of the cycles [Pa]."""

    share: Floats  # middles of the parts, of the stroke
    width: Floats
    u: Floats  # standard, of each part: noise and scatter of the cycles
    lag_u: float  # what doubt about drag makes of different speeds in different parts


@dataclass(frozen=True, slots=True)
class Sign:
    value: float
    z: float
    place: float = 0.0  # share of the stroke


def gap_of(findings: Sequence[Findings], noises: Noises, drag: Drag) -> Gap | None:
    """`findings` freed of drag (Curve.without). None without a whole stroke both ways."""
    curves = [found.curve for found in findings if found.curve is not None]
    if not curves:
        return None
    gaps = np.stack([curve.gap_pa for curve in curves])
    seen = np.isfinite(gaps).all(axis=0)
    if seen.sum() < 5:
        return None
    gaps = gaps[:, seen]
    n = len(curves)
    noise = np.mean([c.gap_factor[seen] * noises.slide * c.slope**2 for c in curves], axis=0)
    scatter = gaps.var(axis=0, ddof=1) if n > 1 else np.zeros(gaps.shape[1])
    u = np.sqrt(np.maximum(noise + CYCLE_SCATTER_PA**2, scatter) / n)
    speed = np.mean([c.gap_speed[seen] for c in curves], axis=0)
    share = INNER + (np.flatnonzero(seen) + 0.5) / BINS * (OUTER - INNER)
    return Gap(share, gaps.mean(axis=0), u, drag.uncertainty_s * float(np.ptp(speed)))


def trend_and_peak(gap: Gap, sensors: Sensors) -> tuple[Sign, Sign]:
    """Change of the gap over the whole stroke, and its largest part above that line, over the mean gap.

    The line is that of Theil and Sen, the median of all slopes, which a narrow peak does not bend.
    """
    x, y = gap.share, gap.width
    i, j = np.triu_indices(len(x), 1)
    slope = float(np.median((y[j] - y[i]) / (x[j] - x[i])))
    rest = y - slope * x
    rest -= np.median(rest)
    mean = max(float(np.median(y)), 1.0)
    # Up and down at one travel lie close together on the transmitter: only its local span differs.
    bend = 4.0 * sensors.pressure_accuracy_pa / sensors.pressure_span_pa if sensors.pressure_span_pa else 0.0
    common = (RECTANGULAR * bend) ** 2 + EVEN_WITHIN**2 + (gap.lag_u / mean) ** 2
    peak = int(np.argmax(rest))
    of_line = sqrt(float(np.mean(gap.u**2)) * 12.0 / len(x))
    trend = Sign(slope / mean, abs(slope) / mean / sqrt((of_line / mean) ** 2 + common))
    top = float(rest[peak]) / mean
    return trend, Sign(top, top / sqrt((float(gap.u[peak]) / mean) ** 2 + common), float(x[peak]))


def seat_gives(
    findings: Sequence[Findings], noises: Noises, profile: Profile, sensors: Sensors, scan_s: float
) -> Sign | None:
    """How far the seat gives way for its load [m/N], from the resting line at its corners."""
    closing = profile.action is Action.AIR_TO_CLOSE
    slopes, variances = [], []
    for found in findings:
        for corner in (found.full, found.fall) if closing else (found.reseat, found.lift):
            if isinstance(corner, Corner) and corner.rest_span > 0.0 and corner.rate != 0.0:
                scans = max(corner.rest_span / abs(corner.rate) / scan_s, 3.0)
                slopes.append(corner.rest_slope)
                variances.append(12.0 * noises.rest / scans / corner.rest_span**2)
    if not slopes:
        return None
    n = len(slopes)
    scatter = float(np.var(slopes, ddof=1)) if n > 1 else 0.0
    noise = sqrt(max(float(np.mean(variances)), scatter) / n) / profile.area_m2
    gives = float(np.mean(slopes)) / profile.area_m2
    share = sensors.position_accuracy_m / sensors.position_span_m if sensors.position_span_m else 0.0
    u = sqrt(noise**2 + (2.0 * share * gives) ** 2 + SEAT_SD_M_PER_N**2)
    return Sign(gives, (gives - SEAT_M_PER_N) / u)


def signs_in_words(
    findings: Sequence[Findings],
    noises: Noises,
    drag: Drag,
    profile: Profile,
    sensors: Sensors,
    scan_s: float,
    sticking: bool,
    units: UnitSet,
) -> list[str]:
    """Words of advice for every sign that stands out."""
    lines = []
    gap = None if sensors.pressure_is_inferred else gap_of(findings, noises, drag)
    if gap is not None:
        trend, peak = trend_and_peak(gap, sensors)
        if trend.z > LEAST_Z:
            way = "grows" if trend.value > 0.0 else "falls"
            lines.append(
                f"Friction {way} along the stroke: the gap between up and down changes by "
                f"{abs(trend.value):.0%} of itself from rest to the end of travel. Look for a bent stem, or "
                "a guide or packing out of line."
            )
        if peak.z > LEAST_Z and peak.value > (HOPS_PEAK if sticking else 0.0):
            lines.append(
                f"Friction is {peak.value:.0%} higher than elsewhere at about {peak.place:.0%} of the "
                "stroke. Look for galling or a burr on stem and guide there."
            )
    seat = seat_gives(findings, noises, profile, sensors, scan_s)
    if seat is not None and seat.z > LEAST_Z:
        stiffness = units.text(Dimension.SPRING_RATE, 1.0 / seat.value, 2)
        lines.append(
            f"The seat gives way as if it were a spring of {stiffness}: more than a soft seat should. Check "
            "the seat ring, and that nothing lies in the seat."
        )
    return lines
