"""`stemrig vent`: any stand made safe from a cold start, from its file alone; told where it is not."""

import os
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

import rig.cli.vent
from rig.cli.exits import PASS, STOPPED, UNDECIDED, UNREACHABLE, WRONG_INPUT
from rig.cli.main import main
from rig.stand.clock import VirtualClock
from rig.stand.file import load_stand, stand_text
from rig.stand.link import InProcessBus
from rig.stand.lock import Holding, StandInUse, only_controller
from rig.stand.make_safe import Safe, make_safe
from rig.stand.model import Stand, Table, TcpLink
from rig.stand.sample import Sample
from safety.venting import BY_HAND
from simulator import Fault, SimulatedStand, actuator_for
from simulator.bay import INCH, PSI, bare_stand, full_stand
from simulator.wire import LockStep, serve_tcp
from tests.rig.stands import stand as mock_stand_file
from tests.rig.stands import with_module

VALVE = actuator_for(area_m2=69 * INCH**2, rated_travel_m=1.125 * INCH, lower_pa=8 * PSI, upper_pa=30 * PSI)


def under_air(stand: Stand, *faults: Fault, pressure_pa: float = 15 * PSI) -> SimulatedStand:
    """Left by a program that is gone: supply open, vent shut, I/P at `pressure_pa`, no watchdog armed."""
    machine = SimulatedStand(stand, VALVE)
    unit = stand.modules[stand.demand_output.module].unit
    for valve, energised in ((stand.supply_valve, 1), (stand.vent_valve, 1)):
        if valve is not None:
            machine.write(unit, valve.table, valve.address, [energised])
    raw = round(stand.demand_output.scale.to_raw(pressure_pa))
    machine.write(unit, Table.HOLDING, stand.demand_output.address, [raw])
    machine.advance(15.0)
    assert machine.outputs.casing_pa > 0.8 * pressure_pa
    for fault in faults:
        machine.faults.add(fault)
    machine.advance(15.1)
    return machine


def made_safe(
    machine: SimulatedStand, stopped: Callable[[list[Sample]], bool] = lambda samples: False
) -> tuple[Safe, list[Sample]]:
    samples: list[Sample] = []
    stand = machine.stand
    clock = VirtualClock(lambda passed_s: machine.advance(machine.time_s + passed_s))
    buses = {name: InProcessBus(machine) for name in stand.links}
    end = make_safe(
        stand, buses, clock, lambda sample, notices: samples.append(sample), lambda: stopped(samples)
    )
    return end, samples


def test_a_stand_left_under_air_is_vented_and_the_pressure_seen_to_go() -> None:
    machine = under_air(full_stand())
    end, samples = made_safe(machine)
    assert end is Safe.VENTED
    assert machine.outputs.casing_pa < 0.5 * PSI
    assert not machine.drive.valves.supply_open
    assert machine.drive.valves.vent_open
    assert {sample.command.output_pa for sample in samples} == {0.0}


def test_a_stand_that_is_at_rest_already_is_found_safe_only_after_it_was_read_back() -> None:
    end, samples = made_safe(SimulatedStand(full_stand(), VALVE))
    assert end is Safe.VENTED
    assert samples[-1].reading.time_s - samples[0].reading.time_s >= 1.0


def test_with_the_vent_stuck_the_ip_and_the_supply_valve_still_let_the_air_go() -> None:
    machine = under_air(full_stand(), Fault("vent valve stuck"))
    end, _ = made_safe(machine)
    assert machine.outputs.casing_pa < 0.5 * PSI
    assert end is Safe.NOT_SAFE  # the vent reads back shut: air could come back


def test_with_vent_and_exhaust_stuck_it_says_that_the_stand_is_not_safe() -> None:
    machine = under_air(full_stand(), Fault("vent valve stuck"), Fault("exhaust blocked"))
    end, samples = made_safe(machine)
    assert end is Safe.NOT_SAFE
    assert machine.outputs.casing_pa > 5 * PSI
    assert not samples[-1].command.feed_watchdog  # the module's watchdog had its chance


def test_a_module_that_acknowledges_and_does_nothing_is_not_believed() -> None:
    machine = under_air(full_stand(), Fault("writes ignored"))
    end, _ = made_safe(machine)
    assert end is Safe.NOT_SAFE


def test_a_stand_that_does_not_answer_is_told_to_be_unreachable() -> None:
    machine = under_air(full_stand(), Fault("module silent"))
    end, samples = made_safe(machine)
    assert end is Safe.UNREACHABLE
    assert not any(sample.written for sample in samples)


def test_a_pressure_signal_that_has_failed_is_no_proof_that_the_air_is_gone() -> None:
    machine = under_air(full_stand(), Fault("transmitter fails low", where="casing_pressure"))
    end, _ = made_safe(machine)
    assert end is Safe.NOT_SAFE
    assert machine.outputs.casing_pa < 0.5 * PSI  # it was vented all the same


def test_a_pressure_signal_frozen_at_a_pressure_ends_as_not_safe() -> None:
    machine = under_air(full_stand(), Fault("transmitter stuck", where="casing_pressure"))
    assert made_safe(machine)[0] is Safe.NOT_SAFE


def test_without_a_casing_transmitter_only_time_tells_and_it_says_so() -> None:
    machine = under_air(bare_stand())
    end, samples = made_safe(machine)
    assert end is Safe.UNMEASURED
    assert samples[-1].reading.time_s - samples[0].reading.time_s >= 29.0


def test_another_device_at_the_address_gets_nothing_written() -> None:
    machine = under_air(full_stand())
    io = machine.stand.modules["io"]
    assert io.identity is not None
    wrong = replace(io, identity=replace(io.identity, value=io.identity.value + 1))
    machine.stand = replace(machine.stand, modules={"io": wrong})
    end, samples = made_safe(machine)
    assert end is Safe.WRONG_DEVICE
    assert samples == []
    assert machine.drive.valves.supply_open


def test_a_latched_watchdog_is_taken_back_into_safe_outputs() -> None:
    machine = SimulatedStand(replace(load_stand("bench-tcp")), VALVE)
    station = machine.stand.modules["station"]
    assert station.watchdog is not None
    machine.write(station.unit, Table.HOLDING, station.watchdog.timeout_register or 0, [4])
    machine.advance(5.0)
    assert machine.watchdog_tripped("station")
    end, _ = made_safe(machine)
    assert end is Safe.VENTED
    assert not machine.watchdog_tripped("station")


def test_a_second_program_that_keeps_writing_is_written_over() -> None:
    machine = under_air(full_stand())

    def meddle(samples: list[Sample]) -> bool:
        if samples[-1].reading.scan in (3, 20):
            machine.write(1, Table.COILS, 0, [1, 1])
            machine.write(1, Table.HOLDING, 0, [9000])
        return False

    end, _ = made_safe(machine, meddle)
    assert end is Safe.VENTED
    assert not machine.drive.valves.supply_open
    assert machine.outputs.casing_pa < 0.5 * PSI


def test_a_person_who_stops_it_leaves_the_outputs_safe() -> None:
    machine = under_air(full_stand())
    end, _ = made_safe(machine, lambda samples: len(samples) >= 5)
    assert end is Safe.STOPPED
    machine.advance(machine.time_s + 0.1)
    assert machine.drive.valves.vent_open
    assert not machine.drive.valves.supply_open


def test_it_goes_on_and_says_so_where_another_program_holds_the_stand(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    machine = under_air(full_stand())
    with closing(serve_tcp(machine, pace=LockStep())) as server:
        link = TcpLink("bay", "127.0.0.1", server.port, deadline_s=5.0)
        served = replace(machine.stand, links={"bay": link})
        with only_controller(served):
            code = rig.cli.vent.vent(served, "psi", VirtualClock())
    told = capsys.readouterr().out
    assert code == PASS
    assert "in use by another program" in told
    assert machine.outputs.casing_pa < 0.5 * PSI


def test_hands_in_are_asked_for_before_anything_is_written(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    machine, holding = under_air(full_stand()), Holding()
    monkeypatch.setattr(rig.cli.vent, "_let_go", lambda process: told_to_end.append(process))
    told_to_end: list[int | None] = []
    with closing(serve_tcp(machine, pace=LockStep())) as server:
        link = TcpLink("bay", "127.0.0.1", server.port, deadline_s=5.0)
        served = replace(machine.stand, links={"bay": link})
        with only_controller(served, holding=holding):
            holding.say(hands_in=True)
            assert rig.cli.vent.vent(served, "psi", VirtualClock()) == WRONG_INPUT
            said = capsys.readouterr().out
            assert "HANDS MAY BE IN THE MECHANISM" in said
            assert "do NOT end it" in said
            assert "Nothing was done" in said
            assert machine.outputs.casing_pa > 10 * PSI
            assert told_to_end == []
            assert rig.cli.vent.vent(served, "psi", VirtualClock(), hands_out=True) == PASS
            assert told_to_end == [os.getpid()]
            holding.say(hands_in=False)
            with pytest.raises(StandInUse, match="end that one, or wait") as problem, only_controller(served):
                pass
            assert not problem.value.hands_in
    assert machine.outputs.casing_pa < 0.5 * PSI


# -- the command ---------------------------------------------------------------------------------------


@pytest.fixture
def virtual_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rig.cli.vent, "_clock", VirtualClock)


@pytest.mark.usefixtures("virtual_time")
def test_the_command_makes_a_stand_safe_over_modbus_tcp(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    machine = under_air(load_stand("bench-tcp"))
    with closing(serve_tcp(machine, pace=LockStep())) as server:
        code = main(["vent", "--stand", str(file_at(tmp_path, server.port))])
    told = capsys.readouterr().out
    assert code == PASS, told
    assert machine.outputs.casing_pa < 0.5 * PSI
    assert not machine.drive.valves.supply_open
    assert machine.drive.valves.vent_open
    assert "Everybody clear" in told.splitlines()[0]
    assert "supply valve: told closed, nothing reads back" in told
    assert "no pressure is left" in told


@pytest.mark.usefixtures("virtual_time")
def test_the_command_tells_what_to_do_by_hand_where_the_vent_is_stuck(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    machine = under_air(load_stand("bench-tcp"), Fault("vent valve stuck"), Fault("exhaust blocked"))
    with closing(serve_tcp(machine, pace=LockStep())) as server:
        code = main(["vent", "--stand", str(file_at(tmp_path, server.port))])
    told = capsys.readouterr().out
    assert code == STOPPED
    assert "NOT SAFE" in told
    assert all(line in told for line in BY_HAND)


@pytest.mark.usefixtures("virtual_time")
def test_the_command_tells_what_to_do_by_hand_where_nothing_answers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(serve_tcp(SimulatedStand(load_stand("bench-tcp"), VALVE))) as server:
        free = server.port
    code = main(["vent", "--stand", str(file_at(tmp_path, free))])
    told = capsys.readouterr().out
    assert code == UNREACHABLE
    assert "is the stand switched on" in told
    assert "told open" not in told  # nothing was told to anything
    assert all(line in told for line in BY_HAND)


@pytest.mark.usefixtures("virtual_time")
def test_the_command_is_undecided_where_nothing_measures_the_casing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    stand = with_module(
        replace(mock_stand_file(), casing_pressure=None, scans_per_s=5.0), watchdog=None, identity=None
    )
    with closing(serve_tcp(SimulatedStand(stand, VALVE), pace=LockStep())) as server:
        served = replace(stand, links={"bay": TcpLink("bay", "127.0.0.1", server.port, deadline_s=5.0)})
        code = rig.cli.vent.vent(served, "bar", VirtualClock())
    assert code == UNDECIDED
    told = capsys.readouterr().out
    assert "Look at a gauge" in told
    assert "vent valve: told open, reads back so" in told


def test_the_built_in_stand_has_nothing_to_vent(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["vent", "--stand", "simulated"]) == WRONG_INPUT  # 0 would say that it is vented
    assert "nothing to vent" in capsys.readouterr().out


def file_at(folder: Path, port: int) -> Path:
    """The shipped bench, reached at a loopback port; patient, because a loaded machine may be slow."""
    text = stand_text("bench-tcp").replace(
        "host: 192.0.2.20, port: 502, deadline: 50 ms", f"host: 127.0.0.1, port: {port}, deadline: 2 s"
    )
    assert str(port) in text
    path = folder / "bench.yaml"
    path.write_text(text, encoding="utf-8")
    return path
