"""`stemrig simulate`: lists, serves, ends with Ctrl-C, and tells what is wrong with a flag."""

import signal
import socket
import subprocess
import sys
from struct import pack, unpack

import pytest

from rig.cli.exits import PASS, WRONG_INPUT
from rig.cli.main import main
from rig.stand.file import load_stand
from simulator.scenario import load, names


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["simulate", *words])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_list_tells_every_scenario_with_its_title(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, "--list")
    assert (code, err) == (PASS, "")
    told = dict(line.split(maxsplit=1) for line in out.splitlines())
    assert told == {name: load(name).title for name in names()}


@pytest.mark.parametrize("name", names())
def test_the_built_in_stand_has_the_ranges_for_it(name: str) -> None:
    stand, scenario = load_stand("simulated"), load(name)
    true, zero = scenario.truth(), scenario.installation.position_zero_m
    sense = -1.0 if scenario.installation.position_reversed else 1.0
    ends = sorted((zero, zero + sense * true.travel))
    position, demand = stand.stem_position.scale, stand.demand_output.scale
    assert position.value_low <= ends[0] < ends[1] <= position.value_high
    assert true.full_travel < demand.value_high
    assert scenario.supply_pa is not None
    assert stand.supply_pressure is not None
    assert scenario.supply_pa < stand.supply_pressure.scale.value_high


def ask(port: int, pdu: bytes, unit: int) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(pack(">HHHB", 1, 0, len(pdu) + 1, unit) + pdu)
        return line.recv(300)[7:]


@pytest.mark.skipif(sys.platform == "win32", reason="sends SIGINT")
@pytest.mark.parametrize(
    ("words", "supply_psi", "title"),
    [
        (["starved-supply-mild"], 31, "supply barely enough"),
        (["--profile", "acid-dosing"], 80, "Acid dosing valve"),  # the stand's own supply
    ],
)
def test_it_serves_until_ctrl_c(words: list[str], supply_psi: float, title: str) -> None:
    command = [
        sys.executable,
        "-c",
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from rig.cli.main import main; raise SystemExit(main())",
    ]
    run = subprocess.Popen(
        [*command, "simulate", *words, "--tcp", "0", "--speed", "5"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert run.stdout is not None
        first = run.stdout.readline()
        assert title in first
        port = int(first.split(" port ")[1].split(";")[0])
        function, size, raw = unpack(">BBH", ask(port, bytes.fromhex("04 00 02 00 01"), unit=1))
        assert (function, size) == (4, 2)
        assert raw / 27648 * 150 == pytest.approx(supply_psi, abs=0.5)  # scale of the shipped stand file
        run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=30)
    finally:
        run.kill()
        run.communicate()
    assert err == ""
    assert (run.returncode, out) == (PASS, "ended\n")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["brine-letdown"], "nearest are: healthy-brine-letdown"),
        (["--speed", "0"], "--speed 0"),
        (["--speed", "nan"], "--speed nan"),
        (["--tcp", "70000"], "--tcp 70000"),
        (["--profile", "no-such"], "there is no such file"),
        (["--stand", "no-such"], "there is no such file"),
    ],
)
def test_what_is_wrong_is_told(capsys: pytest.CaptureFixture[str], words: list[str], told: str) -> None:
    code, out, err = said(capsys, *words)
    assert (code, out) == (WRONG_INPUT, "")
    assert told in err


def test_a_taken_port_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, _, err = said(capsys, "--tcp", str(port))
    assert code == WRONG_INPUT
    assert f"127.0.0.1 port {port} cannot be had" in err


@pytest.mark.skipif(sys.platform == "win32", reason="another message there")
def test_a_device_that_is_not_there_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = said(capsys, "--serial", "/dev/nowhere")
    assert code == WRONG_INPUT
    assert "/dev/nowhere cannot be had" in err
