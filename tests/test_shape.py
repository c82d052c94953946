"""The form of the house, held by measurement: who imports whom, lengths, clocks, colours."""

from __future__ import annotations

import ast
import re
import statistics
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "checkwatch"
FILES = sorted(PACKAGE.rglob("*.py"))

Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(path: Path) -> Iterator[Function]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, Function):
            yield node


def lines(function: Function) -> int:
    return (function.end_lineno or function.lineno) - function.lineno + 1


def test_data_flows_one_way() -> None:
    done = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout


def test_functions_are_short() -> None:
    lengths = [lines(function) for path in FILES for function in functions(path)]
    deciles = statistics.quantiles(lengths, n=10)
    assert max(lengths) <= 60
    assert deciles[8] <= 30
    assert statistics.median(lengths) <= 12


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_files_are_short(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 350


CLOCK = re.compile(r"\b(now|today|utcnow|time_ns|monotonic|perf_counter|time\.time)\(\)")


@pytest.mark.parametrize("room", ["core", "answers", "rules", "store", "exchange", "views"])
def test_no_clock_is_read_below_run(room: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in (PACKAGE / room).rglob("*.py")
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if CLOCK.search(line)
    ]
    assert found == []


def test_core_needs_the_standard_library_only() -> None:
    """With one exception, imported where a rule uses it: the recurrences."""
    code = (
        "import sys; before = set(sys.modules);"
        "import checkwatch.core.judge, checkwatch.core.place;"
        "names = {m.split('.')[0] for m in set(sys.modules) - before};"
        "known = set(sys.stdlib_module_names) | {'checkwatch'};"
        "print(sorted(n for n in names - known if not n.startswith('_sysconfigdata')))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert out.stdout.strip() == "[]", out.stdout + out.stderr


def test_nothing_shadows_the_migration_library() -> None:
    assert not (ROOT / "alembic" / "__init__.py").exists()
