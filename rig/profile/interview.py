"""The interview for a new profile, without input or output: prompts out, answers in, a text at last.

Every answer is tried on the loader itself, so the interview accepts exactly what a profile accepts, and
figures that contradict one another are told as soon as both are there.
"""

from collections.abc import Generator, Sequence
from dataclasses import dataclass

from rig.files import FileProblems, Problem
from rig.profile.load import load_profile_text
from rig.profile.questions import QUESTIONS, Question
from rig.profile.write import Entry, listed, profile_yaml

BACK, HELP = "<", "?"
WAITING = ("is missing", "has no source")  # what a later question asks for


@dataclass(frozen=True, slots=True)
class Prompt:
    """What to show before the next answer is read."""

    question: Question
    number: int  # of the question, from 1
    of: int
    problems: tuple[str, ...] = ()  # why the last answer was not taken
    help: bool = False


def interview(questions: Sequence[Question] = QUESTIONS) -> Generator[Prompt, str, str]:
    """Yields prompts, takes answers as typed, returns the profile's text, which loads."""
    answers: dict[str, str] = {}
    index = 0
    problems: tuple[str, ...] = ()
    help_wanted = False
    while index < len(questions):
        question = questions[index]
        if question.only_after and not answers.get(question.only_after):
            answers.pop(question.field, None)
            index += 1
            continue
        answer = (yield Prompt(question, index + 1, len(questions), problems, help_wanted)).strip()
        problems, help_wanted = (), answer == HELP
        if answer == HELP:
            continue
        if answer == BACK:
            index = _before(questions, index, answers)
            continue
        taken, problems = _take(question, answer, answers)
        if not problems:
            answers[question.field] = taken
            index += 1
    return profile_text(answers, questions)


def _before(questions: Sequence[Question], index: int, answers: dict[str, str]) -> int:
    """The question asked before this one; its answer is taken back."""
    answers.pop(questions[index].field, None)
    while index > 0:
        index -= 1
        if not questions[index].only_after or answers.get(questions[index].only_after):
            break
    answers.pop(questions[index].field, None)
    return index


def _take(question: Question, answer: str, answers: dict[str, str]) -> tuple[str, tuple[str, ...]]:
    """The answer as it goes into the file, or why it does not."""
    if not answer:
        return "", () if question.optional else (f"this is needed, for example: {question.example}",)
    if question.choices:
        chosen = choice_of(answer, question.choices)
        if chosen is None:
            return "", (f"'{answer}' is none of these: answer with a number or the first letters",)
        answer = chosen
    tried = {**answers, question.field: answer}
    told = (p for p in problems_of(profile_text(tried)) if not p.found.startswith(WAITING))
    return answer, tuple(f"{p.field}: {p.found}; {p.would_do}" for p in told)


def choice_of(answer: str, choices: Sequence[str]) -> str | None:
    """By number from 1, or by the first letters where only one begins so."""
    if answer.isdigit():
        return choices[int(answer) - 1] if 1 <= int(answer) <= len(choices) else None
    found = [choice for choice in choices if choice.lower().startswith(answer.lower())]
    exact = [choice for choice in found if choice.lower() == answer.lower()]
    return (exact or found)[0] if len(exact or found) == 1 else None


def problems_of(text: str) -> tuple[Problem, ...]:
    try:
        load_profile_text(text, "the new profile")
    except FileProblems as problems:
        return problems.problems
    return ()


def profile_text(answers: dict[str, str], questions: Sequence[Question] = QUESTIONS) -> str:
    """The answers as a commented file, in the order of the questions."""
    entries = []
    for question in questions:
        answer = answers.get(question.field, "")
        if answer:
            parts = [part.strip() for part in answer.split(",")]
            entries.append(
                Entry(question.field, listed(parts) if question.many else answer, question.comment)
            )
    return profile_yaml(entries)
