"""Has the stem moved, is it moving, has it stopped? Judged scan by scan while a procedure runs.

Hits are triggers for slowing, holding and stopping, never results: a result comes from the whole record.
Noise is white with standard deviation sigma, or learned while the stem rests.

Leaving rest: an exponentially weighted mean (weight 0.2) against a straight line through what came before
(2 s long, 0.5 s behind), because a soft seat gives way by some hundredths of a millimetre per psi before the
plug lifts.
The limit is 4.6 standard deviations of that difference: about one false alarm in a million scans when sigma
is known (EWMA control chart, Roberts 1959).
"""

from collections import deque
from math import inf, isfinite, sqrt

WEIGHT = 0.2
LIMIT = 4.6
BASELINE_S = 2.0
BEHIND_S = 0.5
LEARN_SCANS = 25  # differences needed before a learned noise is believed
SMALLEST_NOISE_M = 1e-6  # a noiseless, unquantised signal still needs a limit
_KEPT_S = 30.0


class TrailingMean:
    """Mean of the values added during the last `seconds`; sums are kept, so a scan costs the same always."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._points: deque[tuple[float, float]] = deque()
        self._sum = 0.0

    def add(self, time_s: float, value: float) -> None:
        self._points.append((time_s, value))
        self._sum += value
        while time_s - self._points[0][0] > self.seconds:
            self._sum -= self._points.popleft()[1]

    @property
    def mean(self) -> float:
        return self._sum / len(self._points)

    @property
    def full(self) -> bool:
        """At least nine tenths of the window is covered."""
        return len(self._points) > 2 and self._points[-1][0] - self._points[0][0] >= 0.9 * self.seconds


class TrailingLine:
    """Straight line through the values added during the last `seconds`, least squares, sums kept."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._points: deque[tuple[float, float]] = deque()
        self._t = self._x = self._tt = self._tx = 0.0  # sums, times counted from `_origin`
        self._origin: tuple[float, float] | None = None

    def add(self, time_s: float, value: float) -> None:
        if self._origin is None:
            self._origin = (time_s, value)
        point = (time_s - self._origin[0], value - self._origin[1])
        self._points.append(point)
        self._count(*point, 1.0)
        while point[0] - self._points[0][0] > self.seconds:
            self._count(*self._points.popleft(), -1.0)

    def _count(self, t: float, x: float, sign: float) -> None:
        self._t += sign * t
        self._x += sign * x
        self._tt += sign * t * t
        self._tx += sign * t * x

    @property
    def full(self) -> bool:
        """At least nine tenths of the window is covered."""
        return len(self._points) > 9 and self._points[-1][0] - self._points[0][0] >= 0.9 * self.seconds

    def at(self, time_s: float) -> tuple[float, float]:
        """Value of the line at a time, and its variance for values of unit variance."""
        assert self._origin is not None, "a line needs values"
        n = len(self._points)
        t_mean, x_mean = self._t / n, self._x / n
        spread = self._tt - n * t_mean * t_mean
        ahead = time_s - self._origin[0] - t_mean
        slope = (self._tx - n * t_mean * x_mean) / spread
        return self._origin[1] + x_mean + slope * ahead, 1.0 / n + ahead * ahead / spread


class MotionWatch:
    """Watches one stroke's end. Sense and reference of the transmitter do not matter.

    `position_noise_m` is the standard deviation of one reading at rest [m]; None: learn it while at rest.
    `resolution_m` is one count: a single count to and fro is no movement.
    """

    def __init__(self, position_noise_m: float | None = None, resolution_m: float = 0.0) -> None:
        self._given_noise_m = position_noise_m
        self.resolution_m = resolution_m
        self._squares = 0.0  # of successive differences at rest
        self._differences = 0
        self.restart()

    def restart(self) -> None:
        """Take the present place as rest and watch anew; what was learned of the noise is kept."""
        self.left_rest = False
        self.left_rest_s: float | None = None
        self.rest_m: float | None = None  # baseline at the moment the stem left it, until then the present
        self._average: float | None = None
        self._last_m: float | None = None
        self._recent: deque[tuple[float, float]] = deque()
        self._waiting: deque[tuple[float, float]] = deque()
        self._baseline = TrailingLine(BASELINE_S)
        self.limit_m = inf  # how far from the baseline counts as movement [m]

    # -- scan by scan ----------------------------------------------------------------------------

    def update(self, time_s: float, position_m: float) -> bool:
        """Take one reading in; a nan is passed over. Returns `left_rest`."""
        if not isfinite(position_m):
            return self.left_rest
        self._keep(time_s, position_m)
        previous = self._average
        self._average = position_m if previous is None else previous + WEIGHT * (position_m - previous)
        if not self.left_rest:
            self._compare(time_s)
            self._learn(position_m)
        self._last_m = position_m
        return self.left_rest

    def _keep(self, time_s: float, position_m: float) -> None:
        self._recent.append((time_s, position_m))
        while time_s - self._recent[0][0] > _KEPT_S:
            self._recent.popleft()
        if self.left_rest:
            return
        self._waiting.append((time_s, position_m))
        while time_s - self._waiting[0][0] > BEHIND_S:
            self._baseline.add(*self._waiting.popleft())

    def _compare(self, time_s: float) -> None:
        noise = self.noise_m
        if not self._baseline.full or noise is None or self._average is None:
            return
        # The weighted mean of a moving stem is old by (1 - w) / w scans; at rest that does not matter.
        self.rest_m, variance = self._baseline.at(time_s)
        spread = noise * sqrt(WEIGHT / (2.0 - WEIGHT) + variance)
        # A line drawn on through a single change of count overshoots by more than a count.
        self.limit_m = max(LIMIT * spread, 2.5 * self.resolution_m)
        if abs(self._average - self.rest_m) > self.limit_m:
            self.left_rest, self.left_rest_s = True, time_s

    def _learn(self, position_m: float) -> None:
        if self._last_m is None:
            return
        difference = abs(position_m - self._last_m)
        noise = self.noise_m
        if noise is not None and difference > 6.0 * noise:  # a jump of the stem, or a bad reading
            return
        self._squares += difference**2
        self._differences += 1

    # -- what is seen ----------------------------------------------------------------------------

    @property
    def noise_m(self) -> float | None:
        """Standard deviation of one reading [m]: given, or sqrt(mean d^2 / 2) of successive differences
        (von Neumann 1941: blind to slow drift); None while too little has been seen."""
        if self._given_noise_m is not None:
            sigma = self._given_noise_m
        elif self._differences >= LEARN_SCANS:
            sigma = sqrt(self._squares / self._differences / 2.0)
        else:
            return None
        return max(sigma, self.resolution_m / sqrt(12.0), SMALLEST_NOISE_M)

    @property
    def speed_m_per_s(self) -> float:
        """Speed over the last half second [m/s], 0 while that is not covered."""
        return self.speed_over(0.5)

    def speed_over(self, seconds: float) -> float:
        """Slope of a straight line through the last `seconds` [m/s], 0 while they are not covered."""
        points = self._last(seconds)
        if len(points) < 3 or points[0][0] - points[-1][0] < 0.6 * seconds:
            return 0.0
        n = len(points)
        time_mean = sum(t for t, _ in points) / n
        place_mean = sum(x for _, x in points) / n
        spread = sum((t - time_mean) ** 2 for t, _ in points)
        return sum((t - time_mean) * (x - place_mean) for t, x in points) / spread

    @property
    def moving(self) -> bool:
        """The last half second drifts by more than its noise explains (4.6 standard deviations)."""
        points = self._last(0.5)
        half = len(points) // 2
        if half < 3:
            return False
        drift = abs(_mean(points[:half]) - _mean(points[-half:]))
        noise = self.noise_m or SMALLEST_NOISE_M
        return drift > max(LIMIT * noise * sqrt(2.0 / half), 1.01 * self.resolution_m)

    def settled(self, for_s: float, within_m: float) -> bool:
        """For the last `for_s` (at most 30 s) the stem drifted by no more than `within_m`.

        Drift is between the means of the older and the newer half, so noise averages out of it.
        """
        points = self._last(for_s)
        half = len(points) // 2
        if half < 2 or points[0][0] - points[-1][0] < 0.9 * for_s:
            return False
        return abs(_mean(points[:half]) - _mean(points[-half:])) <= within_m

    def _last(self, seconds: float) -> list[tuple[float, float]]:
        """Newest first."""
        points: list[tuple[float, float]] = []
        for point in reversed(self._recent):
            if self._recent[-1][0] - point[0] > seconds:
                break
            points.append(point)
        return points


class EndOfTravel:
    """Has the stem come to its stop: no more travel although the pressure went on by `over_pa`?

    `expected_m_per_pa` is what a sliding stem would travel (rated travel over the rated range); less than
    a quarter of it counts as stopped. The sign of the change of pressure does not matter.
    """

    def __init__(self, expected_m_per_pa: float, over_pa: float, noise_m: float = 0.0) -> None:
        self.over_pa = over_pa
        # A mean over 0.2 s on either side; noise must not look like travel.
        self.limit_m = max(0.25 * expected_m_per_pa * over_pa, 2.0 * noise_m)
        self.stopped = False
        self.stopped_pa: float | None = None  # pressure at which it had stopped
        self._place, self._pressure = TrailingMean(0.2), TrailingMean(0.2)
        self._marks: deque[tuple[float, float]] = deque()  # (pressure, place), a fifth of over_pa apart

    def update(self, time_s: float, position_m: float, pressure_pa: float) -> bool:
        """Take one reading in; nan is passed over. Returns `stopped`, which is true only while it is so."""
        if not (isfinite(position_m) and isfinite(pressure_pa)):
            return self.stopped
        self._place.add(time_s, position_m)
        self._pressure.add(time_s, pressure_pa)
        if not self._place.full:
            return self.stopped
        pressure, place = self._pressure.mean, self._place.mean
        if not self._marks or abs(pressure - self._marks[-1][0]) >= 0.2 * self.over_pa:
            self._marks.append((pressure, place))
        while len(self._marks) > 1 and abs(pressure - self._marks[1][0]) >= self.over_pa:
            self._marks.popleft()
        then_pa, then_m = self._marks[0]
        if abs(pressure - then_pa) >= self.over_pa:
            self.stopped = abs(place - then_m) < self.limit_m
            self.stopped_pa = then_pa if self.stopped else None
        return self.stopped


def _mean(points: list[tuple[float, float]]) -> float:
    return sum(x for _, x in points) / len(points)
