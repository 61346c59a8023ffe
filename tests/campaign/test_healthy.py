"""Healthy rides under the guard in short: shipped, random and sticking actuators, and the count can fail."""

import pytest

from tests.campaign.healthy import ride


@pytest.mark.parametrize("seed", [600, 601, 602, 605])
def test_healthy_rides_do_not_trip(seed: int) -> None:
    done = ride(seed)
    assert done.scans > 500
    assert [trip.code for trip in done.trips] == [], done.what


def test_with_the_early_signs_far_too_tight_a_healthy_ride_trips() -> None:
    codes = {trip.code for seed in (600, 601, 602) for trip in ride(seed, tighter=0.0).trips}
    assert codes == {"pressure rising with no demand"}
