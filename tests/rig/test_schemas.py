"""The JSON Schemas that editors use: as generated, and true of every file that is shipped."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator

import rig.profile.schema
import rig.stand.schema
from rig.files import FileProblems
from rig.profile.load import load_profile_text, shipped_profiles
from rig.schema_parts import QUANTITY
from rig.stand.file import load_stand_text, shipped_stands
from rig.units import FACTORS, Dimension, UnitError, parse

PROFILES = Path(__file__).resolve().parents[2] / "profiles"
LOADERS = {"valve": load_profile_text, "stand": load_stand_text}
GENERATORS = {"valve": rig.profile.schema.schema, "stand": rig.stand.schema.schema}
SHIPPED = [
    *(("valve", path) for path in shipped_profiles().values()),
    *(("stand", path) for path in shipped_stands().values()),
]
each_shipped = pytest.mark.parametrize(("kind", "path"), SHIPPED, ids=[path.stem for _, path in SHIPPED])


class EditorLoader(yaml.SafeLoader):
    """YAML as editors read it (1.2, core schema): a date stays a text, and so do yes and no."""


EditorLoader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in found if not tag.endswith((":timestamp", ":bool"))]
    for first, found in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def as_editors_read(path: Path) -> Any:
    return _with_text_keys(yaml.load(path.read_text(encoding="utf-8"), Loader=EditorLoader))


def _with_text_keys(value: Any) -> Any:
    """JSON knows only texts as keys; the raw numbers of a scale are such."""
    if isinstance(value, dict):
        return {str(key): _with_text_keys(item) for key, item in value.items()}
    return [_with_text_keys(item) for item in value] if isinstance(value, list) else value


def complaints(kind: str, value: Any) -> list[str]:
    validator = Draft202012Validator(GENERATORS[kind]())
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(value)]


@pytest.mark.parametrize("kind", GENERATORS)
def test_the_shipped_schema_is_what_the_generator_makes(kind: str) -> None:
    made = json.dumps(GENERATORS[kind](), indent=2, ensure_ascii=False) + "\n"
    room = "profile" if kind == "valve" else "stand"
    shipped = (PROFILES / f"{kind}.schema.json").read_text(encoding="utf-8")
    assert shipped == made, f"python -m rig.{room}.schema > profiles/{kind}.schema.json"


@pytest.mark.parametrize("kind", GENERATORS)
def test_the_schema_is_a_schema(kind: str) -> None:
    Draft202012Validator.check_schema(GENERATORS[kind]())


def test_every_kind_of_file_is_shipped() -> None:
    assert [kind for kind, _ in SHIPPED].count("valve") >= 6
    assert [kind for kind, _ in SHIPPED].count("stand") >= 4


@each_shipped
def test_every_shipped_file_is_valid_and_names_its_schema(kind: str, path: Path) -> None:
    assert complaints(kind, as_editors_read(path)) == []
    first = path.read_text(encoding="utf-8").splitlines()[0]
    start, _, named = first.partition("$schema=")
    assert start == "# yaml-language-server: "
    assert (path.parent / named).resolve() == PROFILES / f"{kind}.schema.json"


@pytest.mark.parametrize(
    ("kind", "name", "keys", "value"),
    [
        ("valve", "brine-letdown", ("effective_area",), "105"),  # no unit
        ("valve", "brine-letdown", ("effective_area",), 105),
        ("valve", "brine-letdown", ("action",), "air to open"),
        ("valve", "brine-letdown", ("bench_range", "base"), "dry"),  # no such key
        ("valve", "brine-letdown", ("trim", "seat_bore"), "2,5 in"),
        ("stand", "bench-tcp", ("addresses",), "one-based"),
        ("stand", "bench-tcp", ("links", "coupler", "port"), 65536),
        ("stand", "bench-tcp", ("modules", "station", "write_function"), 5),
        ("stand", "bench-tcp", ("channels", "stem_position", "number"), "int17"),
        ("stand", "bench-tcp", ("channels", "stem_position", "due"), "June 2027"),
        ("stand", "bench-tcp", ("channels", "stem_positon"), {}),
        ("stand", "bench-tcp", ("channels", "guard_closed", "bit"), 16),
    ],
)
def test_the_schema_marks_what_the_loader_would_refuse(
    kind: str, name: str, keys: tuple[str, ...], value: object
) -> None:
    found = shipped_profiles() if kind == "valve" else shipped_stands()
    whole = as_editors_read(found[name])
    *way, last = keys
    part = whole
    for key in way:
        part = part[key]
    part[last] = value
    assert complaints(kind, whole) != []


@pytest.mark.parametrize("kind", GENERATORS)
def test_what_must_be_there_is_missed(kind: str) -> None:
    required = GENERATORS[kind]()["required"]
    path = next(path for of_kind, path in SHIPPED if of_kind == kind)
    for key in required:
        whole = as_editors_read(path)
        del whole[key]
        assert complaints(kind, whole) != [], key


NUMBERS = (
    "10",
    "10.5",
    ".5",
    "5.",
    "1e3",
    "1.5e-3",
    "-1",
    "+1",
    "−1",
    "1/2",
    "1-1/8",
    "1 1/8",
    "1 - 1/8",
    "1/ 2",
)


def taken(text: str, dimension: Dimension) -> bool:
    try:
        parse(text, dimension)
    except UnitError:
        return False
    return True


@pytest.mark.parametrize("dimension", Dimension)
def test_a_quantity_that_the_loaders_take_is_not_marked(dimension: Dimension) -> None:
    units = (
        *FACTORS[dimension],
        "psig",
        "inches",
        '"',
        "sq in",
        "scans/s",
        "1/s",
        "per cent",
        "lbf/inch",
        "sec",
    )
    texts = [f"{number}{space}{unit}" for number in NUMBERS for space in ("", " ") for unit in units]
    good = [text for text in texts if taken(text, dimension)]
    assert len(good) >= 2 * len(NUMBERS)
    assert [text for text in good if not re.search(QUANTITY, text)] == []


@pytest.mark.parametrize(
    "text",
    [*NUMBERS, "", "psi", "± psi", "1,5 psi", "1..2 psi", "10 20 psi", "1.5 1/2 in", "nan psi", "1-1/8 1/8"],
)
def test_a_quantity_without_its_unit_or_its_number_is_marked(text: str) -> None:
    assert not any(taken(text, dimension) for dimension in Dimension)
    assert not re.search(QUANTITY, text)


VALVE, BENCH_TCP, BENCH_RTU = ("valve", "brine-letdown"), ("stand", "bench-tcp"), ("stand", "bench-rtu")
PROPERTIES, ANY = "properties", "additionalProperties"


@pytest.mark.parametrize(
    ("file", "group", "in_schema"),
    [
        (VALVE, "", ()),
        (VALVE, "bench_range", (PROPERTIES, "bench_range")),
        (VALVE, "trim", (PROPERTIES, "trim")),
        (VALVE, "process", (PROPERTIES, "process")),
        (BENCH_TCP, "", ()),
        (BENCH_TCP, "links.coupler", (PROPERTIES, "links", ANY, "anyOf", 0)),
        (BENCH_RTU, "links.bus", (PROPERTIES, "links", ANY, "anyOf", 1)),
        (BENCH_TCP, "modules.station", (PROPERTIES, "modules", ANY)),
        (BENCH_TCP, "modules.station.watchdog", (PROPERTIES, "modules", ANY, PROPERTIES, "watchdog")),
        (BENCH_TCP, "modules.station.identity", (PROPERTIES, "modules", ANY, PROPERTIES, "identity")),
        (BENCH_TCP, "channels", (PROPERTIES, "channels")),
        (BENCH_TCP, "channels.demand_output", (PROPERTIES, "channels", PROPERTIES, "demand_output")),
        (BENCH_TCP, "channels.stem_position", (PROPERTIES, "channels", PROPERTIES, "stem_position")),
        (BENCH_TCP, "channels.guard_closed", (PROPERTIES, "channels", PROPERTIES, "guard_closed")),
    ],
)
def test_loader_and_schema_know_the_same_keys(
    file: tuple[str, str], group: str, in_schema: tuple[str | int, ...]
) -> None:
    kind, name = file
    found = shipped_profiles() if kind == "valve" else shipped_stands()
    whole = as_editors_read(found[name])
    part: Any = whole
    for key in filter(None, group.split(".")):
        part = part[key]
    part["qqq"] = "1"  # like no key, so the loader lists all that it knows there
    with pytest.raises(FileProblems) as caught:
        LOADERS[kind](yaml.safe_dump(whole, allow_unicode=True), "file.yaml")
    (problem,) = caught.value.problems
    schema: Any = GENERATORS[kind]()
    for step in in_schema:
        schema = schema[step]
    assert set(problem.would_do.removeprefix("known here: ").split(", ")) == set(schema["properties"])
