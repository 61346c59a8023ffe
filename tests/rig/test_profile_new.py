"""A profile from an interview: what is asked, what is taken, what is told, and the file it leaves."""

from collections.abc import Iterable
from pathlib import Path

import pytest
import yaml

from rig.cli.exits import PASS, STOPPED, WRONG_INPUT
from rig.cli.profile_new import ask_for_one, free_path
from rig.profile.interview import Prompt, choice_of, interview, problems_of
from rig.profile.load import load_profile_text
from rig.profile.model import Action, Basis, Flow, Plug
from rig.profile.questions import QUESTIONS
from rig.profile.write import Entry, listed, profile_yaml, scalar
from tests.rig.force_valves import INCH, LBF, PSI

ANSWERS = {
    "model": "brine-letdown-2",
    "title": "Brine let-down: second train # 2",
    "action": "1",
    "effective_area": "105 in2",
    "rated_travel": "1-1/8 in",
    "travel_surplus": "1/32 in",
    "actuator_stroke": "1 3/8 in",
    "casing_maximum": "50 psi",
    "supply": "40 psi",
    "bench_range.lower": "10 psi",
    "bench_range.upper": "30 psi",
    "bench_range.basis": "friction",
    "bench_range.lower_tolerance": "0.5 psi",
    "bench_range.upper_tolerance": "1.5 psi",
    "spring_rate": "1867 lbf/in",
    "adjuster_thread": "3/4-16 UNF",
    "required_seat_load": "",
    "supply_margin": "2 psi",
    "obtainable_ranges": "6 to 30 psi, 10 to 30 psi",
    "trim.seat_bore": "2-1/4 in",
    "trim.seat_line_load": "100 lbf/in",
    "trim.seat_line_load_source": "the works' trim sheet, page 3",
    "trim.stem_diameter": "3/4 in",
    "trim.plug": "push-down-to-c",
    "trim.flow": "2",
    "trim.packing_friction": "65 lbf",
    "trim.moving_weight": "38 lb",
    "trim.mounting": "upright",
    "process.upstream": "100 psi",
    "process.downstream": "20 psi",
}
LEAST = {q.field: ANSWERS[q.field] for q in QUESTIONS if not q.optional and not q.only_after}


class Talk:
    """A person who answers from a list, and what they were shown."""

    def __init__(self, answers: Iterable[str]) -> None:
        self.answers = iter(answers)
        self.shown: list[str] = []

    def ask(self, prompt: str) -> str:
        try:
            answer = next(self.answers)
        except StopIteration:
            raise EOFError from None
        self.shown.append(prompt + answer)
        return answer

    def tell(self, text: str) -> None:
        self.shown.append(text)

    @property
    def text(self) -> str:
        return "\n".join(self.shown)


def answered(answers: dict[str, str]) -> str:
    """The interview's text when every question it asks is answered by field; optional ones by Enter."""
    talk = interview()
    prompt = next(talk)
    while True:
        assert not prompt.problems, prompt.problems
        try:
            prompt = talk.send(answers.get(prompt.question.field, ""))
        except StopIteration as end:
            return str(end.value)


def after(answers: dict[str, str], field: str, answer: str) -> Prompt:
    """The prompt that follows when `field` is answered with `answer`, all before it as in `answers`."""
    talk = interview()
    prompt = next(talk)
    while prompt.question.field != field:
        prompt = talk.send(answers.get(prompt.question.field, ""))
    return talk.send(answer)


def test_all_answers_make_a_profile_that_loads_with_the_same_values() -> None:
    profile = load_profile_text(answered(ANSWERS), "made")
    assert profile.model == "brine-letdown-2"
    assert profile.title == ANSWERS["title"]
    assert profile.action is Action.AIR_TO_OPEN
    assert profile.basis is Basis.FRICTION_INCLUDED
    assert profile.area_m2 == pytest.approx(105 * INCH**2)
    assert profile.rated_travel_m == pytest.approx(1.125 * INCH)
    assert profile.actuator_stroke_m == pytest.approx(1.375 * INCH)
    assert profile.adjuster_pitch_m == pytest.approx(INCH / 16)
    assert [end / PSI for pair in profile.obtainable_ranges_pa for end in pair] == pytest.approx(
        [6, 30, 10, 30]
    )
    assert profile.supply_margin_pa == pytest.approx(2 * PSI)
    trim = profile.trim
    assert (trim.plug, trim.flow) == (Plug.PUSH_DOWN_TO_CLOSE, Flow.FLOW_TO_CLOSE)
    assert trim.seat_line_load_n_per_m == pytest.approx(100 * LBF / INCH)
    assert trim.packing_friction_n == pytest.approx(65 * LBF)
    assert trim.moving_weight_n == pytest.approx(38 * LBF)  # a pound of mass weighs a pound-force
    assert trim.upstream_pa == pytest.approx(100 * PSI)
    assert trim.downstream_pa == pytest.approx(20 * PSI)


def test_what_may_be_left_out_is_left_out_and_the_least_still_loads() -> None:
    text = answered(LEAST)
    profile = load_profile_text(text, "made")
    assert profile.spring_rate_n_per_m is None
    assert profile.required_seat_load_n is None
    assert profile.trim.packing_friction_n is None
    assert "trim" not in text
    assert "spring_rate" not in text


def test_the_file_is_commented_and_keeps_the_persons_own_units() -> None:
    text = answered({**ANSWERS, "rated_travel": "28.6 mm"})
    assert "rated_travel: 28.6 mm # below it nothing is accepted" in text
    assert "  lower: 10 psi # the adjuster sets this end" in text
    assert yaml.safe_load(text)["bench_range"]["upper"] == "30 psi"


@pytest.mark.parametrize(
    ("field", "answer", "told"),
    [
        ("effective_area", "105", "no unit"),
        ("effective_area", "105 psi", "an area is wanted"),
        ("effective_area", "", "this is needed"),
        ("effective_area", "1e6 in2", "cannot be right"),
        ("model", "two words", "cannot name a folder"),
        ("action", "3", "is none of these"),
        ("action", "air", "is none of these"),  # begins both
        ("supply", "60 psi", "above the casing maximum"),
        ("bench_range.upper", "9 psi", "not above the lower end"),
        ("bench_range.upper", "45 psi", "above the supply"),
        ("bench_range.upper_tolerance", "0 psi", "leaves no room"),
        ("spring_rate", "900 lbf/in", "contradicts the range"),
        ("adjuster_thread", "coarse", "neither a thread nor a pitch"),
        ("required_seat_load", "1200 lbf", "more than the range can give"),
        ("obtainable_ranges", "30 psi", "is not a range"),
        ("obtainable_ranges", "10 to 60 psi", "above the casing maximum"),
        ("trim.seat_line_load", "200 lbf/in", "more than the range can give"),
        ("trim.stem_diameter", "3 in", "does not fit"),
        ("process.downstream", "120 psi", "is above upstream"),
    ],
)
def test_a_wrong_answer_is_told_at_once_and_asked_again(field: str, answer: str, told: str) -> None:
    prompt = after(ANSWERS, field, answer)
    assert prompt.question.field == field
    assert told in " ".join(prompt.problems)


def test_a_load_per_length_waits_for_its_source_and_the_source_is_needed() -> None:
    prompt = after(ANSWERS, "trim.seat_line_load", "100 lbf/in")
    assert prompt.question.field == "trim.seat_line_load_source"
    assert not prompt.problems
    assert "this is needed" in after(ANSWERS, "trim.seat_line_load_source", "").problems[0]


def test_back_returns_to_the_question_before_and_takes_its_answer_back() -> None:
    assert after(ANSWERS, "rated_travel", "<").question.field == "effective_area"
    assert after(ANSWERS, "model", "<").question.field == "model"
    # over questions that were not asked: without a seat bore there is no line load to ask for
    without = {**ANSWERS, "trim.seat_bore": ""}
    assert after(without, "trim.stem_diameter", "<").question.field == "trim.seat_bore"


def test_help_asks_the_same_question_again() -> None:
    prompt = after(ANSWERS, "rated_travel", "?")
    assert prompt.question.field == "rated_travel"
    assert prompt.help


def test_a_choice_is_taken_by_number_or_by_its_first_letters() -> None:
    words = ("air-to-open", "air-to-close")
    assert choice_of("2", words) == "air-to-close"
    assert choice_of("AIR-TO-O", words) == "air-to-open"
    assert choice_of("air-to-", words) is None
    assert choice_of("0", words) is None


# -- at the terminal ------------------------------------------------------------------------------------


def typed() -> list[str]:
    return [ANSWERS[q.field] for q in QUESTIONS]


def test_the_talk_writes_the_file_and_explains_it(tmp_path: Path) -> None:
    talk, path = Talk(typed()), tmp_path / "made.yaml"
    assert ask_for_one(path, "psi", talk.ask, talk.tell) == PASS
    assert load_profile_text(path.read_text(encoding="utf-8"), str(path)).model == "brine-letdown-2"
    assert f"Written: {path}" in talk.text
    assert "Rated travel of the valve" in talk.text


def test_a_talk_that_ends_early_writes_nothing(tmp_path: Path) -> None:
    talk, path = Talk(typed()[:7]), tmp_path / "made.yaml"
    assert ask_for_one(path, "psi", talk.ask, talk.tell) == STOPPED
    assert "nothing was written" in talk.text
    assert not path.exists()


def test_a_file_that_is_there_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "made.yaml"
    path.write_text("mine", encoding="utf-8")
    talk = Talk(typed())
    assert ask_for_one(path, "psi", talk.ask, talk.tell) == WRONG_INPUT
    assert path.read_text(encoding="utf-8") == "mine"
    assert "already there" in capsys.readouterr().err
    assert not talk.shown
    assert free_path(path) == tmp_path / "made-2.yaml"


def test_a_wrong_answer_at_the_terminal_shows_why(tmp_path: Path) -> None:
    talk = Talk(["brine", "Brine", "1", "105", "105 in2"])
    ask_for_one(tmp_path / "made.yaml", "psi", talk.ask, talk.tell)
    assert "! effective_area: '105' has no unit" in talk.text


# -- writing ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "1-1/8 in",
        "a: b",
        "# 2",
        "yes",
        "'",
        '"',
        "- x",
        "3",
        "[a",
        "{a: b}",
        "tab\there",
        " x",
        "Süßwasser",
        "@",
    ],
)
def test_every_text_is_read_back_as_it_was_typed(text: str) -> None:
    node = yaml.compose(f"key: {scalar(text)}")
    assert node.value[0][1].value == text


def test_groups_and_lists_and_what_is_not_known_are_written_as_yaml() -> None:
    text = profile_yaml(
        [
            Entry("model", "x"),
            Entry("spring_rate", "", "not measured: no cycle was complete"),
            Entry("obtainable_ranges", listed(["3 to 15 psi", "6, 30"])),
            Entry("trim.seat_bore", "2 in", "measured"),
        ]
    )
    assert "# spring_rate: not measured: no cycle was complete" in text
    assert yaml.safe_load(text) == {
        "model": "x",
        "obtainable_ranges": ["3 to 15 psi", "6, 30"],
        "trim": {"seat_bore": "2 in"},
    }


def test_the_check_of_the_interview_is_the_loaders_own() -> None:
    assert problems_of(answered(ANSWERS)) == ()
    assert any("casing" in p.found for p in problems_of(answered(ANSWERS).replace("40 psi", "55 psi")))
