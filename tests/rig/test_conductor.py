"""The conductor between person, procedure and guard: prompts, replies, pauses, and hands that are in."""

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from rig.procedure.conductor import OBEYED_WITHIN_S, PAUSE_LIMIT_S, STOP_WAITS, Conductor, Logged, Showing
from rig.procedure.guided import BACK, Answer, Code, Guided, Prompt, Stop
from rig.procedure.watch import Stroke
from safety.signals import Demand, Health, Reading, Signal
from safety.state import Mode, PersonEvent

HOLD = Demand(1e5, 1e3, "waiting")
SCAN_S = 0.1


def reading(time_s: float) -> Reading:
    return Reading(
        scan=round(time_s / SCAN_S),
        time_s=time_s,
        pressure=Signal(1e5, Health.GOOD, time_s),
        position=Signal(0.0, Health.GOOD, time_s),
    )


def prompt(title: str = "Do it", **changes: object) -> Prompt:
    given: dict[str, object] = {
        "title": title,
        "text": f"{title}, please.",
        "answers": (Answer("d", "Done."), Answer("n", "Not done.")),
        "hold": HOLD,
    } | changes
    return Prompt(**given)  # type: ignore[arg-type]


@dataclass
class Scene:
    """A conductor before a person who presses `keys` at their times; the guard's mode is `mode_at`."""

    ask: Prompt
    keys: dict[float, str] = field(default_factory=dict)
    mode_at: Callable[[float], str] = lambda time_s: Mode.RAMPING.value
    refuse_at: dict[float, str] = field(default_factory=dict)
    trip_at: dict[float, str] = field(default_factory=dict)
    more: list[Prompt] = field(default_factory=list)  # asked after `ask`
    replies: list[str] = field(default_factory=list)
    times_s: list[float] = field(default_factory=list)  # as the procedure saw them
    shown: list[Showing] = field(default_factory=list)
    demands: list[Demand] = field(default_factory=list)
    events: list[PersonEvent] = field(default_factory=list)
    log: list[Logged] = field(default_factory=list)

    def look(self, showing: Showing) -> str | None:
        self.shown.append(showing)
        return self.keys.get(round(showing.reading.time_s, 1))

    def code(self, guided: Guided) -> Code[str]:
        reply = yield from guided.prompt(self.ask, self._see(guided))
        self.replies.append(reply)
        for ask in self.more:
            self.replies.append((yield from guided.prompt(ask)))
        return reply

    def _see(self, guided: Guided) -> Callable[[Prompt], Prompt]:
        def update(given: Prompt) -> Prompt:
            self.times_s.append(guided.now_s)
            return given

        return update

    def play(self, seconds: float) -> "Scene":
        guided = Guided(Stroke(0.03))
        conductor: Conductor[str] = Conductor(guided, self.code(guided), self, self.log.append)
        run = conductor.run()
        self.demands.append(next(run))
        for scan in range(1, round(seconds / SCAN_S) + 1):
            now_s = round(scan * SCAN_S, 1)
            refused = [self.refuse_at[now_s]] if now_s in self.refuse_at else []
            trips = [self.trip_at[now_s]] if now_s in self.trip_at else []
            conductor.saw(self.mode_at(now_s), refused, trips)
            try:
                self.demands.append(run.send(reading(now_s)))
            except StopIteration:
                break
            finally:
                event = conductor.take_event()
                if event is not None:
                    self.events.append(event)
        return self

    def texts(self) -> str:
        return "\n".join(entry.told.text for entry in self.log)


def test_an_expected_answer_goes_to_the_procedure_and_another_key_does_not() -> None:
    scene = Scene(prompt(), {0.3: "x", 0.5: "n"}).play(2.0)
    assert scene.replies == ["n"]
    assert [entry.told.text for entry in scene.log] == ["Do it, please.", "Not done."]


def test_back_is_taken_only_where_it_is_safe() -> None:
    assert Scene(prompt(), {0.3: "b"}).play(1.0).replies == []
    assert Scene(prompt(back_is_safe=True), {0.3: "b"}).play(1.0).replies == [BACK]


def test_a_prompt_nobody_answers_ends_the_procedure_with_the_reason() -> None:
    scene = Scene(prompt(time_out_s=1.0))
    with pytest.raises(Stop, match="Nobody answered “Do it”"):
        scene.play(3.0)


def test_with_hands_in_a_time_out_is_only_announced() -> None:
    scene = Scene(prompt(time_out_s=1.0, hands_in=True)).play(3.0)
    assert scene.replies == []
    assert scene.shown[-1].overdue
    assert "hands may be in, so nothing moves" in scene.texts()


def test_a_pause_keeps_the_output_and_does_not_pass_to_the_procedure() -> None:
    scene = Scene(prompt(time_out_s=3.0), {0.5: "p", 5.5: "p", 6.0: "d"}).play(8.0)
    assert scene.replies == ["d"]  # the time-out of 3 s has not run out meanwhile
    paused = [demand for demand in scene.demands if demand.stage.startswith("paused")]
    assert paused
    assert all(demand.rate_pa_per_s == 0.0 for demand in paused)
    assert max(scene.times_s) < 1.2
    assert "Went on after 5 s." in scene.texts()


def test_a_pause_that_goes_on_for_too_long_stops_the_run() -> None:
    scene = Scene(prompt(time_out_s=1e9), {0.5: "p"}).play(PAUSE_LIMIT_S + 2.0)
    assert scene.events == [PersonEvent.STOP]


def test_the_stop_key_orders_the_guard_to_stop() -> None:
    assert Scene(prompt(), {0.4: "q"}).play(1.0).events == [PersonEvent.STOP]


def hands_in_prompt() -> Prompt:
    return prompt("Hands in", answers=(Answer("i", "Hands go in.", PersonEvent.HANDS_IN),))


def test_an_answer_that_asks_the_guard_counts_once_the_guard_has_obeyed() -> None:
    scene = Scene(
        hands_in_prompt(), {0.5: "i"}, lambda now_s: (Mode.HANDS_IN if now_s > 0.6 else Mode.RAMPING).value
    ).play(2.0)
    assert scene.events == [PersonEvent.HANDS_IN]
    assert scene.replies == ["i"]


def test_an_answer_that_the_guard_refuses_leaves_the_prompt_open_with_the_reason() -> None:
    scene = Scene(hands_in_prompt(), {0.5: "i"}, refuse_at={0.6: "the stem still moves"}).play(2.0)
    assert scene.replies == []
    assert scene.shown[-1].refusals == ("the stem still moves",)
    assert "Not yet: the stem still moves" in scene.texts()


def test_a_stop_key_while_the_guard_takes_hands_in_waits_until_they_are_out() -> None:
    """Else the procedure were closed with hands in, and nobody left to hear that they are out."""

    def mode_at(now_s: float) -> str:
        return (Mode.HANDS_IN if 0.7 < now_s < 2.0 else Mode.RAMPING).value

    def scene() -> Scene:
        more = [prompt("Work", hands_in=True)]
        return Scene(hands_in_prompt(), {0.5: "i", 0.6: "q"}, mode_at, more=more)

    inside = scene().play(1.9)
    assert inside.replies == ["i"]
    assert inside.events == [PersonEvent.HANDS_IN]
    assert STOP_WAITS in inside.texts()
    assert scene().play(3.0).events == [PersonEvent.HANDS_IN, PersonEvent.STOP]


def test_a_stop_key_that_waited_goes_on_once_the_guard_has_refused_hands() -> None:
    scene = Scene(hands_in_prompt(), {0.5: "i", 0.6: "q"}, refuse_at={0.7: "the stem still moves"}).play(2.0)
    assert scene.events == [PersonEvent.HANDS_IN, PersonEvent.STOP]


def test_an_answer_that_the_guard_does_not_hear_may_be_given_again() -> None:
    again_s = round(0.5 + OBEYED_WITHIN_S + 0.5, 1)
    scene = Scene(hands_in_prompt(), {0.5: "i", again_s: "i"}).play(4.0)
    assert scene.events == [PersonEvent.HANDS_IN, PersonEvent.HANDS_IN]


def test_a_cause_latched_with_hands_in_replaces_every_prompt_by_hands_out() -> None:
    scene = Scene(
        prompt(hands_in=True),
        {0.5: "q", 0.7: "p", 1.5: "o"},
        lambda now_s: Mode.HANDS_IN.value,
        trip_at={1.0: "stem moved"},
    ).play(2.0)
    assert scene.shown[-1].alarm == ("stem moved",)
    shown = scene.shown[-1].prompt
    assert shown is not None
    assert shown.text.startswith("HANDS OUT NOW")
    assert "stem moved" in shown.watch
    # neither the stop key nor a pause reach the guard while hands are in; only "hands are out" does
    assert scene.events == [PersonEvent.HANDS_OUT]


def test_the_last_words_of_a_procedure_reach_the_record() -> None:
    guided = Guided(Stroke(0.03))

    def code() -> Code[str]:
        yield HOLD
        guided.remark("the last word")
        return "end"

    log: list[Logged] = []
    run = Conductor(guided, code(), Scene(prompt()), log.append).run()
    next(run)
    with pytest.raises(StopIteration) as end:
        run.send(reading(0.1))
    assert end.value.value == "end"
    assert log[-1].told.text == "the last word"
