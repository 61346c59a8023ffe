"""`stemrig profile new`: the interview on a terminal, and the file it leaves."""

import sys
from collections.abc import Callable
from pathlib import Path

from rig.cli.exits import PASS, STOPPED, WRONG_INPUT

Ask = Callable[[str], str]
Tell = Callable[[str], None]

WELCOME = """A new valve profile. Answer with the unit, in whatever unit the tag or the tape has.
  Enter alone leaves out what is marked (may be left out), < goes back one question, ? explains.
"""


def ask_for_one(output: Path | None, units_name: str, ask: Ask = input, tell: Tell = print) -> int:
    """Nothing is written until every question is answered; a file that is there is never written over."""
    from rig.profile.explain import explain
    from rig.profile.load import load_profile_text
    from rig.units import UNIT_SETS

    if output is not None and output.exists():
        print(f"{output}: is already there; name another file with --output", file=sys.stderr)
        return WRONG_INPUT
    tell(WELCOME)
    try:
        text = _talk(ask, tell)
    except (EOFError, KeyboardInterrupt):
        tell("\nStopped: nothing was written.")
        return STOPPED
    profile = load_profile_text(text, "the new profile")
    path = output or free_path(Path(f"{profile.model}.yaml"))
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        print(f"{path}: cannot be written: {error.strerror or error}\n\n{text}", file=sys.stderr)
        return WRONG_INPUT
    tell(f"\n{explain(profile, UNIT_SETS[units_name])}\n\nWritten: {path}")
    return PASS


def free_path(path: Path) -> Path:
    """The path, or with a number behind its name where that is taken."""
    number, free = 2, path
    while free.exists():
        free, number = path.with_stem(f"{path.stem}-{number}"), number + 1
    return free


def _talk(ask: Ask, tell: Tell) -> str:
    from rig.profile.interview import Prompt, interview

    talk = interview()
    prompt: Prompt = next(talk)
    while True:
        _show(prompt, tell)
        try:
            prompt = talk.send(ask("    > "))
        except StopIteration as end:
            return str(end.value)


def _show(prompt: "object", tell: Tell) -> None:
    from rig.profile.interview import Prompt

    assert isinstance(prompt, Prompt)
    question = prompt.question
    for problem in prompt.problems:
        tell(f"    ! {problem}")
    if prompt.problems:
        return
    left_out = " (may be left out)" if question.optional else ""
    tell(f"{prompt.number:2} of {prompt.of}  {question.ask}{left_out}, for example: {question.example}")
    for number, choice in enumerate(question.choices, 1):
        tell(f"    {number}  {choice}")
    if prompt.help:
        tell(
            f"    {question.field.replace('_', ' ')}: {question.comment or 'as the tag or the tape says it'}"
        )
