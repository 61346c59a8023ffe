"""What the loop tells whoever is about to walk up to the valve: a stem that is not back, work by hand."""

from rig.stand.notice import BY_HAND, WARNING, Notice
from rig.stand.run import Ended, How, run_inline
from safety.limits import Cap
from safety.venting import BY_HAND as BY_HAND_LINES
from simulator import Fault, SimulatedStand, Trigger
from tests.rig.stands import PSI, limits
from tests.rig.test_loop_run import Steps, built, hold


def ride(steps: Steps, *faults: Fault, **over: Cap) -> tuple[Ended[str], list[Notice], SimulatedStand]:
    loop, simulated = built(with_limits=limits(**over))
    for fault in faults:
        simulated.faults.add(fault)
    told: list[Notice] = []
    return run_inline(loop, steps, lambda sample: None, told.append), told, simulated


def texts(told: list[Notice], kind: str) -> list[str]:
    return [notice.text for notice in told if notice.kind == kind]


def test_a_stem_that_stays_up_when_the_air_is_gone_is_warned_of() -> None:
    jam = Fault("stem jams", start=Trigger(time_s=9.0))
    ended, told, simulated = ride(hold(26.0, 10.0), jam)
    assert ended.vented
    assert simulated.outputs.casing_pa < 0.5 * PSI
    assert simulated.outputs.plug_m > 0.01, "the stem must be held for this test to mean anything"
    assert len(texts(told, WARNING)) == 1
    assert "keep clear" in texts(told, WARNING)[0]


def test_a_stem_that_comes_back_is_not() -> None:
    ended, told, _ = ride(hold(26.0, 10.0))
    assert (ended.how, texts(told, WARNING), texts(told, BY_HAND)) == (How.FINISHED, [], [])


def test_what_to_do_by_hand_is_told_once_where_the_air_does_not_go() -> None:
    faults = (
        Fault("vent valve stuck", start=Trigger(time_s=5.0)),
        Fault("exhaust blocked", start=Trigger(time_s=5.0)),
    )
    ended, told, _ = ride(hold(20.0, 8.0), *faults, gone_within_s=Cap(5.0, "built-in"))
    assert not ended.vented
    assert texts(told, BY_HAND) == list(BY_HAND_LINES)
