"""Whatever stands in a file, it is read or told of with its line: never a traceback."""

from collections.abc import Iterator

import pytest
import yaml

from rig.files import FileProblems, Problem
from rig.profile.load import load_profile_text, profile_text
from rig.stand.file import load_stand_text, stand_text

JUNK = ("", "~", "10", "-1", "0 s", "1e308 psi", "nan psi", ".inf", "yes", "[a, 1 in]", "{a: b}", "°")
FILES = {
    "brine-letdown": (profile_text, load_profile_text),
    "awkward": (stand_text, load_stand_text),
    "bench-rtu": (stand_text, load_stand_text),
}


def nodes(node: yaml.Node) -> Iterator[yaml.Node]:
    """All values below."""
    if isinstance(node, yaml.MappingNode):
        for _, value in node.value:
            yield value
            yield from nodes(value)
    if isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield item
            yield from nodes(item)


def spots(text: str) -> list[tuple[int, int]]:
    """Where each single value begins and ends."""
    found = nodes(yaml.compose(text, Loader=yaml.SafeLoader))
    scalars = (node for node in found if isinstance(node, yaml.ScalarNode))
    return [(node.start_mark.index, node.end_mark.index) for node in scalars]


def told(name: str, text: str) -> tuple[Problem, ...]:
    try:
        FILES[name][1](text, "file.yaml")
    except FileProblems as found:
        return found.problems
    return ()


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("junk", JUNK)
def test_any_value_may_be_junk(name: str, junk: str) -> None:
    text = FILES[name][0](name)
    answers = [told(name, text[:begin] + junk + text[end:]) for begin, end in spots(text)]
    assert all(problem.line for problems in answers for problem in problems)
    assert sum(1 for problems in answers if problems) > 10


@pytest.mark.parametrize("name", FILES)
def test_any_line_may_be_missing_or_end_too_soon(name: str) -> None:
    lines = FILES[name][0](name).splitlines(keepends=True)
    for i, line in enumerate(lines):
        for instead in ("", line[: len(line) // 2] + "\n"):
            problems = told(name, "".join([*lines[:i], instead, *lines[i + 1 :]]))
            assert all(problem.line for problem in problems)
