"""The scan goes before other programs where the system grants it, and says so where it does not."""

import os

import pytest

from rig.stand import scan_process
from rig.stand.scan_process import NICENESS, NO_PRIORITY, take_priority


class System:
    """Grants what it is told to, and notes what it was asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, real_time: bool, nice: bool) -> None:
        self.asked: list[str] = []

        def schedule(pid: int, policy: int, param: object) -> None:
            self.asked.append("real time")
            if not real_time:
                raise PermissionError

        def priority(which: int, pid: int, niceness: int) -> None:
            self.asked.append(f"nice {niceness}")
            if not nice:
                raise PermissionError

        monkeypatch.setattr(os, "sched_setscheduler", schedule, raising=False)
        monkeypatch.setattr(os, "setpriority", priority, raising=False)


def test_real_time_priority_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    system = System(monkeypatch, real_time=True, nice=True)
    assert take_priority() == ""
    assert system.asked == ["real time"]


def test_where_there_is_none_a_higher_ordinary_one_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    system = System(monkeypatch, real_time=False, nice=True)
    assert take_priority() == ""
    assert system.asked == ["real time", f"nice {NICENESS}"]


def test_where_neither_is_granted_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    System(monkeypatch, real_time=False, nice=False)
    assert take_priority() == NO_PRIORITY


def test_a_system_that_knows_neither_is_told_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "sched_setscheduler", raising=False)
    monkeypatch.delattr(os, "setpriority", raising=False)
    assert scan_process.take_priority() == NO_PRIORITY
