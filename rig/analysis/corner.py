"""A corner of the curve: where the line of a resting stem and the line of a sliding stem cross.

Two straight lines of travel on a short moving mean of pressure, with a gap of 0.4 psi left out around the
corner, where friction reverses and a soft seat gives way. The same corner with twice the gap tells how
round it is. One routine serves all four corners: the data are oriented so that they run from rest into
sliding, q = +-pressure growing, y = +-travel growing.
"""

from dataclasses import dataclass, replace
from math import inf, sqrt
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from rig.analysis.lines import Line, fit_line
from rig.analysis.samples import Floats
from rig.analysis.strokes import Leg

PSI = 6894.757293168361  # Pa; window sizes below were settled in psi
GAP_PA = 0.4 * PSI
TURN_GAP_M, TURN_GAP_SHARE = 0.5e-3, 0.06  # of travel after a turn: friction has surely reversed by then
REST_WINDOW_PA = 4.0 * PSI
SLIDE_WINDOW_PA = 8.0 * PSI
LEAST_REST_PA = 0.5 * PSI  # of rest seen beyond the gap, else the corner is not measured
NO_REST_PA = 0.1 * PSI  # less than this is the turn of a moving stem, not a contact
LEAST_SLIDE_PA = 1.0 * PSI
# Rest without air, far from the corner: so near to the least pressure, so many readings, so far away.
FAR_WITHIN_PA, LEAST_FAR, LEAST_FAR_PA = 0.5 * PSI, 20, 1.5 * PSI
FAR_BENDS = 0.3  # the give without air and beside the corner may differ by this share (assumption)
BATCH_S = 0.5  # residuals are averaged over this to see correlation

Index: TypeAlias = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Oriented:
    """One end of one leg, from rest into sliding. q: smoothed and raw pressure times `sign` [Pa], y [m]."""

    sign: float
    q: Floats
    q_raw: Floats
    y: Floats
    level_m: float  # y = 0 is this travel
    time: Floats


@dataclass(frozen=True, slots=True)
class Noise:
    """Residuals of one line: white variance and that of batch means, for pooling over corners."""

    squares: float
    freedom: int
    batch_squares: float  # batch length times the squares of batch means
    batch_freedom: int


@dataclass(frozen=True, slots=True)
class Corner:
    """Pressure [Pa] and travel [m] of a corner; noise factors turn noise variances into its variance."""

    pressure: float
    travel: float
    rest_slope: float  # m/Pa
    slide_slope: float  # m/Pa, at the corner
    rest_factor: float  # Pa^2 per m^2 of noise on the rest line
    slide_factor: float
    travel_factor: float  # m^2 per m^2
    rounding: float  # Pa: this corner less the one with twice the gap, nan if that could not be had
    rest_noise: Noise
    slide_noise: Noise
    rest_span: float  # Pa of rest that was seen
    rate: float  # Pa/s of the ramp along the sliding line, positive on the way up
    lines: "Crossing"
    wide: "Crossing | None"  # with twice the gap
    data_sign: float = 1.0
    data_level_m: float = 0.0

    @property
    def q(self) -> float:
        """Pressure on the axis of the oriented data."""
        return self.data_sign * self.pressure

    def at_level_of(self, other: "Corner") -> "Corner":
        """This corner where its sliding line passes the travel at which `other` meets the same contact.

        A stem that turns round creeps by some hundredths of a millimetre while its friction reverses, so the
        resting line before lift-off and before the return is bent, and its crossing is late. The other
        corner of the same contact is come to by sliding, with friction fully turned: its travel is right.
        """
        y = self.data_sign * (other.travel - self.data_level_m)
        here = self.lines.slide_at(y)
        wide = None if self.wide is None else self.wide.slide_at(y)
        slope = self.lines.slope_at(here)
        factor = self.lines.slide.variance_factor(here - self.lines.guess) / slope**2
        return replace(
            self,
            pressure=self.data_sign * here,
            travel=other.travel,
            slide_slope=slope,
            rest_factor=other.travel_factor / slope**2,
            slide_factor=factor,
            travel_factor=other.travel_factor,
            rounding=float("nan") if wide is None else self.data_sign * (here - wide),
        )

    def variance(self, rest_noise: float, slide_noise: float) -> float:
        """Variance of `pressure` [Pa^2] from the noise variances of a reading [m^2]."""
        return self.rest_factor * rest_noise + self.slide_factor * slide_noise


@dataclass(frozen=True, slots=True)
class Contact:
    """What is known beforehand of a contact: it gives way by `give` +- `sd` [m/Pa] as air changes its load.

    With `far`, what the stem shows without air is on its line too, if that makes it about as hard as this.
    """

    give: float
    sd: float
    noise: float  # variance of a reading of travel [m^2]
    far: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """Why there is no corner."""

    why: str
    moving: bool = False  # the stem was still on its way: there was no contact to find


def orient(leg: Leg, low_end: bool, upward: bool, level_m: float) -> Oriented:
    """The low or the high end of a leg, turned so that rest comes first and q, y grow into sliding."""
    sign = 1.0 if low_end else -1.0
    forward = low_end == upward
    step = 1 if forward else -1
    return Oriented(
        sign,
        sign * leg.pressure[::step],
        sign * leg.raw[::step],
        sign * (leg.travel[::step] - level_m),
        level_m,
        leg.time[::step],
    )


def find_corner(
    data: Oriented,
    stroke_m: float,
    scan_s: float,
    bow: float = 0.0,
    after_turn: bool = False,
    contact: Contact | None = None,
) -> Corner | Missing:
    """The corner of `data`, for a stroke of about `stroke_m`; `bow` is the known curvature d2y/dq2 / 2.

    `after_turn`: the stem has turned round just before, so more of the sliding line is left out.
    """
    guess = _coarse(data, stroke_m)
    if isinstance(guess, Missing):
        return guess
    at, slope, data = guess
    gap = GAP_PA
    if after_turn and slope > 0.0:
        gap = max(gap, min(TURN_GAP_M, TURN_GAP_SHARE * stroke_m) / slope)
    first = _cross(data, at, GAP_PA, gap, bow, contact)
    if isinstance(first, Missing):
        return first
    if abs(first.at - at) > 0.25 * GAP_PA:
        first = _cross(data, first.at, GAP_PA, gap, bow, contact)
        if isinstance(first, Missing):
            return first
    wide = _cross(data, first.at, 2.0 * GAP_PA, 2.0 * gap, bow, contact)
    return _corner(data, first, None if isinstance(wide, Missing) else wide, max(4, round(BATCH_S / scan_s)))


@dataclass(frozen=True, slots=True)
class Crossing:
    guess: float  # the lines count from here
    step: float  # the crossing, from the guess
    rest: Line
    slide: Line
    bow: float
    rest_part: Index
    slide_part: Index
    rest_span: float  # Pa

    @property
    def at(self) -> float:
        return self.guess + self.step

    def slide_at(self, y: float) -> float:
        """q at which the sliding line passes y."""
        step = self.step
        for _ in range(3):
            step = (y - self.slide.intercept - self.bow * step * step) / self.slide.slope
        return self.guess + step

    def slope_at(self, q: float) -> float:
        return self.slide.slope + 2.0 * self.bow * (q - self.guess)


def _coarse(data: Oriented, stroke_m: float) -> tuple[float, float, Oriented] | Missing:
    """Corner to about a quarter of the gap, slope beyond it [m/Pa], and the data that belong to it."""
    reached = data.y >= 0.45 * stroke_m
    end = int(np.argmax(reached)) if reached.any() else len(data.y)
    y, q = data.y[:end], data.q[:end]
    if end < 20 or not (y >= 0.2 * stroke_m).any():
        return Missing("the stem did not travel far enough")
    first = int(np.argmax(y >= 0.1 * stroke_m))
    last = int(np.argmax(y >= 0.25 * stroke_m)) if (y >= 0.25 * stroke_m).any() else end - 1
    slope = (y[last] - y[first]) / max(q[last] - q[first], 1.0)
    guess = float(q[first] - y[first] / slope) if slope > 0.0 else float(q[first])
    before = np.flatnonzero(q[:first] < guess - 2.5 * PSI)
    start = int(before[-1]) if len(before) else 0
    part = slice(start, last + 1)
    at = _broken_line(q[part], y[part], guess)
    kept = Oriented(data.sign, q, data.q_raw[:end], y, data.level_m, data.time[:end])
    return at, float(slope), kept


def _broken_line(q: Floats, y: Floats, guess: float) -> float:
    """Knot of the continuous broken line with the least squares, tried at every reading near `guess`.

    All trials at once: with h = max(q - c, 0) made orthogonal to (1, q), the fit gains (h.y)^2 / h.h.
    """
    n = len(q)
    if n < 12:
        return guess
    q0 = q - guess
    qm, ym = float(np.add.reduce(q0)) / n, float(np.add.reduce(y)) / n
    u, v = q0 - qm, y - ym
    spread = float(u @ u)
    slope = float(u @ v) / spread
    rest = v - slope * u

    near = np.flatnonzero(np.abs(q0[5:-6]) < 1.5 * PSI) + 5  # with some readings on either side
    if not len(near):
        return guess

    def after(values: Floats) -> Floats:
        return np.add.accumulate(values[::-1])[::-1][near]

    count = n - near
    s1, s2, sr, sqr = after(q0), after(q0 * q0), after(rest), after(q0 * rest)
    c = q0[near]
    h1 = s1 - c * count
    hu = s2 - c * s1 - qm * h1
    hh = s2 - 2.0 * c * s1 + c * c * count - h1 * h1 / n - hu * hu / spread
    gain = (sqr - c * sr) ** 2 / np.maximum(hh, 1e-9 * spread)
    return guess + float(c[np.argmax(gain)])


def _cross(
    data: Oriented, at: float, gap: float, slide_gap: float, bow: float, contact: Contact | None
) -> Crossing | Missing:
    u = data.q - at
    resting = ((u < -gap) & (u > -REST_WINDOW_PA)).nonzero()[0]
    sliding = ((u > slide_gap) & (u < SLIDE_WINDOW_PA)).nonzero()[0]
    rest_span = _span(u, resting)
    if len(resting) < 8 or rest_span < LEAST_REST_PA:
        if rest_span < NO_REST_PA:
            return Missing("the stem was not seen at rest beside the corner", moving=True)
        return Missing("too little of the resting stem was seen beside the corner")
    if len(sliding) < 8 or _span(u, sliding) < LEAST_SLIDE_PA:
        return Missing("too little of the sliding stem was seen beside the corner")
    rest = fit_line(u[resting], data.y[resting])
    if contact is not None:
        rest = _rest_line(rest, contact, u, data.y)
    us = u[sliding]
    slide = fit_line(us, data.y[sliding] - bow * us * us)
    if slide.slope <= 1.5 * abs(rest.slope) or slide.slope <= 0.0:
        return Missing("there is no clear corner between the resting and the sliding stem")
    step = 0.0
    for _ in range(3):  # the bow bends the sliding line a little: repeat the crossing with it
        step = (rest.intercept - slide.intercept - bow * step * step) / (slide.slope - rest.slope)
    if abs(step) > 2.0 * PSI:
        return Missing("the resting and the sliding line do not cross near the corner")
    return Crossing(at, step, rest, slide, bow, resting, sliding, rest_span)


def _rest_line(near: Line, contact: Contact, u: Floats, y: Floats) -> Line:
    """The resting line with what is known of its contact."""
    if not contact.far:
        return near.knowing(contact.give, contact.sd, contact.noise)
    without_air = u < np.minimum.reduce(u) + FAR_WITHIN_PA
    n = int(np.count_nonzero(without_air))
    if n < LEAST_FAR:
        return near
    distance = near.mean_x - float(u[without_air].mean())
    if distance < LEAST_FAR_PA:
        return near
    give = (near.mean_y - float(y[without_air].mean())) / distance
    noise_sd = sqrt(contact.noise * (1.0 / n + 1.0 / near.n)) / distance
    if abs(give) > contact.give + 2.0 * contact.sd + 3.0 * noise_sd:
        return near  # soft: its line is bent
    return near.knowing(give, sqrt(noise_sd**2 + (FAR_BENDS * give) ** 2), contact.noise)


def _span(u: Floats, index: Index) -> float:
    if not len(index):
        return 0.0
    part = u[index]
    return float(np.maximum.reduce(part) - np.minimum.reduce(part))


def _corner(data: Oriented, found: Crossing, wide: Crossing | None, batch: int) -> Corner:
    rest, slide, step, guess = found.rest, found.slide, found.step, found.guess
    steeper = slide.slope - rest.slope
    rest_at, slide_at = rest.variance_factor(step), slide.variance_factor(step)
    level = rest.at(step)
    rest_factor, slide_factor = rest_at / steeper**2, slide_at / steeper**2
    travel_factor = rest_at  # the stem's level at rest is read from the rest line
    rest_u = data.q_raw[found.rest_part] - guess
    slide_u = data.q_raw[found.slide_part] - guess
    rest_residuals = data.y[found.rest_part] - rest.mean_y - rest.slope * (rest_u - rest.mean_x)
    slide_residuals = (
        data.y[found.slide_part]
        - slide.mean_y
        - slide.slope * (slide_u - slide.mean_x)
        - found.bow * slide_u**2
    )
    return Corner(
        pressure=data.sign * found.at,
        travel=data.level_m + data.sign * level,
        rest_slope=rest.slope,
        slide_slope=slide.slope + 2.0 * found.bow * step,
        rest_factor=rest_factor,
        slide_factor=slide_factor,
        travel_factor=travel_factor,
        rounding=float("nan") if wide is None else data.sign * (found.at - wide.at),
        rest_noise=_noise(rest_residuals, batch),
        slide_noise=_noise(slide_residuals, batch),
        rest_span=found.rest_span,
        rate=_rate(data, found.slide_part),
        lines=found,
        wide=wide,
        data_sign=data.sign,
        data_level_m=data.level_m,
    )


def _rate(data: Oriented, part: Index) -> float:
    first, last = part[0], part[-1]
    return float(data.sign * (data.q[last] - data.q[first]) / (data.time[last] - data.time[first]))


def _noise(residuals: Floats, batch: int) -> Noise:
    n = len(residuals)
    squares = float(residuals @ residuals)
    batches = n // batch
    if batches < 4:
        return Noise(squares, n - 2, 0.0, 0)
    means = np.add.reduce(residuals[: batches * batch].reshape(batches, batch), axis=1) / batch
    return Noise(squares, n - 2, batch * float(means @ means), batches - 2)


def pooled_noise(noises: list[Noise]) -> tuple[float, float]:
    """Long-run variance of a reading [m^2] and its degrees of freedom, pooled over corners.

    White where the batch means agree with it; where they are clearly larger (two standard deviations of
    their ratio) the noise is correlated and their variance counts.
    """
    freedom = sum(noise.freedom for noise in noises)
    if freedom <= 0:
        return 0.0, inf
    white = sum(noise.squares for noise in noises) / freedom
    batch_freedom = sum(noise.batch_freedom for noise in noises)
    if batch_freedom < 4 or white <= 0.0:
        return white, float(freedom)
    batched = sum(noise.batch_squares for noise in noises) / batch_freedom
    if batched > white * (1.0 + 2.0 * sqrt(2.0 / batch_freedom)):
        return batched, float(batch_freedom)
    return white, float(freedom)
