"""Which commands a command line loads."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module

import pytest
import typer

from checkwatch.cli.app import FILES
from tests.cli.line import run


@pytest.mark.parametrize("file", FILES)
def test_the_table_of_commands_says_what_each_file_has(file: str) -> None:
    app = typer.Typer()
    app.callback()(lambda: None)
    import_module(f"checkwatch.cli.{file}").add_to(app)
    group = typer.main.get_command(app)
    assert set(getattr(group, "commands")) == set(FILES[file])  # noqa: B009


def test_help_and_a_misspelt_command_know_all_of_them() -> None:
    listed = run("--help").out
    assert all(command in listed for commands in FILES.values() for command in commands)
    assert "happened" in run("hapened", "AM-04", "board").err


def test_what_is_named_as_another_command_is_no_command() -> None:
    """A word may be a command's name wherever it stands."""
    said = run("note", "AM-04", "board", "--db", "verify")
    assert (said.code, "verify" in said.err) == (6, True)


def test_an_entry_does_not_wait_for_what_makes_books_and_boards(small: str) -> None:
    words = ["happened", "AM-01", "power-on", "--db", str(small)]
    code = (
        f"import sys; sys.argv[1:] = {words!r}\n"
        "import atexit; atexit.register(lambda: print(*sys.modules, file=sys.stderr))\n"
        "from checkwatch.__main__ import main; main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    assert not loaded & {"alembic", "rich", "pendulum", "apscheduler"}
