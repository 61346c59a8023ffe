"""What every test is held to: it leaves no thread and no process behind."""

import multiprocessing
import threading
from collections.abc import Iterator

import pytest


def _left_over(before: set[threading.Thread]) -> list[str]:
    threads = [t.name for t in threading.enumerate() if t not in before and t.is_alive() and not t.daemon]
    return threads + [p.name for p in multiprocessing.active_children()]


@pytest.fixture(autouse=True)
def nothing_left_behind() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    left = _left_over(before)
    for process in multiprocessing.active_children():
        process.kill()
        process.join()
    assert not left, f"the test left running: {left}"
