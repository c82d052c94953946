"""A check on a real terminal: a telephone's forty columns, and eighty."""

from __future__ import annotations

import termios
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.cli.line import run
from tests.steps.conftest import RULES, made
from tests.terminal import Terminal

#: Watched for six seconds, alone for six more.
QUICK = RULES.replace("watched = 1, alone = 1", "watched = 0.1, alone = 0.1")

Open = Callable[..., Terminal]


@pytest.fixture
def book(tmp_path: Path) -> str:
    return str(made(tmp_path, QUICK))


@pytest.fixture
def opened(book: str, tmp_path: Path) -> Iterator[Open]:
    terminals: list[Terminal] = []

    def open_one(columns: int = 40, check: str = "leak-test", rows: int = 40) -> Terminal:
        words = ["--db", book, "steps", "AM-02", check, "--by", "kd"]
        terminals.append(Terminal(columns, rows, *words, XDG_STATE_HOME=str(tmp_path / "state")))
        return terminals[-1]

    yield open_one
    for terminal in terminals:
        terminal.program.close(force=True)


def outcomes(book: str) -> list[str]:
    rows = run("--db", book, "export").out.splitlines()
    return [row.split(",")[4] for row in rows if ",leak-test," in row]


def to_the_run(terminal: Terminal) -> Terminal:
    """As far as the machine runs by itself."""
    assert "No patient may be connected." in terminal.wait("Begin? yes / no >")
    terminal.types("yes", "yes / no >")
    terminal.types("yes", "yes / no >")
    terminal.types("yes", "left")
    return terminal


@pytest.mark.parametrize("columns", [40, 80])
def test_a_check_to_its_pass_fits_the_screen(opened: Open, book: str, columns: int) -> None:
    terminal = to_the_run(opened(columns))
    terminal.wait("Is it over? yes >")
    assert "over by the clock" in terminal.look()
    assert "3/3 Read the leak." in terminal.types("yes", "leak in mL/min >")
    assert "Is it so: Reserve cylinder shut?" in terminal.types("60", "yes / no >")
    assert "leak test: pass" in terminal.types("yes", "Write it? yes / back >")
    terminal.program.send("yes\r")
    code, text = terminal.ended()
    assert (code, outcomes(book)) == (0, ["begun", "pass"])
    assert "Now ready: leak test." in text
    assert max(map(len, terminal.lines)) <= columns


def test_while_it_runs_by_itself_it_can_be_left_and_joined_again(opened: Open, book: str) -> None:
    terminal = to_the_run(opened())
    terminal.program.send("q")
    code, text = terminal.ended()
    assert (code, outcomes(book)) == (130, ["begun"])
    assert "Put it right: Reserve cylinder shut" in text
    again = opened()
    assert "2 Open the reserve cylinder.: yes" in again.wait("yes / no >")
    again.types("yes", "Is it over? yes >")


@pytest.mark.parametrize("pause", [0.0, 0.3])
def test_the_key_that_ends_the_bar_belongs_to_the_answer(opened: Open, pause: float) -> None:
    terminal = to_the_run(opened())
    for key in "yx\x7fes\r":
        terminal.program.send(key)
        time.sleep(pause)
    text = " ".join(terminal.wait("yes / no >").split())
    assert "Is it over? yes > yes" in text
    assert "a pass may not count" in text


def test_the_end_of_the_run_writes_nothing(opened: Open, book: str) -> None:
    terminal = to_the_run(opened())
    terminal.wait("Is it over? yes >")
    time.sleep(2)
    assert terminal.look().endswith("Is it over? yes >")
    assert outcomes(book) == ["begun"]


@pytest.mark.parametrize("key", ["\x03", "\x04"])
def test_the_keys_that_end_a_program_leave_the_check(opened: Open, book: str, key: str) -> None:
    terminal = opened()
    terminal.wait("Begin? yes / no >")
    terminal.types("yes", "yes / no >")
    terminal.program.send(key)
    code, text = terminal.ended()
    assert (code, outcomes(book)) == (130, ["begun"])
    assert "This goes on with it" in " ".join(text.split())


def test_ctrl_c_in_the_run_leaves_a_terminal_that_can_be_typed_on(opened: Open) -> None:
    terminal = to_the_run(opened())
    terminal.program.send("\x03")
    end = time.monotonic() + 10
    while "goes on with" not in " ".join(terminal.look().split()) and time.monotonic() < end:
        pass
    flags = termios.tcgetattr(terminal.program.child_fd)[3]
    assert flags & termios.ECHO
    assert flags & termios.ICANON
    assert "\x1b[?25l" not in terminal.sent.rpartition("\x1b[?25h")[2], "the cursor is hidden"
    assert terminal.ended()[0] == 130


def test_what_is_typed_ahead_answers_no_question_that_nobody_read(opened: Open) -> None:
    terminal = opened()
    terminal.wait("Begin? yes / no >")
    terminal.program.send("yes\ryes\ryes\r")
    text = terminal.wait("yes / no >")
    time.sleep(1)
    assert "2/3" not in terminal.look(), text
    assert "1/3" in terminal.look()


def test_arrows_and_other_keys_are_no_answers(opened: Open) -> None:
    terminal = opened()
    terminal.wait("Begin? yes / no >")
    terminal.types("yes", "yes / no >")
    assert "cannot be printed" in " ".join(terminal.types("\x1b[A\x1b[B").split())


def test_a_closed_terminal_loses_no_answer(opened: Open, book: str) -> None:
    terminal = opened()
    terminal.wait("Begin? yes / no >")
    terminal.types("yes", "yes / no >")
    terminal.types("yes", "yes / no >")
    terminal.program.close()
    assert outcomes(book) == ["begun"]
    assert "1 Look at the seals.: yes" in opened().wait("yes / no >")


def test_on_a_terminal_who_is_asked(book: str, tmp_path: Path) -> None:
    words = ["--db", book, "steps", "AM-02", "look"]
    terminal = Terminal(40, 24, *words, XDG_STATE_HOME=str(tmp_path))
    terminal.wait("Your code (no name) >")
    assert "one word, like your" in terminal.types("", "Your code (no name) >")
    assert "has a blank" in terminal.types("Kim Dale", "Your code (no name) >")
    assert "look round" in terminal.types("kd", "yes / no >")
    terminal.program.close(force=True)
