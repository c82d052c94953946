"""The live board as a terminal shows it: pyte is the terminal, an emulator outside the project.

What a screen must never show rests on docs/hazards.md (a stale screen).
"""

from __future__ import annotations

import io
import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pexpect
import pyte
import pytest
from rich.console import Console

from checkwatch.answers.board import Board, board
from checkwatch.views.board import CAUTION, Frame, Screen
from checkwatch.views.words import LOOKS
from tests import build

ROOT = Path(__file__).parents[2]
PATIENCE = 15.0


class Terminal:
    """A terminal with a program in it."""

    def __init__(self, columns: int, rows: int, *arguments: str, no_color: bool = False) -> None:
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.sent = b""
        environment = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")}
        environment |= {"TERM": "xterm-256color", "PYTHONPATH": str(ROOT)}
        environment |= {"NO_COLOR": "1"} if no_color else {}
        self.program = pexpect.spawn(
            sys.executable,
            ["-m", "tests.board.shown", *arguments],
            dimensions=(rows, columns),
            env=environment,
            cwd=str(ROOT),
        )

    def look(self, seconds: float = 0.3) -> list[str]:
        """The lines of the screen after so long, and not in the middle of a redraw."""
        end = time.monotonic() + seconds
        quiet = False
        while time.monotonic() < end or not quiet:
            try:
                came = self.program.read_nonblocking(100_000, timeout=0.1)
                quiet = False
            except pexpect.TIMEOUT:
                quiet = True
                continue
            except pexpect.EOF:
                break
            self.sent += came
            self.stream.feed(came)
        return [line.rstrip() for line in self.screen.display]

    def wait(self, wanted: Callable[[str], object]) -> str:
        """The screen as soon as it is as wanted."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            text = "\n".join(self.look())
            if wanted(text):
                return text
        pytest.fail(f"not within {PATIENCE} s; the screen shows:\n{text}")

    def resize(self, columns: int, rows: int) -> None:
        self.screen.resize(rows, columns)
        self.program.setwinsize(rows, columns)


@pytest.fixture
def opened() -> Iterator[Callable[..., Terminal]]:
    terminals: list[Terminal] = []

    def open_one(*arguments: object, columns: int = 80, rows: int = 24, **more: bool) -> Terminal:
        terminals.append(Terminal(columns, rows, *map(str, arguments), **more))
        return terminals[-1]

    yield open_one
    for terminal in terminals:
        terminal.program.close(force=True)


def standings(text: str) -> list[str]:
    """The words of standings behind their marks."""
    return [look.word for look in LOOKS.values() if f"{look.mark} {look.word}" in text]


def hidden(text: str) -> int:
    """How many machines are said not to be shown, some of them not cleared."""
    found = re.search(r"and (\d+) more: \d+ not cleared", text)
    assert found, text
    return int(found[1])


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (80, 40), (200, 60)])
def test_what_does_not_fit_is_counted(
    opened: Callable[..., Terminal], columns: int, rows: int
) -> None:
    terminal = opened(300, 1, columns=columns, rows=rows)
    text = terminal.wait(lambda text: CAUTION in text)
    assert "300 machines" in text
    assert "EXAMPLE" in text.splitlines()[0]
    assert 0 < hidden(text) < 300
    shown = text.splitlines()
    assert shown[rows - 1].startswith(CAUTION)
    assert shown.index(next(line for line in shown if line.startswith("place"))) <= rows // 2


def test_a_small_fleet_is_shown_whole(opened: Callable[..., Terminal]) -> None:
    terminal = opened(12, 1)
    text = terminal.wait(lambda text: CAUTION in text)
    assert all(f"AM-{number:03}" in text for number in range(1, 13))
    assert not re.search(r"and \d+ more: ", text)


def test_it_survives_every_size(opened: Callable[..., Terminal]) -> None:
    terminal = opened(300, 1)
    terminal.wait(lambda text: "300 machines" in text)
    for columns, rows in ((200, 60), (40, 10), (20, 3), (1, 1), (80, 24)):
        terminal.resize(columns, rows)
        terminal.look(1.0)
        assert terminal.program.isalive()
    text = terminal.wait(lambda text: CAUTION in text)
    assert hidden(text) > 0


def test_the_clock_runs(opened: Callable[..., Terminal]) -> None:
    terminal = opened(3, 1)
    terminal.wait(lambda text: "06:50:01 GMT" in text)
    terminal.wait(lambda text: "06:50:03 GMT" in text)


@pytest.mark.parametrize("how", ["FAILS", "HANGS"])
def test_no_standing_is_shown_a_minute_after_the_last_reading(
    opened: Callable[..., Terminal], how: str
) -> None:
    terminal = opened(12, 10, how, 20, 3600)
    text = terminal.wait(lambda text: re.search(r"\d\d s old", text) and CAUTION in text)
    assert "cleared" in standings(text)
    text = terminal.wait(lambda text: "has not been readable since" in text)
    assert standings(text) == []
    assert "EXAMPLE" in text


def test_it_comes_back_when_the_store_does(opened: Callable[..., Terminal]) -> None:
    terminal = opened(12, 20, "FAILS", 10, 120)
    terminal.wait(lambda text: "has not been readable since" in text)
    text = terminal.wait(lambda text: "cleared" in standings(text))
    assert "the book cannot be read now" not in text


def test_what_ran_out_meanwhile_is_not_called_cleared(opened: Callable[..., Terminal]) -> None:
    terminal = opened(1, 10, "FAILS", 10, 3600)
    terminal.wait(lambda text: ". cleared" in text)
    text = terminal.wait(lambda text: re.search("06:50:[345]", text.splitlines()[0]))
    assert standings(text) == ["unknown"]


def test_a_standing_that_ends_is_read_at_once(opened: Callable[..., Terminal]) -> None:
    terminal = opened(1, 10)
    terminal.wait(lambda text: ". cleared" in text)
    terminal.wait(lambda text: "! not cleared" in text)


def test_what_people_wrote_stays_text(opened: Callable[..., Terminal]) -> None:
    terminal = opened(3, 1, columns=160)
    text = terminal.wait(lambda text: CAUTION in text)
    assert "Saltmere [red]theatres[/red]" in text
    assert r"no [bold]low flow[/] \x1b[2J here" in text


def test_without_colour_the_words_remain(opened: Callable[..., Terminal]) -> None:
    terminal = opened(3, 1, no_color=True)
    text = terminal.wait(lambda text: CAUTION in text)
    assert {"cleared", "limited", "not cleared"} <= set(standings(text))
    colours = re.findall(rb"\x1b\[(?:\d+;)*(?:[34][0-8]|9[0-7])(?:;\d+)*m", terminal.sent)
    assert colours == []


@pytest.mark.parametrize("key", ["q", "\x03"])
def test_it_leaves_the_terminal_as_it_was(opened: Callable[..., Terminal], key: str) -> None:
    terminal = opened(3, 1)
    terminal.wait(lambda text: CAUTION in text)
    terminal.program.send(key)
    terminal.look(2.0)
    terminal.program.close()
    assert terminal.program.exitstatus == 0
    assert terminal.sent.rindex(b"\x1b[?1049l") > terminal.sent.rindex(b"\x1b[?1049h")
    assert b"\x1b[?25h" in terminal.sent[terminal.sent.rindex(b"\x1b[?25l") :]
    assert b"Traceback" not in terminal.sent


def test_a_board_that_is_ended_leaves_no_standing_behind(opened: Callable[..., Terminal]) -> None:
    terminal = opened(3, 1)
    terminal.wait(lambda text: CAUTION in text)
    terminal.program.kill(signal.SIGTERM)
    terminal.look(2.0)
    terminal.program.close()
    assert terminal.program.exitstatus == 0
    assert terminal.sent.endswith((b"\x1b[?1049l", b"\x1b[?25h"))


def test_a_board_does_not_sleep(opened: Callable[..., Terminal]) -> None:
    terminal = opened(3, 1)
    first = terminal.wait(lambda text: CAUTION in text)
    terminal.program.send("\x1a")
    assert terminal.wait(lambda text: clock_of(text) > clock_of(first))
    assert terminal.program.isalive()


def clock_of(text: str) -> str:
    found = re.search(r"\d\d:\d\d:\d\d", text)
    assert found, text
    return found[0]


# What is decided without a terminal


@pytest.fixture
def two() -> Board:
    """AM-01 is cleared until 07:10, AM-02 was never tested; one place needs one of them."""
    given = build.book(
        build.rules(),
        build.enrolled("AM-01"),
        build.enrolled("AM-02"),
        build.passed("AM-01", "self-test", "2026-03-11T07:10"),
    )
    return board(given, build.ask("07:09", "07:09"))


def test_a_place_that_rests_on_what_ran_out_is_unknown(two: Board) -> None:
    """Nobody is sent to a machine of which nothing is known any more."""
    for at, word in (("07:09", "limited"), ("07:10", "unknown")):
        screen = Screen(two, (), Frame("Saltmere theatres", build.ZONE), build.t(at))
        console = Console(width=80, file=io.StringIO())
        console.print(screen)
        text = console.file.getvalue()
        place = next(line for line in text.splitlines() if line.startswith("Theatre 4"))
        assert word in place
        assert ("use AM-01 only" in text) is (word == "limited")
