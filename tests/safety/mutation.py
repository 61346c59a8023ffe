"""Mutation testing of the guard: does any test notice each small wrong change?

    python -m tests.safety.mutation                  all mutants (minutes)
    python -m tests.safety.mutation --sample 20 --seed 3
    python -m tests.safety.mutation --only output    one module

Every mutant runs in a forked process, the tests stop at the first that fails. A survivor must be explained by
name in safety/README.md; one that is not makes the command fail. Needs a system that can fork.
"""

import argparse
import contextlib
import importlib
import io
import os
import random
import re
import signal
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from .mutants import ROOM, modules, mutants, text_of

HERE = Path(__file__).parent
README = ROOM / "README.md"
# Run one by one: a module's own tests first, the long stories only for what the others let through.
OWN = {
    "output": ("command",),
    "state": ("table",),
    "track": ("observe",),
    "guard": ("corners", "hands", "trips", "time", "venting", "command"),
}
TESTS = (
    "limits", "signals", "corners", "checks", "checks_left_out", "observe", "permissives", "command", "table",
    "hands", "venting", "trips", "time", "readme", "invariants", "healthy",
)  # fmt: skip
QUIET = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:cov"]
QUIET += ["-o", "addopts=--import-mode=importlib"]
PATIENCE_S = 120  # of processor time: a mutant that loops for ever counts as noticed


class Planted(MetaPathFinder, Loader):
    """Imports one module of the guard from a mutant's source."""

    def __init__(self, module: str, source: str) -> None:
        self.module, self.source = module, source

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> ModuleSpec | None:
        return ModuleSpec(fullname, self) if fullname == f"safety.{self.module}" else None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.source, f"<mutant of {self.module}>", "exec"), module.__dict__)


def noticed(module: str, source: str) -> bool:
    """Whether a test fails when the module has this source."""
    child = os.fork()
    if child == 0:
        _run(module, source)
    _, status = os.waitpid(child, 0)
    return status != 0


def _run(module: str, source: str) -> None:
    """In the child: never returns."""
    # By the clock a busy machine would count as a test that fails.
    signal.setitimer(signal.ITIMER_PROF, PATIENCE_S)
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    code = True
    try:
        for name in [name for name in sys.modules if name.split(".")[0] == "safety"]:
            del sys.modules[name]
        sys.meta_path.insert(0, Planted(module, source))
        code = _tests_fail(module)
    finally:
        os._exit(int(code))


def _tests_fail(module: str) -> bool:
    first = OWN.get(module, (module,))
    order = [name for name in first if name in TESTS] + [name for name in TESTS if name not in first]
    return any(pytest.main([*QUIET, str(HERE / f"test_{name}.py")]) != 0 for name in order)


def warm_up() -> None:
    """Import once what every child would import anew: two thirds of the time that a mutant takes."""
    importlib.import_module("hypothesis.stateful")
    with contextlib.redirect_stdout(io.StringIO()):
        pytest.main(["--version", *QUIET])


def explained() -> set[str]:
    """Names of the survivors that the README accounts for."""
    return set(
        re.findall(r"^\* ([a-z_]+[^\n]*? becomes `[^\n]*?`(?: \(\d+\))?) — ", README.read_text("utf-8"), re.M)
    )


def main(argv: list[str] | None = None) -> int:
    options = argparse.ArgumentParser(description="Mutation testing of the guard")
    options.add_argument("--sample", type=int, default=0, help="only so many mutants, drawn at random")
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--only", default="", help="one module")
    options.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    options.add_argument("--trust", action="store_true", help="do not run the tests unchanged first")
    given = options.parse_args(argv)
    todo = [mutant for module in modules() if given.only in ("", module) for mutant in mutants(module)]
    if given.sample:
        print(f"{given.sample} of {len(todo)} mutants, seed {given.seed}")
        todo = random.Random(given.seed).sample(todo, given.sample)
    if not given.trust and noticed("guard", text_of("guard")):
        print("the tests fail without any mutant: mend that first")
        return 2
    warm_up()
    began = time.monotonic()
    known, survivors = explained(), []
    with ThreadPoolExecutor(given.workers) as pool:
        for mutant, seen in zip(todo, pool.map(lambda m: noticed(m.module, m.source), todo), strict=True):
            if not seen:
                survivors.append(mutant)
                print(f"{'explained' if mutant.name in known else 'SURVIVED'}: {mutant.name}", flush=True)
    unexplained = sum(survivor.name not in known for survivor in survivors)
    print(
        f"{len(todo)} mutants, {len(todo) - len(survivors)} noticed, {len(survivors)} survived, "
        f"{unexplained} of them unexplained, {time.monotonic() - began:.0f} s"
    )
    return 1 if unexplained else 0


if __name__ == "__main__":
    sys.exit(main())
