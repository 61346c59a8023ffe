"""Writing a profile: every value with a comment that says what it is and where it comes from."""

import json
from collections.abc import Iterable
from dataclasses import dataclass

import yaml

HEAD = (
    "# yaml-language-server: $schema=../valve.schema.json\n"
    "# Every quantity is written with its unit. Pressures are gauge. Lengths may be fractions of an inch.\n"
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One key with its value as written; `field` is 'rated_travel' or 'bench_range.lower'."""

    field: str
    value: str = ""  # empty: not known, and only the comment is written
    comment: str = ""

    @property
    def group(self) -> str:
        return self.field.rpartition(".")[0]

    @property
    def key(self) -> str:
        return self.field.rpartition(".")[2]


def profile_yaml(entries: Iterable[Entry]) -> str:
    """The file's text. Entries of one group have to follow one another."""
    lines: list[str] = []
    group = ""
    for entry in entries:
        if entry.group != group:
            lines.append("")
            if entry.group:
                lines.append(f"{entry.group}:")
            group = entry.group
        lines.append(_line(entry))
    return HEAD + "\n".join(lines) + "\n"


def _line(entry: Entry) -> str:
    indent = "  " if entry.group else ""
    comment = f" # {_one_line(entry.comment)}" if entry.comment else ""
    if not entry.value:
        return f"{indent}# {entry.key}:{comment.replace(' #', '', 1)}"
    value = entry.value if entry.value.startswith("[") else scalar(entry.value)
    return f"{indent}{entry.key}: {value}{comment}"


def scalar(text: str) -> str:
    """The text as YAML, quoted only where it would not be read back as it stands."""
    try:
        node = yaml.compose(f"key: {text} # comment", Loader=yaml.SafeLoader)
    except yaml.YAMLError:
        return json.dumps(text, ensure_ascii=False)
    value = node.value[0][1] if isinstance(node, yaml.MappingNode) and len(node.value) == 1 else None
    if isinstance(value, yaml.ScalarNode) and value.style is None and value.value == text:
        return text
    return json.dumps(text, ensure_ascii=False)


def listed(texts: Iterable[str]) -> str:
    """Several short texts in one line: [3 to 15 psi, 6 to 30 psi]."""
    return (
        "[" + ", ".join(text if _bare(text) else json.dumps(text, ensure_ascii=False) for text in texts) + "]"
    )


def _bare(text: str) -> bool:
    return scalar(text) == text and not set(text) & set("[]{},")


def _one_line(text: str) -> str:
    return " ".join(text.split())
