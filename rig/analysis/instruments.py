"""What the transmitters and the effective area add to an uncertainty, whatever the readings say.

The stated accuracy of a transmitter is a half width, taken as rectangular (GUM 4.3.7). One reading carries
it once; a difference of two readings far apart carries it twice, as independent errors at the two places
(linearity); a difference of readings close together carries only the error of span. Taking the zero at
vent removes a shift, but the stated accuracy is kept whole: its share for zero is not known.
"""

from dataclasses import dataclass
from math import sqrt

from rig.analysis.budget import RECTANGULAR
from rig.analysis.result import Component
from rig.analysis.samples import Sensors
from rig.analysis.strokes import Strokes
from rig.profile.model import Profile

LAG_KNOWN_TO = 0.3  # share of a stated lag by which it may be wrong (assumption)
# Assumption: viscous friction c of packing, guides and diaphragm; a stem lags its pressure by c / k.
DRAG_N_S_PER_M, DRAG_KNOWN_TO = 1500.0, 0.6
SKEW_S = 0.002  # between the readings of pressure and position of one scan (assumption)
# Without a casing transmitter the casing follows the I/P's demand unseen: the I/P's own lag, and the filling
# of what the casing holds and the moving stem makes room for. How much air the I/P gives is not in a stand
# file: 75 s/m3 is that of a usual one (simulated stands need 50 to 110, less at lift-off, more at full
# travel), taken within 60 %.
CONVERTER_LAG_S, FILL_S_PER_M3, FILL_KNOWN_TO = 0.15, 75.0, 0.6
DEAD_HEIGHT_M = 0.03  # of the casing's volume over its area, without travel; assumption
ROOM_PA = 101325.0


@dataclass(frozen=True, slots=True)
class Instruments:
    sensors: Sensors
    profile: Profile
    strokes: Strokes
    rate_pa_per_s: float  # of the ramp while the stem slides
    lag_uncertainty_s: float = 0.0  # of the stem behind the pressure, see drag.py

    def pressure(self, factor: float = 1.0) -> list[Component]:
        """For a single pressure; `factor` turns Pa into the quantity (effective area for a force)."""
        sensors = self.sensors
        name = (
            "calibration of the I/P (no casing transmitter)"
            if sensors.pressure_is_inferred
            else ("accuracy of the pressure transmitter")
        )
        parts = [(name, sensors.pressure_accuracy_pa * RECTANGULAR)]
        if not self.strokes.zero_taken and not sensors.pressure_is_inferred:
            parts.append(("zero of pressure not taken", abs(self.strokes.zero_pa) * RECTANGULAR))
        if self.strokes.zero_taken and self.strokes.zero_readings:
            zero_u = self.strokes.zero_sd_pa / sqrt(self.strokes.zero_readings)
            parts.append(("zero of pressure, from its readings", zero_u))
        if self.strokes.zero_sd_pa < 0.5 * sensors.pressure_resolution_pa:
            parts.append(("resolution of pressure", 0.5 * sensors.pressure_resolution_pa * RECTANGULAR))
        parts.append(("drag of the stem and lags of the transmitters", self._lag()))
        return [Component(source, u * factor) for source, u in parts if u > 0.0]

    def pressure_difference(
        self, difference_pa: float, factor: float = 1.0, rate_pa_per_s: float = 0.0
    ) -> list[Component]:
        """For a difference of pressures at one travel (friction, hysteresis): only the error of span.

        `rate_pa_per_s` is by how much the ramps of the two readings differ in speed.
        """
        span = self.sensors.pressure_span_pa
        share = 2.0 * self.sensors.pressure_accuracy_pa / span if span > 0.0 else 0.0
        straight = ("span of the pressure transmitter", share * abs(difference_pa) * RECTANGULAR)
        if self.sensors.pressure_is_inferred:  # an I/P is not the same rising and falling
            both = sqrt(2.0) * self.sensors.pressure_accuracy_pa * RECTANGULAR
            straight = ("calibration of the I/P (no casing transmitter)", both)
        parts = [
            straight,
            ("drag of the stem and lags of the transmitters", rate_pa_per_s * self.lag_uncertainty_s),
        ]
        return [Component(source, u * factor) for source, u in parts if u > 0.0]

    def travel(self, factor: float = 1.0) -> list[Component]:
        """For a travel, which is a difference of two positions."""
        sensors = self.sensors
        parts = [
            ("accuracy of the position transmitter", sqrt(2.0) * sensors.position_accuracy_m * RECTANGULAR)
        ]
        if sqrt(self.strokes.noise_x) < 0.5 * sensors.position_resolution_m:
            parts.append(("resolution of position", sqrt(0.5) * sensors.position_resolution_m * RECTANGULAR))
        return [Component(source, u * abs(factor)) for source, u in parts if u > 0.0]

    def rate(self, rate_n_per_m: float, pressure_pa: float, travel_m: float) -> list[Component]:
        """For the spring rate over a pressure difference and a travel."""
        of_pressure = sqrt(2.0) * self.sensors.pressure_accuracy_pa * RECTANGULAR / max(pressure_pa, 1.0)
        of_travel = sqrt(2.0) * self.sensors.position_accuracy_m * RECTANGULAR / max(travel_m, 1e-6)
        return [
            Component("accuracy of the pressure transmitter", of_pressure * rate_n_per_m),
            Component("accuracy of the position transmitter", of_travel * rate_n_per_m),
            *self.area(rate_n_per_m),
        ]

    def area(self, force: float) -> list[Component]:
        """For a force or a rate proportional to the effective area."""
        share = self.profile.area_relative_uncertainty * RECTANGULAR
        return [Component("effective area of the diaphragm", share * abs(force))]

    def _lag(self) -> float:
        return self.rate_pa_per_s * self.lag_uncertainty_s


def usual_drag(profile: Profile) -> tuple[float, float]:
    """Lag of the stem by drag on the rated spring, and its standard uncertainty [s]."""
    drag = DRAG_N_S_PER_M / profile.expected_rate_n_per_m
    return drag, sqrt((DRAG_KNOWN_TO * drag) ** 2 + SKEW_S**2)


def filled_m3(profile: Profile) -> float:
    """Volume that the air has to fill as if the stem stood still [m^3]: V + p A^2 / k, at full travel.

    A sliding stem makes room: with p V = m R T and A dp = k dx, dm/dp = (V + p A^2 / k) / (R T).
    """
    area, travel = profile.area_m2, profile.rated_travel_m
    span = profile.bench_upper_pa - profile.bench_lower_pa
    absolute = ROOM_PA + 0.5 * (profile.bench_upper_pa + profile.bench_lower_pa)
    return area * (DEAD_HEIGHT_M + travel) + absolute * area * travel / span


def usual_lag(sensors: Sensors, profile: Profile) -> tuple[float, float]:
    """What is known beforehand of the stem's lag behind the pressure, and its standard uncertainty [s].

    Drag, and doubt about the stated lags; without a casing transmitter also the filling of the casing.
    """
    both = sqrt(sensors.pressure_lag_s**2 + sensors.position_lag_s**2)
    doubt = LAG_KNOWN_TO * both * RECTANGULAR
    if sensors.pressure_is_inferred:
        fill_s = FILL_S_PER_M3 * filled_m3(profile)
        return CONVERTER_LAG_S + fill_s, sqrt((FILL_KNOWN_TO * fill_s) ** 2 + CONVERTER_LAG_S**2 + doubt**2)
    drag, drag_u = usual_drag(profile)
    return drag, sqrt(drag_u**2 + doubt**2)
