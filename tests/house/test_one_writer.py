"""Exactly one function in the controller may write to a link: there the permitted command goes out."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ONLY_WRITER = ("rig/stand/outputs.py", "_send")
ADAPTERS = {"rig/stand/link.py", "rig/stand/modbus.py"}
# Methods by which a register or coil can be written through our adapter or through pymodbus itself.
PYMODBUS_WRITES = {
    "write_register",
    "write_registers",
    "write_coil",
    "write_coils",
    "mask_write_register",
    "readwrite_registers",
    "write_file_record",
}
LINK_WRITES = {"write", *PYMODBUS_WRITES}
LOOK_UPS = {"getattr", "methodcaller", "attrgetter"}


def functions(tree: ast.AST, name: str = "the file") -> Iterator[tuple[str, ast.AST]]:
    """Every node with the innermost function it stands in."""
    for child in ast.iter_child_nodes(tree):
        inside = child.name if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef) else name
        yield inside, child
        yield from functions(child, inside)


def link_writes(source: str) -> set[str]:
    """Functions that call a link's write, or take hold of it to call it later.

    A `.write(...)` with at least unit, table and address is one; a file's `.write(text)` is not.
    """
    tree = ast.parse(source)
    called = {id(node.func): node for node in ast.walk(tree) if isinstance(node, ast.Call)}
    found = set()
    for inside, node in functions(tree):
        if isinstance(node, ast.Attribute) and node.attr in LINK_WRITES and not _is_of_os(node):
            call = called.get(id(node))
            if node.attr in PYMODBUS_WRITES or call is None or len(call.args) + len(call.keywords) >= 3:
                found.add(inside)
        if isinstance(node, ast.Constant) and node.value in LINK_WRITES and _is_looked_up(tree, node):
            found.add(inside)
    return found


def _is_of_os(node: ast.Attribute) -> bool:
    return isinstance(node.value, ast.Name) and node.value.id == "os"


def _is_looked_up(tree: ast.AST, name: ast.Constant) -> bool:
    return any(
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name | ast.Attribute)
        and (node.func.id if isinstance(node.func, ast.Name) else node.func.attr) in LOOK_UPS
        and any(argument is name for argument in node.args)
        for node in ast.walk(tree)
    )


def writers(files: dict[str, str]) -> set[tuple[str, str]]:
    return {
        (name, function)
        for name, text in files.items()
        if name not in ADAPTERS
        for function in link_writes(text)
    }


def controller_sources() -> dict[str, str]:
    paths = [*(ROOT / "rig").rglob("*.py"), *(ROOT / "safety").rglob("*.py")]
    return {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in paths}


def test_the_only_caller_of_a_links_write_is_one_function_of_the_outputs_file() -> None:
    assert writers(controller_sources()) == {ONLY_WRITER}


@pytest.mark.parametrize(
    "planted",
    [
        "def second(bus):\n    bus.write(1, Table.HOLDING, 0, [5], 6)\n",
        "def second(bus):\n    later = bus.write\n    later(1, Table.HOLDING, 0, [5], 6)\n",
        "def second(bus):\n    getattr(bus, 'write')(1, Table.HOLDING, 0, [5], 6)\n",
        "async def second(client):\n    await client.write_register(0, 5)\n",
        "def second(client):\n    client.readwrite_registers(read_address=0, address=0)\n",
    ],
)
def test_a_second_writer_would_be_caught(planted: str) -> None:
    found = writers(controller_sources() | {"rig/stand/planted.py": planted})
    assert found == {ONLY_WRITER, ("rig/stand/planted.py", "second")}


def test_a_second_writer_in_the_outputs_file_itself_would_be_caught() -> None:
    sources = controller_sources()
    name = ONLY_WRITER[0]
    sources[name] += "\n\ndef second(bus):\n    bus.write(1, Table.HOLDING, 0, [5], 6)\n"
    assert writers(sources) == {ONLY_WRITER, (name, "second")}
