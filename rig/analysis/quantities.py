"""The quantities of a bench check, cycle by cycle, from what was found in the cycles.

Definitions (README.md has the picture): R is the half band friction / area. On the way up the stem leaves
its rest at P0 + R and meets its end of travel at P0 + kL/A + R; on the way down it leaves there at
P0 + kL/A - R and is back at rest at P0 - R. Spring only: P0 at rest, P0 + k L_rated / A at rated travel.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

import numpy as np

from rig.analysis.corner import PSI, Corner, Missing, pooled_noise
from rig.analysis.curve import Curve
from rig.analysis.cycle import Findings
from rig.analysis.drag import Drag
from rig.analysis.instruments import Instruments
from rig.analysis.measured import Measured, Seen
from rig.analysis.result import Component
from rig.analysis.samples import Floats
from rig.profile.model import Action, Profile

# What rounding of a corner leaves after the self-diagnosis, in travel of the stem: friction that has not
# finished reversing, a soft seat. Settled on simulated actuators; times dP/dx it is a pressure.
FLOOR_M = {"lift": 4e-6, "full": 3e-6, "fall": 4e-6, "reseat": 3e-6}
HALF_BAND_FLOOR_PA = 0.002 * PSI
NAMES = {
    "lift": "lift_off",
    "full": "full_travel",
    "fall": "return_start",
    "reseat": "reseat",
}
NEVER_ENDED = "the stem was still moving at the highest pressure of the stroke"
TWO_LINES = "crossing of the resting and the sliding line"
CURVE = "one line through both ways of the stroke, half a band apart"


@dataclass(frozen=True, slots=True)
class Noises:
    """Variance of one reading about the lines [m^2]: resting and sliding stem."""

    rest: float
    slide: float


@dataclass(frozen=True, slots=True)
class Quantities:
    """Builds the measured quantities of the given cycles."""

    findings: Sequence[Findings]
    profile: Profile
    instruments: Instruments
    noises: Noises
    sticking: bool
    drag: Drag

    # -- the corners -----------------------------------------------------------------------------

    def corner(self, where: str, key: str) -> Measured:
        """A corner's pressure as it is."""
        seen, why = [], "no cycle was complete"
        for found in self.findings:
            corner = _corner(found, where)
            if isinstance(corner, Missing):
                why = corner.why
                continue
            if where == "fall" and isinstance(found.full, Missing) and found.full.moving:
                why = NEVER_ENDED  # it turned back under way: that is another place
                continue
            seen.append(Seen(found.number, self._pressure(corner), self._variance(corner)))
        if not seen:
            return Measured(key, why=why)
        return Measured(key, tuple(seen), tuple(self._corner_components(where)), TWO_LINES)

    def lift_off(self) -> Measured:
        """First movement: the corner, or the pressure before the first hop where the stem sticks."""
        aways = [(f.number, f.break_away) for f in self.findings if f.break_away is not None]
        if not self.sticking or not aways:
            return self.corner("lift", "lift_off")
        seen = tuple(Seen(number, a.pressure, a.variance) for number, a in aways)
        start = sum(a.start for _, a in aways) / len(aways)
        shared = (*self.instruments.pressure(), Component("scan in which the first hop starts", start))
        return Measured("lift_off", seen, shared, "pressure before the first hop", own_scatter=True)

    def full_travel(self) -> Measured:
        """End of travel on the way up: the stop, or rated travel where the stem passes that first."""
        if self.profile.action is Action.AIR_TO_CLOSE:
            return self.corner("full", "full_travel")
        at_stop = self.corner("full", "full_travel")
        rated = self.profile.rated_travel_m
        seen = []
        for found in self.findings:
            start = self.start(found)
            corner, curve = found.full, found.curve
            if start is None:
                continue
            x0, x0_variance = start
            if isinstance(corner, Corner):
                slope = 1.0 / corner.slide_slope
                beyond = corner.travel - x0 - rated
                value = self._pressure(corner) - slope * max(0.0, beyond)
                variance = self._variance(corner) + (slope**2 * x0_variance if beyond > 0.0 else 0.0)
                seen.append(Seen(found.number, value, variance))
            elif curve is not None and found.highest_m - x0 > rated:
                value = curve.at(x0 + rated) + curve.half_band
                factor = curve.variance_factor(x0 + rated) + curve.factor(3)
                variance = factor * self._pressure_noise(found) + curve.slope**2 * x0_variance
                seen.append(Seen(found.number, value, variance))
        if not seen:
            return at_stop
        shared = at_stop.shared or tuple(self.instruments.pressure())
        return Measured("full_travel", tuple(seen), shared, TWO_LINES)

    def _corner_components(self, where: str) -> list[Component]:
        corners = [c for f in self.findings if isinstance(c := _corner(f, where), Corner)]
        rounding = [c.rounding for c in corners if c.rounding == c.rounding]
        diagnosed = sqrt(0.5) * abs(sum(rounding) / len(rounding)) if rounding else 0.0
        slope = sum(1.0 / c.slide_slope for c in corners) / len(corners)
        left = FLOOR_M[where] * slope
        return [
            *self.instruments.pressure(),
            Component("roundness of the corner", sqrt(diagnosed**2 + left**2)),
        ]

    # -- travel ----------------------------------------------------------------------------------

    def start(self, found: Findings) -> tuple[float, float] | None:
        """Travel reading at which the stem leaves and meets its rest, and its variance."""
        return self._level(found.reseat, found.lift)

    def travel(self) -> Measured:
        """From contact to contact; what the seat gives way under load is not in it."""
        seen = []
        why = "the stem did not come to its end of travel"
        for found in self.findings:
            start, end = self.start(found), self._level(found.full, found.fall)
            if isinstance(found.full, Missing) and found.full.moving:
                why = NEVER_ENDED
            elif start is None:
                why = found.lift.why if isinstance(found.lift, Missing) else why
            elif end is not None:
                seen.append(Seen(found.number, end[0] - start[0], end[1] + start[1]))
            elif isinstance(found.full, Missing):
                why = found.full.why
        if not seen:
            return Measured("travel", why=why)
        return Measured("travel", tuple(seen), tuple(self.instruments.travel()), "contact to contact")

    def _level(self, *corners: Corner | Missing) -> tuple[float, float] | None:
        """Travel reading of a contact, from the first corner there is: best the one come to by sliding."""
        for corner in corners:
            if isinstance(corner, Corner):
                return corner.travel, corner.travel_factor * self.noises.rest
        return None

    # -- the sliding curve -----------------------------------------------------------------------

    def friction(self) -> Measured:
        area = self.profile.area_m2
        measured = self._from_curve("friction", lambda c: (c.half_band, c.factor(3)), area)
        if not measured.seen:
            return measured
        mean = sum(s.value for s in measured.seen) / len(measured.seen)
        shared = [
            Component("roundness of the friction loop", HALF_BAND_FLOOR_PA * area),
            *self.instruments.pressure_difference(mean / area, area, self._sliding_rate()),
            *self.instruments.area(mean),
        ]
        return _with(measured, shared)

    def spring_rate(self) -> Measured:
        area = self.profile.area_m2
        measured = self._from_curve("spring_rate", lambda c: (c.slope, c.factor(1)), area)
        if not measured.seen:
            return measured
        mean = sum(s.value for s in measured.seen) / len(measured.seen)
        travel = self.profile.rated_travel_m
        return _with(measured, self.instruments.rate(mean, mean / area * travel, travel))

    def spring_only(self, key: str) -> Measured:
        """Mean of up and down at rest, or at rated travel above it."""
        beyond = self.profile.rated_travel_m if key == "spring_only_upper" else 0.0
        seen, slope = [], 0.0
        for found in self.findings:
            start, curve = self.start(found), found.curve
            if start is None or curve is None:
                continue
            x = start[0] + beyond
            slope = curve.slope_at(x)
            variance = curve.variance_factor(x) * self._pressure_noise(found) + slope**2 * start[1]
            seen.append(Seen(found.number, curve.at(x), variance))
        if not seen:
            return Measured(key, why=self._no_curve())
        shared = self.instruments.pressure()
        if beyond:
            shared += self.instruments.travel(slope)
        return Measured(key, tuple(seen), tuple(shared), CURVE)

    def hysteresis(self) -> Measured:
        """Widest gap between up and down at one travel."""
        curves = [f for f in self.findings if f.curve is not None]
        if not curves:
            return Measured("hysteresis", why=self._no_curve())
        gaps = np.stack([f.curve.gap_pa for f in curves if f.curve is not None])
        factors = np.stack([f.curve.gap_factor for f in curves if f.curve is not None])
        noise = np.array([self._pressure_noise(f) for f in curves])
        widest, method = _widest(gaps, factors * noise[:, None])
        seen = tuple(
            Seen(f.number, value, variance) for f, (value, variance) in zip(curves, widest, strict=True)
        )
        mean = sum(s.value for s in seen) / len(seen)
        shared = [
            Component("roundness of the friction loop", 2.0 * HALF_BAND_FLOOR_PA),
            *self.instruments.pressure_difference(mean, 1.0, 2.0 * self._sliding_rate()),
        ]
        return Measured("hysteresis", seen, tuple(shared), method)

    def _sliding_rate(self) -> float:
        """Mean speed of the ramp over the sliding curve [Pa/s]."""
        speeds = [median(f.curve.gap_speed.tolist()) / 2.0 for f in self.findings if f.curve is not None]
        return sum(speeds) / len(speeds) if speeds else 0.0

    def _from_curve(self, key: str, take: Callable[[Curve], tuple[float, float]], factor: float) -> Measured:
        seen = []
        for found in self.findings:
            if found.curve is not None:
                value, variance = take(found.curve)
                seen.append(
                    Seen(found.number, value * factor, variance * self._pressure_noise(found) * factor**2)
                )
        return Measured(key, tuple(seen), method=CURVE) if seen else Measured(key, why=self._no_curve())

    def _no_curve(self) -> str:
        return "no cycle has a whole stroke both ways"

    # -- seat load -------------------------------------------------------------------------------

    def seat_load(self) -> Measured:
        """Air-to-open: A times reseat. Air-to-close: A times what the supply has above full travel."""
        area = self.profile.area_m2
        closing = self.profile.action is Action.AIR_TO_CLOSE
        base = self.corner("full" if closing else "reseat", "seat_load")
        if not base.seen:
            return base
        supply = self.profile.supply_pa

        def force(pressure: float) -> float:
            return area * (supply - pressure) if closing else area * pressure

        seen = tuple(Seen(s.cycle, force(s.value), s.variance * area**2) for s in base.seen)
        shared = [Component(c.source, c.standard_uncertainty * area) for c in base.shared]
        shared += self.instruments.area(sum(s.value for s in seen) / len(seen))
        method = "area times (supply less full travel)" if closing else "area times reseat"
        return Measured("seat_load", seen, tuple(shared), method)

    # -- noise -----------------------------------------------------------------------------------

    def _variance(self, corner: Corner) -> float:
        return corner.variance(self.noises.rest, self.noises.slide)

    def _pressure(self, corner: Corner) -> float:
        """Pressure of a corner with what the stem lags behind taken off."""
        return corner.pressure - self.drag.tau_s * corner.rate

    def _pressure_noise(self, found: Findings) -> float:
        """Variance of one reading about the sliding curve [Pa^2]."""
        assert found.curve is not None, "asked only where there is a curve"
        return self.noises.slide * found.curve.slope**2


def _corner(found: Findings, where: str) -> Corner | Missing:
    corner: Corner | Missing = getattr(found, where)
    return corner


def pool(findings: Sequence[Findings], fallback: float) -> Noises:
    corners = [c for f in findings for c in (f.lift, f.full, f.fall, f.reseat) if isinstance(c, Corner)]
    if not corners:
        return Noises(fallback, fallback)
    rest, _ = pooled_noise([c.rest_noise for c in corners])
    slide, _ = pooled_noise([c.slide_noise for c in corners])
    return Noises(rest, slide)


def _with(measured: Measured, shared: Sequence[Component]) -> Measured:
    return Measured(measured.key, measured.seen, tuple(shared), measured.method)


def _widest(
    gaps: Floats,
    variances: Floats,
) -> tuple[list[tuple[float, float]], str]:
    """Widest gap of each cycle with its variance, from (cycle, part) gaps.

    The largest of ten noisy numbers is too large; so an even gap is told by its mean, and only where the
    parts differ by more than noise does the part that is widest over all cycles count.
    """
    counts = np.isfinite(gaps).sum(axis=0)
    seen = counts > 0
    mean_gap = np.where(seen, np.nansum(gaps, axis=0) / np.maximum(counts, 1), np.nan)
    variance = variances.mean(axis=0) / np.maximum(counts, 1)
    even = float(np.average(mean_gap[seen], weights=1.0 / variance[seen]))
    chi = float(np.sum((mean_gap[seen] - even) ** 2 / (variance[seen] + HALF_BAND_FLOOR_PA**2)))
    freedom = int(seen.sum()) - 1
    if freedom < 1 or chi < freedom + 3.0 * sqrt(2.0 * freedom):
        rows = []
        for gap, spread in zip(gaps, variances, strict=True):
            good = np.isfinite(gap)
            weights = 1.0 / spread[good]
            rows.append((float(np.average(gap[good], weights=weights)), float(1.0 / weights.sum())))
        return rows, "gap between up and down, even along the stroke"
    part = int(np.nanargmax(mean_gap))
    rows = []
    for gap, spread in zip(gaps, variances, strict=True):
        unseen = not np.isfinite(gap[part])  # then the mean over the other cycles, as uncertain as one
        rows.append((float(mean_gap[part] if unseen else gap[part]), float(spread[part])))
    return rows, "gap between up and down where it is widest"
