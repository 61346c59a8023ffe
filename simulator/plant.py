"""The plant: I/P, tubing, casing, spring, friction and stops, as one `update(time, inputs) -> outputs`.

It does no I/O and knows no clock: it is asked for a time, and marches there in steps of `step_s`. Gauge
pressures outside, absolute inside. What changes slowly (friction along the stroke, supply droop, faults)
is renewed every `RENEW_S`.
"""

from dataclasses import dataclass, field
from math import log10, sqrt
from typing import Any, NamedTuple

from simulator.actuator import Actuator
from simulator.air import (
    ATMOSPHERE_PA,
    GAMMA,
    R_AIR,
    REFERENCE_DENSITY,
    REFERENCE_K,
    conductance_si,
    tube_delay_s,
)
from simulator.march import Coefficients, State, contact, march

STEP_S = 0.002
RENEW_S = 0.02
STILL_M_PER_S, GIVING_M_PER_S = 1e-6, 2e-5


@dataclass(frozen=True, slots=True)
class Converter:
    """The I/P converter and the air behind it (SI; errors in Pa or shares of the demand)."""

    lag_s: float = 0.15
    tubing_length_m: float = 1.0  # its delay L/a is added to the lag (assumption: a lag may stand for it)
    zero_error_pa: float = 0.0
    span_error: float = 0.0  # share of demand
    bow_pa: float = 0.0  # linearity error at half of `full_scale_pa`, parabola
    full_scale_pa: float = 400_000.0
    hysteresis_pa: float = 0.0  # width of the play between rising and falling
    fill_conductance: float = conductance_si(0.8)
    exhaust_conductance: float = conductance_si(0.8)
    critical_ratio: float = 0.3
    supply_pa: float = 300_000.0  # at the stand, gauge
    supply_droop_pa_s_per_kg: float = 2e7  # supply falls with flow: 0.2 bar at 1 g/s (assumption)
    regulator_lag_s: float = 0.2  # of the supply's own regulator (assumption)
    vent_conductance: float = conductance_si(4.0)
    inlet_emptying_s: float = 0.3  # air behind a closed supply valve is used up by the I/P's own bleed


@dataclass(slots=True)
class Inputs:
    """What acts on the plant from now on; faults change the later ones."""

    demand_pa: float = 0.0
    supply_open: bool = False
    vent_open: bool = True
    supply_factor: float = 1.0  # 0 lost, 2 doubled
    pilot_override_pa: float | None = None  # I/P full on, full off or frozen
    hose_off: bool = False
    isolated: bool = False  # a valve between hose and casing is shut
    exhaust_factor: float = 1.0  # 0: blocked
    leak_extra: float = 0.0  # conductance [m3/(s Pa)]
    friction_factor: float = 1.0
    preload_extra_n: float = 0.0
    spring_factor: float = 1.0
    debris_m: float = 0.0  # something in the seat holds the plug off by this much
    slip_m: float = 0.0  # the connector has slipped: the plug sits this much lower on the stem


class Outputs(NamedTuple):
    """What the transmitters could see, gauge and SI, and some things that they cannot."""

    time_s: float
    casing_pa: float
    stem_m: float
    supply_pa: float
    stem_m_per_s: float
    pilot_pa: float
    air_kg: float
    air_k: float
    friction_n: float
    plug_m: float
    seat_n: float


@dataclass(slots=True)
class Plant:
    """An actuator on a stand's air, at rest and vented at time 0."""

    actuator: Actuator
    converter: Converter = field(default_factory=Converter)
    step_s: float = STEP_S
    room_pa: float = ATMOSPHERE_PA
    room_k: float = REFERENCE_K
    state: State = field(init=False)
    _steps: int = field(init=False, default=0)
    _play_pa: float = field(init=False, default=0.0)
    _supply_pa: float = field(init=False, default=0.0)
    _rest_s: float = field(init=False, default=0.0)
    _plug_m: float = field(init=False, default=0.0)
    _air_kg_before: float = field(init=False, default=0.0)
    _droop_pa: float = field(init=False, default=0.0)
    _factor: float = field(init=False, default=1.0)
    _key: tuple[Any, ...] = field(init=False, default=(None,))
    _seldom: tuple[float, ...] = field(init=False, default=())

    def __post_init__(self) -> None:
        a = self.actuator
        x = rest_position(a)
        mass = self.room_pa * (a.casing_volume_m3 + a.area_m2 * x) / (R_AIR * self.room_k)
        self.state = State(self.room_pa, self.room_pa, mass, x, 0.0, 0.0)
        self._air_kg_before = mass

    @property
    def time_s(self) -> float:
        return self._steps * self.step_s

    def update(self, time_s: float, inputs: Inputs) -> Outputs:
        """March to `time_s` (the nearest whole step) under `inputs`; never backwards."""
        wanted = round(time_s / self.step_s)
        renew = max(1, round(RENEW_S / self.step_s))
        while self._steps < wanted:
            steps = min(renew, wanted - self._steps)
            span_s = steps * self.step_s
            self._march(self.coefficients(inputs, span_s), steps)
            self._steps += steps
            self._after(span_s)
        return self.outputs(inputs)

    def _march(self, coefficients: Coefficients, steps: int) -> None:
        self.state = march(self.state, coefficients, steps, self.step_s)

    def outputs(self, inputs: Inputs) -> Outputs:
        s, a = self.state, self.actuator
        volume = a.casing_volume_m3 + a.area_m2 * s.x_m
        scale = self._friction_scale()
        bristle_n = scale * a.friction.bristle_n_per_m * s.bristle_m
        return Outputs(
            time_s=self.time_s,
            casing_pa=s.casing_pa - self.room_pa,
            stem_m=s.x_m,
            supply_pa=self.converter.supply_pa * inputs.supply_factor,
            stem_m_per_s=s.v_m_per_s,
            pilot_pa=s.pilot_pa - self.room_pa,
            air_kg=s.air_kg,
            air_k=s.casing_pa * volume / (s.air_kg * R_AIR),
            friction_n=bristle_n + a.friction.viscous_n_s_per_m * s.v_m_per_s,
            plug_m=self._plug_m,
            seat_n=self.seat_n(inputs),
        )

    def seat_n(self, inputs: Inputs) -> float:
        """Force on the valve's seat at present [N]; what a stop carries is not on the seat."""
        a, x = self.actuator, self.state.x_m
        low, stiff, rounding, _, high, high_stiff, high_rounding, _ = contacts(a, inputs)
        if not a.coupled:
            return 0.0
        if a.action == "air-to-open":
            seat_is_low = low > -a.slack_m
            return contact(low - x, stiff, rounding)[0] if seat_is_low and x < low else 0.0
        seat_is_high = high < a.stroke_m - a.slack_m
        return contact(x - high, high_stiff, high_rounding)[0] if seat_is_high and x > high else 0.0

    def shift(self, by_m: float) -> None:
        """The stem's coordinate counts from another x = 0; nothing moves."""
        self.state = self.state._replace(x_m=self.state.x_m + by_m)
        self._plug_m += by_m

    # -- what changes slowly -----------------------------------------------------------------------

    def _pilot_target(self, inputs: Inputs, span_s: float) -> float:
        """Pressure that the I/P regulates to, absolute [Pa]."""
        conv = self.converter
        source = conv.supply_pa * inputs.supply_factor if inputs.supply_open else 0.0
        if source >= self._supply_pa:
            self._supply_pa = source
        else:
            self._supply_pa += (source - self._supply_pa) * span_s / (span_s + conv.inlet_emptying_s)
        if inputs.pilot_override_pa is not None:
            wanted = inputs.pilot_override_pa
        else:
            half = 0.5 * conv.hysteresis_pa
            self._play_pa = min(max(self._play_pa, inputs.demand_pa - half), inputs.demand_pa + half)
            share = self._play_pa / conv.full_scale_pa
            bow = 4.0 * conv.bow_pa * share * (1.0 - share)
            wanted = self._play_pa * (1.0 + conv.span_error) + conv.zero_error_pa + bow
        return self.room_pa + min(max(wanted, 0.0), self._supply_pa)

    def coefficients(self, inputs: Inputs, span_s: float) -> Coefficients:
        """All of the loop's coefficients for the next `span_s`; `inputs` and the state decide."""
        i = inputs
        key = (
            self.actuator, i.vent_open, i.hose_off, i.isolated, i.exhaust_factor, i.leak_extra,
            i.preload_extra_n, i.spring_factor, i.debris_m, i.slip_m, self.room_k,
        )  # fmt: skip
        self._rescale_bristles(self._friction_factor(i))
        if key != self._key or key[0] is not self._key[0]:
            self._key, self._seldom = key, self._seldom_changed(i)
        target = self._pilot_target(i, span_s)
        supply = self.room_pa + max(0.0, self._supply_pa - self._drooped(span_s))
        static_n = self.actuator.friction.coulomb_n * self._static_ratio()
        return Coefficients._make((target, supply, self._friction_scale(), static_n, *self._seldom))

    def _drooped(self, span_s: float) -> float:
        """How far the supply has fallen under the flow that it gives, some time after it [Pa]."""
        flow = max(0.0, (self.state.air_kg - self._air_kg_before) / span_s)
        self._air_kg_before = self.state.air_kg
        wanted = flow * self.converter.supply_droop_pa_s_per_kg
        self._droop_pa += (wanted - self._droop_pa) * span_s / (span_s + self.converter.regulator_lag_s)
        return self._droop_pa

    def _rescale_bristles(self, factor: float) -> None:
        """Friction that rises or falls at once changes the stiffness of the bristles, not their force.

        So the plug that the stem takes along at the end of its play holds it up, but does not throw it back.
        """
        if factor != self._factor:
            self.state = self.state._replace(bristle_m=self.state.bristle_m * self._factor / factor)
            self._factor = factor

    def _seldom_changed(self, inputs: Inputs) -> tuple[float, ...]:
        """Coefficients from `pilot_lag_s` on."""
        a, f, conv = self.actuator, self.actuator.friction, self.converter
        outlet = a.leak_conductance + inputs.leak_extra
        outlet += conv.vent_conductance if inputs.vent_open else 0.0
        outlet += a.tubing_conductance if inputs.hose_off and not inputs.isolated else 0.0
        spring_n = (a.rest_force_n - a.weight_n - a.unbalance_n) * inputs.spring_factor
        return (
            conv.lag_s + tube_delay_s(conv.tubing_length_m, self.room_k),
            self.room_pa,
            self.room_k,
            0.0 if inputs.hose_off or inputs.isolated else a.tubing_conductance * REFERENCE_DENSITY,
            a.tubing_critical_ratio,
            conv.fill_conductance * REFERENCE_DENSITY,
            conv.exhaust_conductance * inputs.exhaust_factor * REFERENCE_DENSITY,
            conv.critical_ratio,
            outlet * REFERENCE_DENSITY,
            a.wall_conductance_w_per_k,
            a.casing_volume_m3,
            a.area_m2,
            a.area_m2 * a.area_change_per_m,
            spring_n + a.weight_n + a.unbalance_n + inputs.preload_extra_n,
            a.spring_rate_n_per_m * inputs.spring_factor + a.unbalance_n_per_m,
            a.moving_mass_kg,
            f.viscous_n_s_per_m,
            f.bristle_n_per_m,
            f.bristle_damping_n_s_per_m,
            f.coulomb_n,
            f.stribeck_m_per_s,
            *contacts(a, inputs),
            a.stop_stiffness_n_per_m,
            a.contact_damping_n_s_per_m,
            a.end_bind_from_m,
            a.end_bind_n_per_m,
        )

    def _static_ratio(self) -> float:
        """Static friction heals with the logarithm of rest time (Dieterich 1972; the amount is assumed)."""
        f = self.actuator.friction
        if f.healing_per_decade == 0.0 or self._rest_s <= 1.0:
            return f.static_ratio
        return f.static_ratio + f.healing_per_decade * log10(self._rest_s)

    def _friction_factor(self, inputs: Inputs) -> float:
        """Friction now, relative to that of the healthy and coupled valve at the same travel."""
        a = self.actuator
        in_play = 1e-9 < self.state.x_m - self._plug_m < a.connector_play_m - 1e-9
        if in_play or not a.coupled:
            return inputs.friction_factor * a.actuator_friction_share
        return inputs.friction_factor

    def _friction_scale(self) -> float:
        return self._factor * self.actuator.friction.factor_at(self.state.x_m)

    def _after(self, span_s: float) -> None:
        a, x = self.actuator, self.state.x_m
        self._plug_m = min(max(self._plug_m, x - a.connector_play_m), x) if a.coupled else 0.0
        self._rest_s = self._rest_s + span_s if self._is_still() else 0.0

    def _is_still(self) -> bool:
        """Whether the stem rests; giving by its bristles is no movement."""
        f, s = self.actuator.friction, self.state
        speed = abs(s.v_m_per_s)
        gives = f.bristle_n_per_m * abs(s.bristle_m) < 0.9 * f.coulomb_n
        return speed < STILL_M_PER_S or (gives and speed < GIVING_M_PER_S)


def contacts(a: Actuator, inputs: Inputs) -> tuple[float, float, float, float, float, float, float, float]:
    """Lower and upper contact in x: (first contact, stiffness, rounding, the actuator's own stop) twice."""
    seat, stop = a.seat_stiffness_n_per_m, a.stop_stiffness_n_per_m
    low_stop, high_stop = -a.slack_m, a.stroke_m - a.slack_m
    never = 1.0  # m: far beyond any stroke
    if not a.coupled:
        return low_stop, stop, 0.0, -never, high_stop, stop, 0.0, never
    if a.action == "air-to-open":
        low = inputs.debris_m - inputs.slip_m
        if low <= low_stop:
            low_part = (low_stop, stop, 0.0, -never)
        else:
            low_part = (low, seat, a.seat_rounding_m, low_stop)
        top = min(high_stop, a.travel_m)
        return (*low_part, top, stop, 0.0, never)
    seat_at = a.travel_m - inputs.debris_m + inputs.slip_m
    if seat_at >= high_stop:
        return 0.0, stop, 0.0, -never, high_stop, stop, 0.0, never
    return 0.0, stop, 0.0, -never, seat_at, seat, a.seat_rounding_m, high_stop


def sunk_m(
    force_n: float, stiffness: float, rounding: float, gap_m: float, stop_stiffness: float, slope: float = 0.0
) -> float:
    """How deep a contact gives under a force >= 0 [m]; beyond `gap_m` a stop takes its share.

    `slope` [N/m] is a spring that relaxes as the contact gives.
    """
    depth = force_n / (stiffness + slope)
    if rounding > 0.0:
        shallow = sqrt(2.0 * force_n * rounding / stiffness)
        depth = shallow if shallow < rounding else depth + 0.5 * rounding
    if depth > gap_m:
        depth = (force_n + stop_stiffness * gap_m + 0.5 * stiffness * rounding) / (stiffness + stop_stiffness)
    return depth


def rest_position(a: Actuator) -> float:
    """Where the stem rests without air: pressed into its lower contact by the spring [m]."""
    low, stiffness, rounding, low_stop, *_ = contacts(a, Inputs())
    force = a.rest_force_n + a.slope_n_per_m * low
    if force <= 0.0:
        return low
    gap = low - low_stop
    return low - sunk_m(force, stiffness, rounding, gap, a.stop_stiffness_n_per_m, a.slope_n_per_m)


def air_spring(a: Actuator, casing_pa: float, x_m: float) -> float:
    """Stiffness of the trapped air [N/m], adiabatic: g p A^2 / V."""
    return GAMMA * casing_pa * a.area_m2**2 / (a.casing_volume_m3 + a.area_m2 * x_m)
