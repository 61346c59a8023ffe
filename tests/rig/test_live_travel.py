"""Travel on the screen goes on when the procedure has ended: a person decides by it whether to go near."""

from rig.procedure.watch import LiveTravel, Stroke
from safety.signals import Health, Reading, Signal


def reading(time_s: float, position_m: float, health: Health = Health.GOOD) -> Reading:
    return Reading(0, time_s, Signal(1e5, Health.GOOD, time_s), Signal(position_m, health, time_s))


def opened(sense: int = 1) -> tuple[Stroke, LiveTravel, float]:
    """A stem that has gone from rest at 0.1 m to 20 mm of travel, and the time of it."""
    stroke, time_s = Stroke(0.03), 0.0
    stroke.rest_m = 0.1
    live = LiveTravel(stroke)
    for scan in range(100):
        time_s = scan * 0.02
        seen = reading(time_s, 0.1 + sense * 0.0002 * (scan + 1))
        stroke.see(seen)
        live.see(seen.position)
    return stroke, live, time_s


def test_after_the_procedure_has_ended_the_travel_follows_the_stem() -> None:
    for sense in (1, -1):
        stroke, live, time_s = opened(sense)
        assert stroke.travel_m > 0.018
        for scan in range(1, 30):  # nobody but the screen looks any more
            shown = live.see(reading(time_s + 0.02 * scan, 0.1).position)
        assert shown is not None
        assert abs(shown) < 1e-9
        assert stroke.travel_m > 0.018


def test_a_signal_that_is_not_good_shows_no_travel() -> None:
    _, live, time_s = opened()
    assert live.see(reading(time_s + 0.02, 0.12, Health.FAILED).position) is None


def test_before_the_rest_position_is_known_there_is_no_travel() -> None:
    assert LiveTravel(Stroke(0.03)).see(reading(0.0, 0.12).position) is None
