"""Records of an ideal valve: friction as a play of one half band, straight ramps, noise, quantisation."""

from dataclasses import dataclass, replace

import numpy as np

from rig.analysis.samples import REST, RETURN, RISE, TOP, ZERO, Floats, Samples, Sensors
from rig.profile.model import Action, Basis, Profile, Tolerance

PSI, INCH = 6894.757293168361, 0.0254


@dataclass(frozen=True)
class IdealValve:
    """SI; the reference plant of most tests: 105 in2, 1-1/8 in, 10 to 30 psi spring only."""

    area_m2: float = 105 * INCH**2
    travel_m: float = 1.125 * INCH
    lower_pa: float = 10 * PSI  # spring only, at rest
    upper_pa: float = 30 * PSI  # spring only, at `travel_m`
    half_band_pa: float = 0.5 * PSI
    break_away_pa: float = 0.0  # the first hop waits for this much more than the half band
    seat_slope: float = 0.17e-3 * INCH / PSI  # m/Pa, metal seat
    bow: float = 0.0  # of travel at mid stroke, share of span
    more_drag_s: float = 0.0  # the stem follows the pressure by this much more than is usual

    @property
    def drag_s(self) -> float:
        """c / k of 1500 N s/m, what analysis takes as usual, and what there is more."""
        rate_n_per_m = self.area_m2 * (self.upper_pa - self.lower_pa) / self.travel_m
        return 1500.0 / rate_n_per_m + self.more_drag_s

    @property
    def gain(self) -> float:
        return self.travel_m / (self.upper_pa - self.lower_pa)


@dataclass(frozen=True)
class Rig:
    """How the record is taken."""

    rate_pa_per_s: float = 1 * PSI
    scans_per_s: float = 50.0
    noise_pa: float = 0.06 * PSI
    noise_m: float = 0.002 * INCH
    count_pa: float = 60 * PSI / 4096
    count_m: float = 2 * INCH / 4096
    sense: int = 1
    offset_m: float = 0.0
    zero_pa: float = 0.0
    pressure_lag_s: float = 0.0
    position_lag_s: float = 0.0
    cycles: int = 3
    beyond_pa: float = 4 * PSI


CLEAN = Rig(noise_pa=0.0, noise_m=0.0, count_pa=0.0, count_m=0.0)

SENSORS = Sensors(
    pressure_accuracy_pa=0.06 * PSI,
    position_accuracy_m=0.002 * INCH,
    pressure_resolution_pa=60 * PSI / 4096,
    position_resolution_m=2 * INCH / 4096,
    pressure_span_pa=60 * PSI,
    position_span_m=2 * INCH,
)
# For scoring: what the readings themselves give, without the calibration of the transmitters.
PERFECT = replace(SENSORS, pressure_accuracy_pa=0.0, position_accuracy_m=0.0)


def profile_for(valve: IdealValve, **changes: object) -> Profile:
    """Rated exactly as the valve is, friction included."""
    profile = Profile(
        model="ideal",
        title="ideal valve",
        action=Action.AIR_TO_OPEN,
        area_m2=valve.area_m2,
        rated_travel_m=valve.travel_m,
        travel_surplus_m=INCH / 32,
        bench_lower_pa=valve.lower_pa + valve.half_band_pa,
        bench_upper_pa=valve.upper_pa + valve.half_band_pa,
        lower_tolerance=Tolerance(0.5 * PSI, 0.5 * PSI),
        upper_tolerance=Tolerance(1.5 * PSI, 1.5 * PSI),
        basis=Basis.FRICTION_INCLUDED,
        casing_maximum_pa=55 * PSI,
        supply_pa=40 * PSI,
        adjuster_pitch_m=0.002,
        area_relative_uncertainty=0.03,
    )
    return replace(profile, **changes)  # type: ignore[arg-type]


def record(valve: IdealValve, rig: Rig = Rig(), seed: int = 1) -> Samples:
    """Zero stage and `rig.cycles` whole cycles."""
    random = np.random.default_rng(seed)
    step = 1.0 / rig.scans_per_s
    stages, pressures, cycles = [], [], []

    def add(stage: str, pressure: Floats, cycle: int) -> None:
        stages.append(np.full(len(pressure), stage))
        pressures.append(pressure)
        cycles.append(np.full(len(pressure), cycle))

    top = valve.upper_pa + valve.half_band_pa + rig.beyond_pa
    scans = round(top / rig.rate_pa_per_s / step)
    up = np.linspace(0.0, top, scans)
    low = max(0.0, valve.lower_pa - valve.half_band_pa - rig.beyond_pa)
    down = np.linspace(top, low, round((top - low) / rig.rate_pa_per_s / step))
    still = round(2.0 / step)
    add(ZERO, np.zeros(still + still // 2), 0)
    for cycle in range(1, rig.cycles + 1):
        add(RISE, up, cycle)
        add(TOP, np.full(still, top), cycle)
        add(RETURN, down, cycle)
        add(REST, np.concatenate((low * 0.9 ** np.arange(60), np.zeros(still))), cycle)
    pressure = np.concatenate(pressures)
    stage, cycle = np.concatenate(stages), np.concatenate(cycles)
    time = np.arange(len(pressure)) * step
    travel = _travel(valve, np.interp(time - valve.drag_s, time, pressure), stage)
    seen_pa = _lagged(time, pressure, rig.pressure_lag_s) + rig.noise_pa * random.normal(size=len(time))
    seen_m = _lagged(time, travel, rig.position_lag_s) + rig.noise_m * random.normal(size=len(time))
    return Samples(
        time_s=time,
        pressure_pa=_counted(seen_pa + rig.zero_pa, rig.count_pa),
        position_m=_counted(rig.offset_m + rig.sense * seen_m, rig.count_m),
        output_pa=pressure,
        supply_pa=np.full(len(time), 40 * PSI),
        cycle=cycle,
        stage=stage,
    )


def _travel(
    valve: IdealValve, pressure: Floats, stage: "np.ndarray[tuple[int, ...], np.dtype[np.str_]]"
) -> Floats:
    """Travel of full strokes: up against friction, down with it, pressed into the seat below."""
    downward = (stage == RETURN) | (stage == REST)
    line = np.where(downward, pressure + valve.half_band_pa, pressure - valve.half_band_pa)
    share = np.clip((line - valve.lower_pa) / (valve.upper_pa - valve.lower_pa), 0.0, 1.0)
    bent = share + 4.0 * valve.bow * share * (1.0 - share)
    travel = valve.travel_m * bent
    waiting = ~downward & (line < valve.lower_pa + valve.break_away_pa)
    travel = np.where(waiting, 0.0, travel)
    landed = travel <= 0.0
    corner = valve.lower_pa + np.where(downward, -1.0, 1.0) * valve.half_band_pa
    return np.where(landed, -valve.seat_slope * np.maximum(0.0, corner - pressure), travel)


def _lagged(time: Floats, values: Floats, lag_s: float) -> Floats:
    if lag_s <= 0.0:
        return values
    keep = np.exp(-(time[1] - time[0]) / lag_s)
    out = np.empty_like(values)
    state = values[0]
    for i, value in enumerate(values.tolist()):
        state = value + (state - value) * keep
        out[i] = state
    return out


def _counted(values: Floats, count: float) -> Floats:
    return np.round(values / count) * count if count > 0.0 else values
