"""What a procedure sees of the stroke while it runs: sliding windows over good readings."""

from collections import deque

from rig.analysis.motion import EndOfTravel, MotionWatch
from safety.signals import Reading, Signal

SLIDES_SHARE = 0.35  # of the rated slope; a soft seat gives way by a tenth
SLOPE_PA, SLOPE_S = 3447.0, (0.2, 0.5)  # half a psi, in no less and no more than these seconds


class Window:
    """The last `seconds` of a value; steadiness and mean over it."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._points: deque[tuple[float, float]] = deque()

    def add(self, time_s: float, value: float) -> None:
        self._points.append((time_s, value))
        while time_s - self._points[0][0] > self.seconds:
            self._points.popleft()

    def clear(self) -> None:
        self._points.clear()

    @property
    def full(self) -> bool:
        """At least nine tenths of the window is covered."""
        return len(self._points) > 2 and self._points[-1][0] - self._points[0][0] >= 0.9 * self.seconds

    @property
    def mean(self) -> float:
        return sum(value for _, value in self._points) / len(self._points)

    @property
    def drift(self) -> float:
        """Mean of the newer half minus mean of the older half: noise averages out, movement stays."""
        values = [value for _, value in self._points]
        half = len(values) // 2
        if half == 0:
            return 0.0
        return sum(values[-half:]) / half - sum(values[:half]) / half

    def steady(self, within: float) -> bool:
        return self.full and abs(self.drift) <= within


class Stroke:
    """Travel from the position signal: zero at rest, positive the way air moves the stem.

    The transmitter may read either way round and from any reference, so both are found: the rest
    position while vented, the sense at the first clear movement.
    """

    def __init__(self, rated_travel_m: float) -> None:
        self.rated_travel_m = rated_travel_m
        self.rest_m: float | None = None
        self.sense = 0
        self.travel_m = 0.0
        self.pressure_pa = 0.0
        self.pressure = Window(1.0)
        self.motion = MotionWatch()
        self._quick = Window(0.2)
        self._end: EndOfTravel | None = None

    def see(self, reading: Reading) -> None:
        if reading.pressure.good:
            self.pressure_pa = reading.pressure.value
            self.pressure.add(reading.pressure.time_s, reading.pressure.value)
        if not reading.position.good:
            return
        self.motion.update(reading.position.time_s, reading.position.value)
        self._quick.add(reading.position.time_s, reading.position.value)
        if self._end is not None:
            self._end.update(reading.position.time_s, reading.position.value, self.pressure_pa)
        if self.rest_m is None:
            return
        moved = self._quick.mean - self.rest_m
        if self.sense == 0 and abs(moved) > 0.03 * self.rated_travel_m:
            self.sense = 1 if moved > 0 else -1
        self.travel_m = moved * self.sense if self.sense else abs(moved)

    def travel_at(self, position_m: float) -> float | None:
        """Travel [m] where the transmitter reads `position_m`; None before the rest position is known."""
        if self.rest_m is None:
            return None
        moved = position_m - self.rest_m
        return moved * self.sense if self.sense else abs(moved)

    @property
    def share(self) -> float:
        """Travel as a share of rated travel."""
        return self.travel_m / self.rated_travel_m

    @property
    def stem_steady(self) -> bool:
        """Nothing in the last half second that the position noise does not explain."""
        return not self.motion.moving

    def sets_off(self, expected_m_per_pa: float) -> bool:
        """The stem has left its rest and follows the pressure as a sliding stem does, not as a soft seat."""
        if not self.motion.left_rest or not self.pressure.full:
            return False
        rate = abs(self.pressure.drift) / (0.5 * self.pressure.seconds)
        if rate <= 0.0:
            return False
        speed = self.motion.speed_over(min(SLOPE_S[1], max(SLOPE_S[0], SLOPE_PA / rate)))
        return abs(speed) > SLIDES_SHARE * expected_m_per_pa * rate

    def look_for_end(self, expected_m_per_pa: float, over_pa: float) -> None:
        """From now on watch for the stem to stand still while the pressure goes on by `over_pa`."""
        self._end = EndOfTravel(expected_m_per_pa, over_pa, self.motion.noise_m or 0.0)

    @property
    def looking_for_end(self) -> bool:
        return self._end is not None

    @property
    def end_reached(self) -> bool:
        return self._end is not None and self._end.stopped

    def end_look(self) -> None:
        """Stop watching for the end of travel."""
        self._end = None


class LiveTravel:
    """Travel for a person's eyes, from every sample: a procedure that a trip has ended looks no more."""

    def __init__(self, stroke: Stroke) -> None:
        self._stroke = stroke
        self._quick = Window(0.2)

    def see(self, position: Signal) -> float | None:
        """Travel [m] after this reading; None where it is not known or the signal is not good."""
        if not position.good:
            self._quick.clear()
            return None
        self._quick.add(position.time_s, position.value)
        return self._stroke.travel_at(self._quick.mean)
