"""Pieces of a JSON Schema (draft 2020-12) for our YAML files. Editors use them to complete and to explain.

The schema is a help while typing; the loaders are the judges, and know far more than it can say.
"""

from collections.abc import Iterable
from enum import StrEnum
from typing import Any

from rig.units import Dimension, examples

Json = dict[str, Any]

# A number or a fraction, then a unit: something that neither is nor begins with a number, nor is the rest of
# a fraction or of a power of ten. The loaders say which units do.
NUMBER = r"[-+−±]?\s*((\d+(\s*-\s*|\s+))?\d+\s*/\s*\d+|(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?)"
QUANTITY = rf"^\s*{NUMBER}\s*(1/s|(?![-/]\s*\d|[eE][-+]?\d)[^\d\s.,].*)$"


def quantity(dimension: Dimension, description: str) -> Json:
    return {"type": "string", "pattern": QUANTITY, "description": f"{description}; {examples(dimension)}"}


def text(description: str) -> Json:
    """YAML makes numbers and dates of some plain texts; they read alike."""
    return {"type": ["string", "number"], "description": description}


def words(choices: type[StrEnum] | Iterable[str], description: str) -> Json:
    return {"enum": [str(choice) for choice in choices], "description": description}


def whole(lowest: int, highest: int, description: str) -> Json:
    """Hexadecimal may reach an editor as text."""
    number = {"type": "integer", "minimum": lowest, "maximum": highest}
    return {"anyOf": [number, {"type": "string", "pattern": "^0x[0-9a-fA-F]+$"}], "description": description}


def yes_no(description: str) -> Json:
    """In YAML 1.2 `yes` is a text, in 1.1 it is a truth value: both are taken."""
    return {"enum": ["yes", "no", True, False], "description": description}


def day(description: str) -> Json:
    return {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$", "description": description}


def texts(description: str) -> Json:
    one = {"type": "string"}
    return {"anyOf": [one, {"type": "array", "items": one}], "description": description}


def group(properties: Json, required: Iterable[str], description: str) -> Json:
    """A mapping that has no other keys."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(required),
        "additionalProperties": False,
        "description": description,
    }


def named(part: Json, description: str) -> Json:
    """A mapping from names of the person's own to parts."""
    return {"type": "object", "additionalProperties": part, "minProperties": 1, "description": description}


def document(title: str, properties: Json, required: Iterable[str]) -> Json:
    body = group(properties, required, title)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title, **body}
