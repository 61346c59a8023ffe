"""Two controllers cannot run one stand: the lock, what it is on, and that death lets it go."""

import os
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from rig.stand.lock import StandInUse, only_controller, what_is_locked
from rig.stand.model import RtuLink, Stand, TcpLink
from tests.rig.stands import stand, two_unit_stand, with_module

ROOT = Path(__file__).resolve().parents[2]
POSIX_ONLY = pytest.mark.skipif(os.name != "posix", reason="POSIX files")


def at(host: str = "127.0.0.1", port: int = 502, unit: int = 1) -> Stand:
    whole = replace(stand(), links={"bay": TcpLink("bay", host, port)})
    return with_module(whole, unit=unit)


def test_a_second_one_is_refused_at_once_and_told_who_has_it(tmp_path: Path) -> None:
    with (
        only_controller(at(), tmp_path),
        pytest.raises(StandInUse) as refusal,
        only_controller(at(), tmp_path),
    ):
        pytest.fail("two controllers on one stand")
    assert "Bay 3, brine hall" in str(refusal.value)
    assert f"process {os.getpid()}, since" in str(refusal.value)


def test_afterwards_the_stand_is_free_and_nothing_is_left(tmp_path: Path) -> None:
    for _ in range(2):
        with only_controller(at(), tmp_path):
            assert len(list(tmp_path.iterdir())) == 1
    if os.name == "posix":
        assert list(tmp_path.iterdir()) == []


def test_an_error_lets_it_go_too(tmp_path: Path) -> None:
    with pytest.raises(KeyError), only_controller(at(), tmp_path):
        raise KeyError
    with only_controller(at(), tmp_path):
        pass


@pytest.mark.parametrize("other", [at(port=503), at(unit=2), at(host="192.0.2.9")])
def test_another_stand_may_run_beside_it(other: Stand, tmp_path: Path) -> None:
    with only_controller(at(), tmp_path), only_controller(other, tmp_path):
        assert len(list(tmp_path.iterdir())) == 2


def test_the_same_outputs_under_another_name_are_the_same_stand(tmp_path: Path) -> None:
    alias = replace(at(), name="Somebody's copy of the file")
    with only_controller(at(), tmp_path), pytest.raises(StandInUse), only_controller(alias, tmp_path):
        pytest.fail("two controllers on one stand")


@pytest.mark.parametrize("host", ["localhost", "LocalHost", "::ffff:127.0.0.1"])
def test_a_host_and_its_address_are_the_same_stand(host: str, tmp_path: Path) -> None:
    with only_controller(at(), tmp_path), pytest.raises(StandInUse), only_controller(at(host), tmp_path):
        pytest.fail("two controllers on one stand")


def test_a_name_is_locked_at_all_its_addresses(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    known = {
        "bay-3": ["192.0.2.7", "2001:db8::7"],
        "192.0.2.7": ["192.0.2.7"],
        "2001:DB8:0::7": ["2001:db8::7"],
    }

    def resolved(host: str, port: int, **how: object) -> list[tuple[object, ...]]:
        if host not in known:
            raise socket.gaierror("nobody knows it")
        return [(0, 0, 0, "", (address, port)) for address in known[host]]

    monkeypatch.setattr("socket.getaddrinfo", resolved)
    for address in ("192.0.2.7", "2001:DB8:0::7"):
        with (
            only_controller(at(address), tmp_path),
            pytest.raises(StandInUse),
            only_controller(at("bay-3"), tmp_path),
        ):
            pytest.fail("two controllers on one stand")
    assert what_is_locked(at("Nobody.Knows")) == ["tcp nobody.knows 502 unit 1"]


def test_a_module_without_outputs_may_be_read_by_several() -> None:
    network = two_unit_stand(TcpLink("line", "192.0.2.7", 502))
    assert what_is_locked(network) == ["tcp 192.0.2.7 502 unit 1"]


@POSIX_ONLY
def test_a_serial_line_is_locked_as_a_whole_whatever_it_is_called(tmp_path: Path) -> None:
    device, alias = tmp_path / "line", tmp_path / "by-name"
    device.touch()
    alias.symlink_to(device)
    one, other = (two_unit_stand(RtuLink("line", str(path))) for path in (device, alias))
    assert what_is_locked(one) == what_is_locked(other)


def test_where_a_part_is_held_the_rest_is_let_go_again(tmp_path: Path) -> None:
    both = replace(
        two_unit_stand(TcpLink("line", "192.0.2.7", 502)),
        supply_valve=replace(stand().supply_valve, module="ins"),  # type: ignore[type-var]
    )
    assert len(what_is_locked(both)) == 2
    second_part = with_module(replace(stand(), links={"bay": TcpLink("bay", "192.0.2.7", 502)}), unit=2)
    first_part = with_module(replace(stand(), links={"bay": TcpLink("bay", "192.0.2.7", 502)}), unit=1)
    with only_controller(second_part, tmp_path):
        with pytest.raises(StandInUse), only_controller(both, tmp_path):
            pytest.fail("two controllers on one stand")
        with only_controller(first_part, tmp_path):
            pass


def test_a_lock_that_cannot_be_made_is_no_permission(tmp_path: Path) -> None:
    with (
        pytest.raises(StandInUse, match="cannot be found out"),
        only_controller(at(), tmp_path / "missing"),
    ):
        pytest.fail("ran without a lock")


@POSIX_ONLY
def test_a_link_planted_in_the_way_is_not_followed(tmp_path: Path) -> None:
    with only_controller(at(), tmp_path):
        (name,) = (path.name for path in tmp_path.iterdir())
    victim = tmp_path / "victim"
    victim.write_text("precious")
    (tmp_path / name).symlink_to(victim)
    with pytest.raises(StandInUse), only_controller(at(), tmp_path):
        pytest.fail("followed")
    assert victim.read_text() == "precious"


HOLDER = """
import sys
from pathlib import Path
from rig.stand.lock import only_controller
from tests.rig.test_lock import at

with only_controller(at(), Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()  # until it is killed
"""


def test_the_death_of_its_holder_lets_it_go(tmp_path: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout is not None
    assert holder.stdout.readline() == "held\n"
    with pytest.raises(StandInUse), only_controller(at(), tmp_path):
        pytest.fail("two controllers on one stand")
    holder.kill()
    holder.communicate()
    with only_controller(at(), tmp_path) as left_by:
        assert left_by.startswith(f"process {holder.pid}, since")
    with only_controller(at(), tmp_path) as left_by:
        assert left_by == ""
