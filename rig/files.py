"""YAML files with positions: every mistake is told with file, line and field, and all of them at once.

Scalars are read as the text that stands in the file, so that `yes`, `1-1/8 in` and `2026-06-01` mean what
a person reads, not what YAML makes of them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from importlib import resources
from math import nan
from pathlib import Path
from typing import TypeVar

import yaml

from rig.units import Dimension, UnitError, examples, parse

Choice = TypeVar("Choice", bound=StrEnum)
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
YES, NO = ("yes", "true", "on"), ("no", "false", "off")


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake in a file, in the words of the person who has to mend it."""

    file: str
    line: int | None
    field: str
    found: str
    would_do: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line is not None else self.file
        return f"{place}: {f'{self.field}: ' if self.field else ''}{self.found}\n    {self.would_do}"


class FileProblems(Exception):  # noqa: N818 - it is what it carries
    """Everything that is wrong with one file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class Document:
    """One YAML file being read; collects its problems."""

    def __init__(self, text: str, source: str, kind: str) -> None:
        """`kind` is what it should be: 'a valve profile'. Raises FileProblems if it is no YAML mapping."""
        self.source = source
        self.kind = kind
        self.problems: list[Problem] = []
        self.root = Section(self, _root(text, source, kind), "", 1)

    def add(self, line: int | None, field: str, found: str, would_do: str) -> None:
        self.problems.append(Problem(self.source, line, field, found, would_do))

    def raise_problems(self) -> None:
        """Raises FileProblems with all that was found, in the order of the lines; else nothing."""
        if self.problems:
            raise FileProblems(sorted(self.problems, key=lambda problem: problem.line or 0))


class Section:
    """A mapping in the file. Each reader notes a problem and gives a stand-in (nan, None, "") for it;
    what is not asked for until `finish` is an unknown key."""

    def __init__(self, document: Document, node: yaml.MappingNode, path: str, line: int) -> None:
        self.document = document
        self.path = path
        self.line = line
        self._nodes: dict[str, yaml.Node] = {}
        self._lines: dict[str, int] = {}
        self._asked: dict[str, None] = {}
        self._sections: dict[str, Section | None] = {}
        for key_node, value in node.value:
            self._take(key_node, value)

    def _take(self, key_node: yaml.Node, value: yaml.Node) -> None:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, yaml.ScalarNode):
            self.document.add(
                line, self.path, "has a key that is not a plain word", "write each key as one word"
            )
        elif key_node.value in self._nodes:
            first = self._lines[key_node.value]
            name = self._name(key_node.value)
            self.document.add(
                line, name, f"stands here a second time (first in line {first})", "keep one of them"
            )
        else:
            self._nodes[key_node.value], self._lines[key_node.value] = value, line

    def _name(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    @property
    def names(self) -> tuple[str, ...]:
        """The keys that are there, in their order."""
        return tuple(self._nodes)

    def has(self, key: str) -> bool:
        """Whether the key is there with a value."""
        node = self._nodes.get(key)
        return node is not None and node.tag != "tag:yaml.org,2002:null"

    def holds_section(self, key: str) -> bool:
        return isinstance(self._nodes.get(key), yaml.MappingNode)

    def line_of(self, key: str) -> int:
        return self._lines.get(key, self.line)

    def problem(self, key: str, found: str, would_do: str) -> None:
        self.document.add(self.line_of(key), self._name(key) if key else self.path, found, would_do)

    def missing(self, key: str, would_do: str) -> None:
        self._asked[key] = None
        self.problem(key, "has no value" if key in self._nodes else "is missing", would_do)

    def finish(self) -> None:
        """Tell every key that nobody asked for."""
        known = list(self._asked)
        what = f"a key of {self.path}" if self.path else f"a key of {self.document.kind}"
        for key in self._nodes:
            if key not in self._asked:
                self.problem(key, f"is not {what}", did_you_mean(key, known))

    # -- values ----------------------------------------------------------------------------------------

    def text_or_none(self, key: str) -> str | None:
        """The scalar as written, None when it is not there."""
        self._asked[key] = None
        if not self.has(key):
            return None
        node = self._nodes[key]
        if not isinstance(node, yaml.ScalarNode):
            self.problem(key, f"holds {_shape(node)}", "one value is wanted here")
            return None
        return str(node.value).strip()

    def text(self, key: str, example: str) -> str:
        """The scalar as written; a missing one is a problem."""
        found = self.text_or_none(key)
        if found:
            return found
        if not self._is_told(key):
            self.missing(key, f"add it, for example: {key}: {example}")
        return ""

    def _is_told(self, key: str) -> bool:
        """Whether text_or_none has already complained of the shape."""
        return self.has(key) and not isinstance(self._nodes[key], yaml.ScalarNode)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, or one text alone; empty when it is not there."""
        self._asked[key] = None
        node = self._nodes.get(key)
        if not isinstance(node, yaml.SequenceNode):
            one = self.text_or_none(key)
            return (one,) if one else ()
        if not all(isinstance(item, yaml.ScalarNode) for item in node.value):
            self.problem(key, "holds more than plain text", "write a list of sentences, each after a dash")
            return ()
        return tuple(str(item.value).strip() for item in node.value)

    def quantity_or_none(self, key: str, dimension: Dimension) -> float | None:
        """The quantity in SI, None when it is not there, nan when it is wrong."""
        text = self.text_or_none(key)
        if text is None:
            return nan if self._is_told(key) else None
        return self.parsed(key, text, dimension)

    def quantity(self, key: str, dimension: Dimension, example: str = "") -> float:
        """The quantity in SI, nan when it is missing or wrong."""
        found = self.quantity_or_none(key, dimension)
        if found is None:
            self.missing(key, f"add it, for example: {key}: {example or examples(dimension)}")
            return nan
        return found

    def parsed(self, key: str, text: str, dimension: Dimension) -> float:
        """`text` in SI, or a problem of `key` and nan."""
        try:
            return parse(text, dimension)
        except UnitError as error:
            self.problem(key, error.found, error.would_do)
            return nan

    def whole_or_none(self, key: str, lowest: int, highest: int) -> int | None:
        """A whole number within the limits, None when it is not there or wrong."""
        text = self.text_or_none(key)
        if text is None:
            return None
        wanted = f"a whole number from {lowest} to {highest} is wanted here"
        try:
            number = int(text, 0)
        except ValueError:
            self.problem(key, f"'{text}' is not a whole number", wanted)
            return None
        if not lowest <= number <= highest:
            self.problem(key, f"{text} is out of range", wanted)
            return None
        return number

    def whole(self, key: str, lowest: int, highest: int, example: int) -> int:
        """A whole number within the limits; -1 when it is missing or wrong."""
        found = self.whole_or_none(key, lowest, highest)
        if found is None and not self.has(key):
            self.missing(key, f"add it, for example: {key}: {example}")
        return -1 if found is None else found

    def yes(self, key: str, otherwise: bool = False) -> bool:
        text = self.text_or_none(key)
        if text is None or text.lower() in YES + NO:
            return otherwise if text is None else text.lower() in YES
        self.problem(key, f"'{text}' is neither yes nor no", "write yes or no")
        return otherwise

    def choice(self, key: str, choices: type[Choice], otherwise: Choice | None = None) -> Choice:
        """One of the words; `otherwise` when it is not there, and the first of them when it is wrong."""
        words = [str(choice.value) for choice in choices]
        text = self.text_or_none(key)
        if text is None:
            if otherwise is None and not self._is_told(key):
                self.missing(key, f"add it: {key}: {_or(words)}")
            return otherwise or next(iter(choices))
        for choice in choices:
            if " ".join(text.split()).lower() == choice.value.lower():
                return choice
        self.problem(key, f"'{text}' is not known here", f"write {_or(words)}")
        return next(iter(choices))

    def one_of(self, key: str, words: tuple[str, ...], otherwise: str | None = None) -> str:
        """Like `choice`, for words without a type."""
        text = self.text_or_none(key)
        if text is None and otherwise is None and not self._is_told(key):
            self.missing(key, f"add it: {key}: {_or(words)}")
        if text is not None and text.lower() not in words:
            self.problem(key, f"'{text}' is not known here", f"write {_or(words)}")
            return words[0]
        return text.lower() if text is not None else otherwise or words[0]

    def day_or_none(self, key: str) -> date | None:
        text = self.text_or_none(key)
        if text is None:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.problem(key, f"'{text}' is not a date", "write year-month-day, for example: 2026-06-01")
            return None

    # -- mappings --------------------------------------------------------------------------------------

    def section_or_none(self, key: str, example: str) -> "Section | None":
        if key not in self._sections:
            self._sections[key] = self._section(key, example)
        return self._sections[key]

    def _section(self, key: str, example: str) -> "Section | None":
        self._asked[key] = None
        if not self.has(key):
            return None
        node = self._nodes[key]
        if isinstance(node, yaml.MappingNode):
            return Section(self.document, node, self._name(key), self._lines[key])
        self.problem(key, f"holds {_shape(node)}", f"a group of keys is wanted here, for example: {example}")
        return None

    def section(self, key: str, example: str) -> "Section | None":
        """The mapping under a key; a missing one is a problem."""
        if not self.has(key):
            self.missing(key, f"add it, for example: {key}: {example}")
            return None
        return self.section_or_none(key, example)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A suggestion, or all that is known."""
    names = list(known)
    close = get_close_matches(word.lower(), names, n=1, cutoff=0.6)
    return f"did you mean {close[0]}?" if close else f"known here: {', '.join(names)}"


def _or(words: Iterable[str]) -> str:
    *head, last = words
    return f"{', '.join(head)} or {last}" if head else last


def _shape(node: yaml.Node) -> str:
    if isinstance(node, yaml.MappingNode):
        return "a group of keys"
    return "a list" if isinstance(node, yaml.SequenceNode) else f"'{node.value}'"


def _root(text: str, source: str, kind: str) -> yaml.MappingNode:
    """Raises FileProblems."""
    try:
        node = yaml.compose(text, Loader=LOADER)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        what = getattr(error, "problem", None) or str(error).split("\n")[0]
        found = f"is not YAML here: {what}"
        would_do = "often a tab, a missing space after a colon, a wrong indent or an open quote"
        raise FileProblems([Problem(source, mark.line + 1 if mark else None, "", found, would_do)]) from error
    if isinstance(node, yaml.MappingNode) and node.value:
        return node
    found = "is empty" if node is None or isinstance(node, yaml.MappingNode) else f"holds {_shape(node)}"
    raise FileProblems([Problem(source, 1, "", found, f"{kind} is lines of the form key: value")])


# -- finding and reading files -------------------------------------------------------------------------


@cache
def shipped(package: str) -> Mapping[str, Path]:
    """The YAML files that come with the program, by name."""
    folder = resources.files(package)
    files = sorted(Path(str(item)) for item in folder.iterdir() if item.name.endswith(".yaml"))
    return {path.stem: path for path in files}


def find(path_or_name: str | Path, package: str, kind: str) -> Path:
    """A file by its path, or a shipped one by its bare name. Raises FileProblems."""
    path = Path(path_or_name)
    names = shipped(package)
    if path.is_file():
        return path
    if str(path) in names:
        return names[str(path)]
    found = "is a folder" if path.is_dir() else "there is no such file"
    close = get_close_matches(str(path), names, n=1, cutoff=0.6)
    hint = f"did you mean {close[0]}? " if close else ""
    would_do = f"{hint}name {kind}: a file, or one that is shipped: {', '.join(names)}"
    raise FileProblems([Problem(str(path_or_name), None, "", found, would_do)])


def read_text(path: Path) -> str:
    """The file's text. Raises FileProblems."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found, would_do = (
            "is not text in UTF-8",
            f"save it as UTF-8 text; the first odd byte is at {error.start}",
        )
    except OSError as error:
        found, would_do = f"cannot be read: {error.strerror or error}", "check its place and its permissions"
    raise FileProblems([Problem(str(path), None, "", found, would_do)])
