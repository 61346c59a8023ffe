"""Exactly one place in the controller may write to a link: the guard's permitted command goes out there."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ONLY_WRITER = "rig/stand/outputs.py"
# Methods by which a register or coil can be written through our adapter or through pymodbus itself.
LINK_WRITES = {"write", "write_register", "write_registers", "write_coil", "write_coils"}


def link_writes(source: str) -> list[int]:
    """Lines that call a `.write…(` with at least a unit, a table or address, and values."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in LINK_WRITES
        and len(node.args) + len(node.keywords) >= 3
    ]


def writers(files: dict[str, str]) -> dict[str, list[int]]:
    found = {name: link_writes(text) for name, text in files.items()}
    adapters = {"rig/stand/link.py", "rig/stand/modbus.py"}
    return {name: lines for name, lines in found.items() if lines and name not in adapters}


def controller_sources() -> dict[str, str]:
    paths = [*(ROOT / "rig").rglob("*.py"), *(ROOT / "safety").rglob("*.py")]
    return {path.relative_to(ROOT).as_posix(): path.read_text() for path in paths}


def test_the_only_caller_of_a_links_write_is_the_outputs_file() -> None:
    assert set(writers(controller_sources())) == {ONLY_WRITER}


def test_a_second_writer_would_be_caught() -> None:
    planted = controller_sources() | {"rig/stand/planted.py": "bus.write(1, Table.HOLDING, 0, [5], 6)\n"}
    assert "rig/stand/planted.py" in writers(planted)
