"""What run.json says of a run."""

import json
from datetime import UTC, datetime

import pytest

from rig.record.run_info import run_info

from .made_up import STAND

LIMITS = [("pressure_max_pa", 310_264.0, "profile"), ("rate_max_pa_per_s", 41_368.5, "built-in")]


def test_a_run_says_when_who_with_what_limits_and_calibrations() -> None:
    started = datetime(2026, 11, 25, 14, 15, 3, tzinfo=UTC)
    made = run_info(started, STAND, LIMITS, person="B", serial_number="BL-0417", options={"cycles": 3})
    made = json.loads(json.dumps(made))
    assert made["started"] == "2026-11-25T14:15:03.000+00:00"
    assert (made["person"], made["serial_number"], made["options"]) == ("B", "BL-0417", {"cycles": 3})
    assert made["limits"][0] == {"name": "pressure_max_pa", "value": 310_264.0, "source": "profile"}
    assert [c["role"] for c in made["calibrations"]] == ["casing pressure", "stem position", "demand output"]
    assert made["calibrations"][0]["due"] == "2027-03-02"
    assert {"python", "numpy", "pymodbus", "stemrig"} <= set(made["versions"])


def test_a_start_without_its_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        run_info(datetime(2026, 11, 25, 14, 15, 3), STAND, LIMITS)
