"""`stemrig check` for the socket campaign: the whole command as it is, in its own processes.

Changed are only: the scan's clock (so many times life, see `socket_clock`), how soon the guard escalates, and
that every sample is noted elsewhere once it has been shown. SIGUSR1 keeps the main process busy for a while.
Run: python -m tests.campaign.socket_check FOLDER check ...
"""

import os
import signal
import struct
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import rig.cli.bench as bench
import rig.stand.scan_process as scan_process
from rig.cli.main import main
from rig.stand.sample import Sample
from safety.limits import Limits, built_in
from tests.campaign.socket_clock import BUSY_S, CampaignClock, Slots

GONE_WITHIN_S = 6.0  # small casings are empty within 3 s; then it escalates: 30 times as soon as in life
CLOCK, SHOWN = "clock", "shown"
ROW = struct.Struct("<qd")  # scan, time

_limits_for, _on_sample = bench.limits_for, bench.on_sample


def folder() -> Path:
    return Path(sys.argv[1])


def limits_for(*args: Any) -> Limits:
    return replace(_limits_for(*args), gone_within_s=built_in(GONE_WITHIN_S))


def on_sample(*args: Any) -> Callable[[Sample], None]:
    keep_and_show = _on_sample(*args)
    file = os.open(folder() / SHOWN, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def note(sample: Sample) -> None:
        keep_and_show(sample)
        os.write(file, ROW.pack(sample.reading.scan, sample.reading.time_s))

    return note


def clock() -> CampaignClock:
    return CampaignClock(Slots(folder() / CLOCK), os.getpid())


def busy(number: int, frame: object) -> None:
    """What garbage collection or a big plot does: the interpreter is not given back."""
    until = time.monotonic() + Slots(folder() / CLOCK)[BUSY_S]
    while time.monotonic() < until:
        pass


# The scan process imports this module again and finds the clock there.
scan_process.MonotonicClock = clock  # type: ignore[assignment, misc]

if __name__ == "__main__":
    bench.limits_for, bench.on_sample = limits_for, on_sample
    signal.signal(signal.SIGUSR1, busy)
    sys.exit(main(sys.argv[2:]))
