"""What run.json says of a run: when, who, on what, with which versions, limits and calibrations."""

import platform
import sys
from collections.abc import Iterable, Mapping
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from rig.stand.model import AnalogChannel, Stand

PACKAGES = ("stemrig", "numpy", "pint", "pymodbus", "pyserial")


def run_info(
    started: datetime,
    stand: Stand,
    limits: Iterable[tuple[str, float, str]],
    *,
    person: str = "",
    serial_number: str = "",
    options: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """The object for `RecordWriter`. `limits`: name with its SI unit, value, source, as the guard tells them.

    Raises ValueError when `started` has no time zone: a record is read in other places and years.
    """
    if started.tzinfo is None:
        raise ValueError("the start of a run needs its time zone")
    return {
        "started": started.isoformat(timespec="milliseconds"),
        "person": person,
        "serial_number": serial_number,
        "options": dict(options or {}),
        "limits": [{"name": name, "value": value, "source": source} for name, value, source in limits],
        "calibrations": [
            _calibration(channel)
            for channel in (
                stand.casing_pressure,
                stand.stem_position,
                stand.supply_pressure,
                stand.demand_output,
            )
            if channel is not None
        ],
        "versions": _versions(),
    }


def _calibration(channel: AnalogChannel) -> dict[str, Any]:
    calibration = channel.calibration
    return {
        "role": channel.role,
        "calibrated": calibration.calibrated.isoformat() if calibration.calibrated else None,
        "due": calibration.due.isoformat() if calibration.due else None,
        "certificate": calibration.certificate,
        "accuracy": calibration.accuracy,  # half width, SI of the channel
    }


def _versions() -> dict[str, str]:
    found = {"python": sys.version.split()[0], "system": platform.system()}
    for package in PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "not installed as a package"
    return found
