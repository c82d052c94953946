"""Changes the engine in one place at a time, and asks the tests whether they notice.

`python -m tests.mutants [FILE…]` copies the tree into temporary folders, makes every change there
that `variants` knows, and runs the tests on each: the quick ones, then the laws on what these let
pass. What no test notices is printed as `file:line: what was changed`. It takes half an hour, so
a person starts it; outside/survivors.toml holds the reasons and the counts of the last whole run.
"""

from __future__ import annotations

import ast
import multiprocessing
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from importlib import import_module
from operator import setitem
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[1]
FILES = tuple(f"checkwatch/core/{name}.py" for name in ("window", "period", "standing"))
WORKERS = 2
FORK = multiprocessing.get_context("fork")
OPTIONS = ("-x", "-pno:cacheprovider", "-Wignore::pytest.PytestAssertRewriteWarning")
# Loaded once, for they take longer than the quick tests.
LIBRARIES = ("hypothesis.strategies", "sqlalchemy.dialects.sqlite", "rich.table", "dateutil.rrule")

QUICK = (
    *("tests/core_edges", "tests/laws/test_settled.py", "tests/oracle"),
    *("tests/rules/test_rulebook_cases.py", "tests/views"),
)
SLOW = ("tests/laws", *(f"tests/outside/test_{name}.py" for name in ("intervals", "trade")))
# A test of the text of these files, as tests/test_mutants.py is one, has no place in either.

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
}
for one, other in ((ast.Eq, ast.NotEq), (ast.Is, ast.IsNot), (ast.In, ast.NotIn)):
    COMPARED |= {one: (other,), other: (one,)}
REVERSED: dict[type[ast.operator], type[ast.operator]] = {ast.Mod: ast.FloorDiv}
for sign, against in ((ast.Add, ast.Sub), (ast.Mult, ast.FloorDiv)):
    REVERSED |= {sign: against, against: sign}
EXCHANGED = {"min": "max", "bisect_left": "bisect_right", "any": "all"}
EXCHANGED |= {new: old for old, new in EXCHANGED.items()}


class Mutant(NamedTuple):
    """A file with one change in it. `where` is the function or class in which it was made."""

    line: int
    where: str
    change: str
    source: str


def mutants(source: str) -> list[Mutant]:
    """Every change to a file, each source once."""
    tree = ast.parse(source)
    found = {ast.unparse(tree): Mutant(0, "", "", "")}
    names = _names(tree)
    for parent, field, node, put in _slots(tree):
        for new in variants(parent, field, node):
            # A number or a name alone says too little: it is shown with what it stands in.
            shown = parent if isinstance(node, ast.Constant | ast.Name) else node
            before = ast.unparse(shown)
            put(new)
            changed = ast.unparse(tree)
            after = ast.unparse(shown if shown is parent else new)
            put(node)
            where, change = names.get(parent, "the file"), f"{before} -> {after}"
            found.setdefault(changed, Mutant(node.lineno, where, change, changed))
    return sorted(mutant for mutant in found.values() if mutant.line)


def _names(tree: ast.AST) -> dict[ast.AST, str]:
    """The innermost function or class of every node in one."""
    owners = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.ClassDef)]
    return {node: owner.name for owner in owners for node in ast.walk(owner)}


def _slots(tree: ast.AST) -> Iterator[tuple[ast.AST, str, ast.expr, Callable[[ast.expr], None]]]:
    """Every place of an expression, and what puts another one there."""
    for parent in list(ast.walk(tree)):
        for field, value in ast.iter_fields(parent):
            if field in ("annotation", "returns"):
                continue
            if isinstance(value, ast.expr):
                yield parent, field, value, partial(setattr, parent, field)
            for index, item in enumerate(value if isinstance(value, list) else ()):
                if isinstance(item, ast.expr):
                    yield parent, field, item, partial(setitem, value, index)


def variants(parent: ast.AST, field: str, node: ast.expr) -> Iterator[ast.expr]:
    """What may stand in a place instead."""
    if field in ("test", "ifs"):
        yield ast.Constant(True)
    if field == "test" or isinstance(parent, ast.Lambda):
        yield ast.Constant(False)
    if isinstance(parent, ast.ExceptHandler) and field == "type":
        yield ast.Tuple([], ast.Load())
    match node:
        case ast.Compare(left, [op], right):
            yield from (ast.Compare(left, [new()], right) for new in COMPARED[type(op)])
        case ast.Constant(int(value)) if not isinstance(value, bool):
            yield from (ast.Constant(value + 1), ast.Constant(value - 1))
        case ast.BoolOp(op, values):
            yield ast.BoolOp(ast.And() if isinstance(op, ast.Or) else ast.Or(), values)
            yield from (ast.BoolOp(op, [v for v in values if v is not one]) for one in values)
        case ast.UnaryOp(ast.Not(), operand):
            yield operand
        case ast.BinOp(left, op, right) if type(op) in REVERSED:
            yield ast.BinOp(left, REVERSED[type(op)](), right)
        case ast.Name(name) if name in EXCHANGED:
            yield ast.Name(EXCHANGED[name], ast.Load())


def _run(folder: Path, tests: tuple[str, ...], keep: bool) -> None:
    """The tests on a copy, in a process of their own that has all libraries already."""
    for name in [name for name in sys.modules if name.partition(".")[0] in ("checkwatch", "tests")]:
        del sys.modules[name]
    # What is compiled with a change in it must not be taken for the next one.
    sys.dont_write_bytecode = not keep
    os.environ["PYTHONDONTWRITEBYTECODE"] = "" if keep else "1"
    os.chdir(folder)
    sys.path.insert(0, str(folder))
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.dup2(1, 2)
    os._exit(pytest.main([*OPTIONS, *tests]))


def _passes(folder: Path, tests: tuple[str, ...], seconds: float, keep: bool = False) -> bool:
    """Whether the tests pass on a copy. One that loops is stopped, and has not passed."""
    process = FORK.Process(target=_run, args=(folder, tests, keep))
    process.start()
    process.join(seconds)
    process.kill()
    process.join()
    return process.exitcode == 0


def survives(unchanged: Path, seconds: tuple[float, ...], file: str, mutant: Mutant) -> bool:
    """Whether no test notices the change, in the copy of this process."""
    folder = unchanged.with_name(str(os.getpid()))
    if not folder.exists():
        shutil.copytree(unchanged, folder)
    (folder / file).write_text(mutant.source, encoding="utf-8")
    try:
        return all(_passes(folder, *stage) for stage in zip((QUICK, SLOW), seconds, strict=True))
    finally:
        shutil.copy2(unchanged / file, folder / file)


def _measured(folder: Path, tests: tuple[str, ...]) -> float:
    """How long the tests may take. Where they fail anyhow, they say nothing of a change."""
    began = time.monotonic()
    if not _passes(folder, tests, 3600, keep=True):
        raise SystemExit(f"{tests[0]}: tests fail without any change; mend them first")
    return 20 + 5 * (time.monotonic() - began)


def main(files: list[str]) -> None:
    """Prints the survivors as they are found, then the counts."""
    work = [(f, m) for f in files for m in mutants((ROOT / f).read_text(encoding="utf-8"))]
    left = dict.fromkeys(files, 0)
    for library in LIBRARIES:
        import_module(library)
    with tempfile.TemporaryDirectory() as temporary, ProcessPoolExecutor(WORKERS, FORK) as pool:
        unchanged = Path(temporary) / "unchanged"
        shutil.copytree(ROOT, unchanged, ignore=shutil.ignore_patterns(".*", "__pycache__"))
        seconds = tuple(_measured(unchanged, tests) for tests in (QUICK, SLOW))
        answers = pool.map(partial(survives, unchanged, seconds), *zip(*work, strict=True))
        for number, ((file, mutant), lives) in enumerate(zip(work, answers, strict=True), 1):
            print(f"\r{number} of {len(work)} ", end="", file=sys.stderr, flush=True)
            if lives:
                left[file] += 1
                print(f"{file}:{mutant.line}: {mutant.where}: {mutant.change}", flush=True)
    for file in files:
        print(f"{file}: {sum(f == file for f, _ in work)} made, {left[file]} not noticed")


if __name__ == "__main__":
    main(sys.argv[1:] or list(FILES))
