"""Every fault really happens: each kind is planted once, half way up a ramp, and seen in the registers.

The ramp: 0 to 40 psi at 4 psi/s, held; faults start at 4 s unless they say otherwise, at some 14 psi.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import isclose

import pytest

from rig.stand.model import Table
from simulator import Fault, NoAnswer, Refused, SimulatedStand, Trigger, actuator_for
from simulator.faults.kinds import KINDS
from simulator.transmitters import PERFECT
from tests.simulator.stands import INCH, PSI, stand

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)
STAND = stand()
START_S, END_S, SCAN_S = 4.0, 14.0, 0.05


@dataclass
class Run:
    """One ramp under a fault, scan by scan; None where nothing came back."""

    stand: SimulatedStand
    time_s: list[float] = field(default_factory=list)
    inputs: list[list[int] | None] = field(default_factory=list)
    true: list[tuple[float, float]] = field(default_factory=list)  # casing, stem
    refused: list[int] = field(default_factory=list)

    def at(self, time_s: float) -> int:
        return min(range(len(self.time_s)), key=lambda i: abs(self.time_s[i] - time_s))

    def casing_psi(self, time_s: float) -> float:
        return self.true[self.at(time_s)][0] / PSI

    def stem(self, time_s: float) -> float:
        return self.true[self.at(time_s)][1]

    def shown_psi(self, time_s: float) -> float:
        values = self.inputs[self.at(time_s)]
        assert values is not None
        assert STAND.casing_pressure is not None
        return STAND.casing_pressure.scale.to_si(values[0]) / PSI

    def shown_position(self, time_s: float) -> float:
        values = self.inputs[self.at(time_s)]
        assert values is not None
        return STAND.stem_position.scale.to_si(values[1])

    def share_missing(self) -> float:
        late = [v for t, v in zip(self.time_s, self.inputs, strict=True) if t > START_S + 0.1]
        return sum(v is None for v in late) / len(late)


def scan(run: Run, t: float) -> None:
    s = run.stand
    s.advance(t)
    demand_psi = min(4.0 * t, 40.0) if t < 11.0 else 0.0
    got: list[int] | None = None
    try:
        got = s.read(1, Table.INPUT, 0, 4)
        s.write(1, Table.HOLDING, 0, [round(4000 + 16000 * demand_psi / 60)])
        s.write(1, Table.COILS, 0, [1, 1] if t < 12.5 else [0, 0])
    except NoAnswer:
        pass
    except Refused as refused:
        run.refused.append(refused.code)
    run.time_s.append(t)
    run.inputs.append(got)
    run.true.append((s.outputs.casing_pa, s.outputs.stem_m))


def ramp(*faults: Fault) -> Run:
    run = Run(SimulatedStand(STAND, VALVE, faults=faults, errors={"": PERFECT}))
    for i in range(1, round(END_S / SCAN_S) + 1):
        scan(run, i * SCAN_S)
    return run


def with_fault(kind: str, size: float = 1.0, where: str = "", end: Trigger | None = None) -> Run:
    start = Trigger(time_s=START_S)
    return ramp(Fault(kind, size, where, start, end) if end else Fault(kind, size, where, start))


HEALTHY = ramp()
CASING, STEM = "casing_pressure", "stem_position"
# kind -> (size, where, what must be seen)
SEEN: dict[str, tuple[float, str, Callable[[Run], bool]]] = {
    "supply lost": (1, "", lambda r: r.casing_psi(8) < 2 and HEALTHY.casing_psi(8) > 25),
    "supply low": (0.4, "", lambda r: 17 < r.casing_psi(10.5) < 18.5),
    "supply doubled": (1, "", lambda r: isclose(2 * r.inputs[0][2] - 4000, r.inputs[-1][2], abs_tol=9)),  # type: ignore[index]
    "hose off": (1, "", lambda r: r.casing_psi(8) < 1),
    "converter full on": (1, "", lambda r: r.casing_psi(6.5) > HEALTHY.casing_psi(6.5) + 5),
    "converter full off": (1, "", lambda r: r.casing_psi(10) < 1),
    "converter frozen": (1, "", lambda r: 14 < r.casing_psi(10) < 17 and r.casing_psi(12.4) > 14),
    "supply valve stuck": (1, "", lambda r: r.stand.drive.valves.supply_open),
    "vent valve stuck": (1, "", lambda r: not r.stand.drive.valves.vent_open and r.casing_psi(13.9) > 3),
    "exhaust blocked": (0, "", lambda r: r.casing_psi(12.4) > 34 and HEALTHY.casing_psi(12.4) < 30),
    "diaphragm tears": (3.0, "", lambda r: r.casing_psi(10.5) < HEALTHY.casing_psi(10.5) - 5),
    "stem jams": (1, "", lambda r: abs(r.stem(10) - r.stem(4.1)) < 1e-4 and r.casing_psi(10) > 30),
    "friction rises": (4, "", lambda r: r.stem(8) < HEALTHY.stem(8) - 2e-3),
    "spring breaks": (0.5, "", lambda r: r.stem(6) > HEALTHY.stem(6) + 5e-3),
    "connector slips": (3e-3, "", lambda r: r.stem(13.9) < -2.5e-3),
    "something in the seat": (2e-3, "", lambda r: r.stem(13.9) > 1.9e-3),
    "transmitter fails low": (1, CASING, lambda r: r.inputs[-1][0] <= 3600),  # type: ignore[index]
    "transmitter fails high": (1, STEM, lambda r: r.inputs[-1][1] >= 21000),  # type: ignore[index]
    "transmitter stuck": (1, STEM, lambda r: r.inputs[r.at(4.1)][1] == r.inputs[-1][1]),  # type: ignore[index]
    "transmitter jumps": (2 * PSI, CASING, lambda r: abs(r.shown_psi(8) - r.casing_psi(8) - 2) < 0.05),
    "transmitter drifts": (
        0.5 * PSI, CASING, lambda r: abs(r.shown_psi(8) - r.casing_psi(8) - 2) < 0.05
    ),
    "transmitter spikes": (
        0.005, STEM,
        lambda r: sum(abs(r.shown_position(t) - r.stem(t)) > 0.004 for t in r.time_s if t > 4.2) > 2,
    ),
    "transmitter intermittent": (0.1, CASING, lambda r: 5 < sum(v[0] < 3700 for v in r.inputs if v) < 50),
    "wrong range": (0.5, CASING, lambda r: abs(r.shown_psi(8) - 0.5 * r.casing_psi(8)) < 0.05),
    "sensor upside down": (
        1, STEM, lambda r: abs(r.shown_position(8) + r.stem(8) - 2 * INCH) < 1e-4
    ),
    "wires swapped": (
        1, "", lambda r: abs(r.shown_psi(8) / 60 - r.stem(8) / (2 * INCH)) < 1e-3
    ),
    "module reboots": (1, "io", lambda r: r.casing_psi(9) < 1 and r.share_missing() == 1.0),
    "module silent": (1, "io", lambda r: r.casing_psi(12) > 13 and r.share_missing() == 1.0),
    "outputs stuck": (1, "io", lambda r: 13 < r.casing_psi(12) < 17),
    "writes ignored": (1, "io", lambda r: r.inputs[-1][3] == r.inputs[r.at(4.1)][3]),  # type: ignore[index]
    "power cut": (1, "", lambda r: r.casing_psi(9) < 1 and r.share_missing() == 1.0),
    "connection drops": (0.2, "", lambda r: 0.1 < r.share_missing() < 0.5),
    "answers missing": (0.2, "", lambda r: 0.1 < r.share_missing() < 0.4),
    "answers late": (0.3, "", lambda r: r.share_missing() == 1.0),
    "answers garbled": (0.2, "", lambda r: 0.1 < r.share_missing() < 0.4),
    "answers short": (1, "", lambda r: len(r.inputs[-1] or []) == 3),
    "wrong unit answers": (0.2, "", lambda r: 0.1 < r.share_missing() < 0.4),
    "exception answers": (6, "", lambda r: set(r.refused) == {6} and len(r.refused) > 150),
}  # fmt: skip


def test_every_kind_has_its_proof() -> None:
    # nothing can come twice to a client in process: test_tcp.py and test_rtu.py see it on the wire
    assert set(SEEN) == set(KINDS) - {"answers twice"}


@pytest.mark.parametrize("kind", sorted(SEEN))
def test_the_fault_really_happens(kind: str) -> None:
    size, where, seen = SEEN[kind]
    assert seen(with_fault(kind, size, where)), kind


@pytest.mark.parametrize("kind", sorted(SEEN))
def test_a_healthy_run_does_not_look_like_it(kind: str) -> None:
    assert not SEEN[kind][2](HEALTHY), kind


def test_a_jam_that_frees_lets_the_stem_catch_up() -> None:
    run = with_fault("stem jams", end=Trigger(after_s=2.0))
    assert abs(run.stem(5.9) - run.stem(4.1)) < 1e-4
    assert run.stem(8.0) == pytest.approx(HEALTHY.stem(8.0), abs=2e-3)


def test_a_jam_does_not_throw_the_stem() -> None:
    run = with_fault("stem jams")
    assert abs(run.stem(4.1) - HEALTHY.stem(4.0)) < 5e-4


def test_after_a_reboot_the_outputs_stay_down_and_the_watchdog_is_disarmed() -> None:
    s = SimulatedStand(
        STAND, VALVE, faults=[Fault("module reboots", 1.0, "io", Trigger(time_s=1.0), Trigger(after_s=2.0))]
    )
    s.write(1, Table.HOLDING, 40, [500])
    s.write(1, Table.COILS, 0, [1, 1])
    s.advance(1.5)
    with pytest.raises(NoAnswer):
        s.read(1, Table.HOLDING, 40, 1)
    s.advance(4.0)
    assert s.read(1, Table.HOLDING, 40, 1) == [0]
    assert s.read(1, Table.COILS, 0, 2) == [0, 0]


@pytest.mark.parametrize(
    ("start", "reached"),
    [
        (Trigger(time_s=3.0), lambda t, casing, stem: 3.0 <= t < 3.15),
        (Trigger(pressure_pa=12 * PSI), lambda t, casing, stem: 12 <= casing / PSI < 12.6),
        (Trigger(travel_m=0.5 * INCH), lambda t, casing, stem: 0.5 <= stem / INCH < 0.54),
        (Trigger(stroke=1), lambda t, casing, stem: 0.9 <= stem / VALVE.travel_m < 0.94),
        (Trigger(travel_m=0.5 * INCH, rising=False), lambda t, casing, stem: t < 0.15),
    ],
)
def test_a_fault_starts_by_time_pressure_travel_or_stroke(
    start: Trigger, reached: Callable[[float, float, float], bool]
) -> None:
    run = ramp(Fault("transmitter fails low", where=CASING, start=start))
    began = next(i for i, v in enumerate(run.inputs) if v and v[0] <= 3600)
    assert reached(run.time_s[began], *run.true[began])


def test_a_fault_at_random_starts_as_often_as_its_chance_says() -> None:
    starts = []
    for seed in range(40):
        fault = Fault("transmitter fails low", where=CASING, start=Trigger(chance_per_s=0.5))
        s = SimulatedStand(STAND, VALVE, faults=[fault], seed=seed)
        while s.faults.running[0].began_s is None and s.time_s < 60:
            s.advance(s.time_s + 0.1)
        starts.append(s.time_s)
    assert 1.2 < sum(starts) / len(starts) < 3.2  # mean 2 s, sd of the mean 0.32


def test_what_is_wrong_from_the_start_is_wrong_in_the_first_reading() -> None:
    s = SimulatedStand(STAND, VALVE, faults=[Fault("sensor upside down", where=STEM)], errors={"": PERFECT})
    first = s.read(1, Table.INPUT, 1, 1)
    s.advance(0.5)
    assert first == s.read(1, Table.INPUT, 1, 1)
    assert STAND.stem_position.scale.to_si(first[0]) == pytest.approx(2 * INCH, abs=1e-4)


def test_an_unknown_fault_is_told_with_those_that_there_are() -> None:
    with pytest.raises(ValueError, match=r"no such fault: gremlins; there are .*stem jams"):
        SimulatedStand(STAND, VALVE, faults=[Fault("gremlins")])
