"""Labelled lines for people: a heading, then label and words in two columns, wrapped."""

from collections.abc import Iterable
from textwrap import wrap

WIDTH, INDENT, LABEL = 100, 2, 24


def section(heading: str, rows: Iterable[tuple[str, str]]) -> list[str]:
    """A blank line, the heading and its rows; nothing at all without rows. A long label gets its own line."""
    lines = [line for label, words in rows for line in row(label, words)]
    return ["", heading, *lines] if lines else []


def row(label: str, words: str) -> list[str]:
    margin = " " * (INDENT + LABEL)
    wrapped = wrap(words, WIDTH - INDENT - LABEL, break_on_hyphens=False, break_long_words=False) or [""]
    head = f"{'':{INDENT}}{label:<{LABEL}}"
    if len(label) >= LABEL:
        return [head.rstrip(), *(margin + line for line in wrapped)]
    return [(head + wrapped[0]).rstrip(), *(margin + line for line in wrapped[1:])]
