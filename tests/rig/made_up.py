"""A believable bench check made up for tests of records and reports: an invented desalination works."""

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache
from math import nan
from pathlib import Path

import numpy as np

from rig.analysis.result import QUANTITIES, CheckResult, Outcome, Quantity
from rig.analysis.samples import Samples
from rig.procedure.bench_check import BenchCheck
from rig.procedure.planner import plan_ramp
from rig.profile.model import Action, Basis, Profile, Tolerance
from rig.record.reader import Event, Record
from rig.stand.model import (
    AnalogChannel,
    Calibration,
    Module,
    Number,
    Scale,
    Stand,
    Table,
    TcpLink,
    WordOrder,
)
from rig.stand.sample import Sample
from safety.signals import Command, Contact, Health, Signal

from .quasi_static import QuasiStaticValve

PSI, INCH = 6894.757, 0.0254  # Pa and m, rounded: made-up data needs no more

PROFILE = Profile(
    model="brine-letdown",
    title="Brine let-down valve",
    action=Action.AIR_TO_OPEN,
    area_m2=69 * INCH**2,
    rated_travel_m=1.125 * INCH,
    travel_surplus_m=INCH / 32,
    bench_lower_pa=8 * PSI,
    bench_upper_pa=30 * PSI,
    lower_tolerance=Tolerance(0.5 * PSI, 0.5 * PSI),
    upper_tolerance=Tolerance(1.5 * PSI, 1.5 * PSI),
    basis=Basis.FRICTION_INCLUDED,
    casing_maximum_pa=55 * PSI,
    supply_pa=40 * PSI,
    required_seat_load_n=1900.0,
)
DOSING = replace(
    PROFILE,
    model="dosing-shutoff",
    title="Antiscalant dosing valve",
    action=Action.AIR_TO_CLOSE,
    required_seat_load_n=None,
)


def _channel(role: str, address: int, scale: Scale, accuracy: float, due: date | None) -> AnalogChannel:
    return AnalogChannel(
        role=role,
        module="analog",
        table=Table.HOLDING,
        address=address,
        number=Number.UINT16,
        word_order=WordOrder.HIGH_FIRST,
        scale=scale,
        live=None,
        calibration=Calibration(accuracy, date(2026, 3, 2) if due else None, due),
    )


STAND = Stand(
    name="Bay 2, permeate hall",
    scans_per_s=50.0,
    maximum_pressure_pa=50 * PSI,
    supply_pressure_pa=40 * PSI,
    links={"loop": TcpLink("loop", "127.0.0.1", 502)},
    modules={"analog": Module("analog", "loop", 1)},
    demand_output=_channel("demand output", 0, Scale(0, 0.0, 27648, 60 * PSI), 0.3 * PSI, date(2027, 3, 2)),
    stem_position=_channel(
        "stem position", 1, Scale(0, 0.0, 27648, 4 * INCH), 0.002 * INCH, date(2027, 3, 2)
    ),
    casing_pressure=_channel(
        "casing pressure", 2, Scale(0, 0.0, 27648, 60 * PSI), 0.06 * PSI, date(2027, 3, 2)
    ),
)


def made_up_samples(profile: Profile, cycles: int = 3, seed: int = 1) -> Iterator[Sample]:
    """The bench check on an instant valve with noisy transmitters, the position read backwards."""
    noise = random.Random(seed)
    valve = QuasiStaticValve(
        lower_pa=profile.bench_lower_pa - 0.7 * PSI,
        upper_pa=profile.bench_upper_pa - 0.8 * PSI,
        travel_m=profile.rated_travel_m + 0.004 * INCH,
        half_band_pa=0.75 * PSI,
        sense=-1,
        offset_m=2.6 * INCH,
    )
    steps = BenchCheck(profile, plan_ramp(profile, 45 * PSI), cycles=cycles).run()
    demand = next(steps)
    closed = Contact(True, Health.GOOD, 0.0)
    serial = 0
    while True:
        reading = valve.answer(demand)
        pressure_pa = reading.pressure.value + noise.gauss(0.0, 0.02 * PSI)
        position_m = reading.position.value + noise.gauss(0.0, 0.001 * INCH)
        reading = replace(
            reading,
            pressure=Signal(pressure_pa, Health.GOOD, reading.time_s - 0.002),
            position=Signal(position_m, Health.GOOD, reading.time_s - 0.001),
            supply=Signal(40.1 * PSI, Health.GOOD, reading.time_s),
            emergency_stop_healthy=closed,
            guard_closed=closed,
        )
        command = Command(0.0 if demand.vent else valve.pressure_pa, not demand.vent, demand.vent, True)
        serial += 1
        yield Sample(reading, replace(demand, serial=serial), command, "ramping", 0.0003, 0)
        try:
            demand = steps.send(reading)
        except StopIteration:
            return


@cache
def run_of(action: Action, cycles: int = 3) -> tuple[Sample, ...]:
    return tuple(made_up_samples(PROFILE if action is Action.AIR_TO_OPEN else DOSING, cycles))


def columns(samples: tuple[Sample, ...]) -> Samples:
    def column(values: Iterator[float]) -> np.ndarray:  # type: ignore[type-arg]
        return np.array(list(values), dtype=np.float64)

    return Samples(
        time_s=column(s.reading.time_s for s in samples),
        pressure_pa=column(s.reading.pressure.value if s.reading.pressure.good else nan for s in samples),
        position_m=column(s.reading.position.value if s.reading.position.good else nan for s in samples),
        output_pa=column(s.command.output_pa for s in samples),
        supply_pa=column(s.reading.supply.value for s in samples),
        cycle=np.array([s.demand.cycle if s.demand else 0 for s in samples], dtype=np.int64),
        stage=np.array([s.demand.stage if s.demand else "" for s in samples], dtype=np.str_),
    )


def made_up_record(
    action: Action = Action.AIR_TO_OPEN, cycles: int = 3, stand: Stand = STAND, keep: float = 1.0
) -> Record:
    """A record as the reader would give it; `keep` cuts the run short at that share of its samples."""
    samples = run_of(action, cycles)
    samples = samples[: max(1, int(len(samples) * keep))]
    return Record(
        folder=Path("records/2026-11-25_141503_brine-letdown"),
        profile=PROFILE if action is Action.AIR_TO_OPEN else DOSING,
        profile_text="",
        stand=stand,
        stand_text="",
        run={
            "started": "2026-11-25T14:15:03+01:00",
            "person": "shift B",
            "serial_number": "BL-0417",
            "limits": [{"name": "pressure_max_pa", "value": 45 * PSI, "source": "profile"}],
        },
        events=(Event(0.0, "start", ""), Event(200.0, "record closed", "")),
        samples=columns(samples),
        torn=False,
        closed=keep == 1.0,
        pressure_is_inferred=stand.casing_pressure is None,
        lost_scans=0,
        longest_late_s=0.0004,
        fingerprint="0123456789ab",
    )


_MADE_UP = {  # value, expanded uncertainty [SI]
    "lift_off": (8.05 * PSI, 0.07 * PSI),
    "sliding_intercept": (8.04 * PSI, 0.06 * PSI),
    "full_travel": (29.95 * PSI, 0.08 * PSI),
    "return_start": (28.44 * PSI, 0.08 * PSI),
    "reseat": (6.56 * PSI, 0.07 * PSI),
    "travel": (1.129 * INCH, 0.0024 * INCH),
    "friction": (230.0, 9.0),
    "spring_rate": (236_000.0, 7_300.0),
    "spring_only_lower": (7.30 * PSI, 0.06 * PSI),
    "spring_only_upper": (29.20 * PSI, 0.07 * PSI),
    "seat_load": (2014.0, 65.0),
    "hysteresis": (1.50 * PSI, 0.05 * PSI),
}


def made_up_result(
    profile: Profile = PROFILE, outcome: Outcome = Outcome.PASS, lift_off_pa: float = 8.05 * PSI
) -> CheckResult:
    """All quantities measured; only lift-off decides between the outcomes."""
    lower, upper = profile.lower_tolerance, profile.upper_tolerance
    limits = {
        "lift_off": (profile.bench_lower_pa - lower.minus, profile.bench_lower_pa + lower.plus),
        "full_travel": (profile.bench_upper_pa - upper.minus, profile.bench_upper_pa + upper.plus),
        "travel": (profile.rated_travel_m, profile.rated_travel_m + profile.travel_surplus_m),
    }
    if profile.required_seat_load_n is not None:
        limits["seat_load"] = (profile.required_seat_load_n, float("inf"))
    quantities = {}
    for key in QUANTITIES:
        value, spread = _MADE_UP[key]
        judged = Outcome.PASS if key in limits else Outcome.NOT_JUDGED
        if key == "lift_off":
            value, judged = lift_off_pa, outcome
        quantities[key] = Quantity(key, value, spread, limits.get(key), judged)
    return CheckResult(outcome, profile.basis.value, quantities, advice=("The spring range is as rated.",))


def stopped_result(trips: tuple[str, ...]) -> CheckResult:
    quantities = {
        key: Quantity(key, None, None, None, Outcome.NOT_MEASURED, why="the run was stopped")
        for key in QUANTITIES
    }
    return CheckResult(Outcome.STOPPED, PROFILE.basis.value, quantities, trips=trips)
