"""The board on screens of many sizes and as plain text; where it is cut, what is hidden counts.

That a screen's columns stand where they should is measured by pyte, a terminal of other people's
making. The wording is our own; what the order of the block "to do now" must be is docs/meaning.md,
part 8.
"""

from __future__ import annotations

import io
import os
import re
from pathlib import Path

import pyte
import pytest
from rich.console import Console, RenderableType

from checkwatch.answers.board import Board, board
from checkwatch.core.entry import Outcome
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.core.states import Standing
from checkwatch.views.board import Blind, Frame, Late, Screen, plain
from checkwatch.views.todo import tasks
from tests.board.fleet import FRAME, RULES, many, twelve, with_places
from tests.build import KIND, ZONE, ask, book, did, enrolled, happened, passed, t

FOLDER = Path(__file__).parents[1] / "golden" / "board"
EXAMPLE = Frame("Saltmere theatres", ZONE, example=True)


def expect(name: str, text: str) -> None:
    """As the golden files of the other views; CHECKWATCH_GOLDEN=write writes them anew."""
    path = FOLDER / f"{name}.txt"
    if os.environ.get("CHECKWATCH_GOLDEN") == "write":
        path.write_text(text + "\n")
    assert text + "\n" == path.read_text()


def screen(
    given: Board,
    height: int | None,
    frame: Frame = FRAME,
    now: str | Instant = "",
    late: Late | None = None,
) -> Screen:
    seen = given.question.now if now == "" else t(now) if isinstance(now, str) else now
    return Screen(given, tasks(given), frame, seen, height, late)


def printed(what: RenderableType, width: int, **more: bool) -> str:
    colour = {"force_terminal": True, "color_system": "truecolor", **more} if more else {}
    console = Console(width=width, file=io.StringIO(), **colour)
    console.print(what)
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    return "\n".join(line.rstrip() for line in text.splitlines())


@pytest.mark.parametrize(("width", "height"), [(80, 24), (80, 40), (200, 60)])
def test_twelve_machines_on_a_screen(width: int, height: int) -> None:
    text = printed(screen(twelve(), height), width)
    expect(f"twelve-{width}x{height}", text)
    assert len(text.splitlines()) == height


@pytest.mark.parametrize(("width", "height"), [(80, 24), (200, 60)])
def test_three_hundred_machines_on_a_screen(width: int, height: int) -> None:
    expect(f"many-{width}x{height}", printed(screen(many(300), height), width))


def test_printed_once_it_is_whole() -> None:
    text = printed(screen(twelve(), None), 80)
    expect("twelve-once-80", text)
    assert "…" not in text


def test_plain_text_has_one_machine_a_line_and_aligned_columns() -> None:
    given = twelve()
    text = plain(given, tasks(given), EXAMPLE)
    expect("twelve-plain", text)
    assert text.startswith("EXAMPLE")
    table = text.split("\n\n")[2].splitlines()
    column, tags = table[0].index("standing"), table[0].index("machine")
    marks = {line[column] for line in table[1:]}
    assert marks == set(".<~!-?")
    for placed in given.machines:
        assert sum(line[tags:].startswith(placed.machine.machine) for line in table) == 1


def test_a_book_that_is_not_believed() -> None:
    given = twelve(doubts=("its newest entry was altered",))
    text = printed(screen(given, 24), 80)
    expect("doubts-80x24", text)
    assert "12 machines: 12 unknown" in text
    assert not re.search(r"cleared|limited", text)
    assert "not cleared" not in plain(given, tasks(given), FRAME)


def test_a_book_without_machines() -> None:
    given = board(book(RULES, places=()), ask("06:50", "06:50"))
    expect("empty-80x24", printed(screen(given, 24), 80))
    assert "no machine is in the book" in plain(given, tasks(given), FRAME)


def test_the_past_says_so_and_does_not_age() -> None:
    text = printed(screen(twelve("06:50", "20:00"), None), 80)
    assert "As of 06:50 GMT, 13 h ago." in text
    assert "1 unknown" in text  # the machine that no gate applies to, and no other


# What must be done


def test_to_do_is_ordered_by_rank_then_age_and_work_that_begins_soon_comes_last() -> None:
    found = [(task.place, task.machine) for task in tasks(twelve())]
    assert found == [
        ("Store", "WM-01"),  # unknown
        ("Theatre 5", "AM-05"),  # an exception's debt
        ("Theatre 9", ""),  # nobody wrote since when
        ("Theatre 4", "AM-04"),  # owed since 06:10
        ("Theatre 6", "AM-06"),  # its fault is of 06:20
        ("Theatre 7", "AM-07"),  # its place begins to work at 07:30
        ("Theatre 8", "AM-09"),
    ]


def test_whatever_is_not_cleared_where_people_work_is_to_do() -> None:
    for given in (twelve(), twelve("12:00"), many(60)):
        told = {task.machine for task in tasks(given)}
        for row in given.rows:
            for machine, _ in row.machines:
                if machine.standing is Standing.NOT_CLEARED and machine.log.place != "Store":
                    assert machine.machine in told


def test_work_is_the_least_that_clears_a_machine() -> None:
    """The self-test covers the leak test: 4 hands on and 2 watched, not 3 and 1 more."""
    (task,) = [task for task in tasks(twelve()) if task.machine == "AM-07"]
    assert (task.what, task.minutes) == ("full self-test", 6)


def test_places_begin_to_work_within_three_hours_or_are_not_told() -> None:
    machines = {task.machine for task in tasks(twelve("04:00"))}
    assert "AM-09" not in machines
    assert "AM-09" in {task.machine for task in tasks(twelve("04:31"))}


# What is old


def test_what_has_ended_since_it_was_read_is_unknown() -> None:
    """AM-02 is cleared until 07:20, so that at 07:20 nobody knows."""
    before = printed(screen(twelve(), None, now="07:19"), 80)
    after = printed(screen(twelve(), None, now="07:20"), 80)
    assert re.search(r"AM-02 +\. cleared +only 07:20 GMT", before)
    assert re.search(r"AM-02 +\? unknown +cleared until 07:20 GMT, now", after)
    assert "4 cleared" in before
    assert "3 cleared" in after


def test_old_data_says_how_old_it_is() -> None:
    given = twelve()
    late = Late(t("06:50"), "book.db: is locked")
    text = printed(screen(given, 24, EXAMPLE, Instant(t("06:50") + 20_000_000), late), 80)
    assert "This is 20 s old, as of Thu 12 Mar 06:50:00 GMT" in text
    assert "book.db: is locked" in text


def test_a_screen_that_cannot_know_shows_no_standing() -> None:
    text = printed(Blind(EXAMPLE, Instant(t("06:50") + MINUTE), Late(t("06:50"), "no disk")), 80)
    expect("blind-80", text)
    assert "not been readable since Thu 12 Mar 06:50:00 GMT" in text
    assert text.startswith("EXAMPLE")
    assert "AM-" not in text


# What fits


@pytest.mark.parametrize("number", [0, 1, 12, 60, 300])
def test_nothing_is_wider_or_higher_than_the_screen(number: int) -> None:
    given = many(number) if number != 12 else twelve()
    for width in (20, 40, 80, 119, 120, 191, 192, 200, 300):
        for height in (1, 5, 8, 12, 24, 60):
            lines = printed(screen(given, height), width).splitlines()
            assert max(map(len, lines)) <= width
            assert len(lines) <= height


@pytest.mark.parametrize("width", [80, 200])
@pytest.mark.parametrize("height", [16, 24, 40, 60])
@pytest.mark.parametrize("number", [12, 60, 300])
def test_whatever_is_cut_is_counted(number: int, width: int, height: int) -> None:
    """Every machine that is not cleared has a line, or is in the number below."""
    given = many(number)
    text = printed(screen(given, height), width)
    seen = len(re.findall(r"AM-\d+ +! not cleared", text))
    more = re.search(r"^and (\d+) more: (?:(\d+) not cleared)?", text, re.MULTILINE)
    hidden = int(more[2] or 0) if more else 0
    assert seen + hidden == given.counts[Standing.NOT_CLEARED]


def test_a_place_that_lacks_a_machine_is_counted_where_it_is_cut() -> None:
    places = [(f"Theatre {n}", "theatre", "") for n in range(40)]
    given = board(with_places(book(RULES), places), ask("06:50", "06:50"))
    text = printed(screen(given, 24), 80)
    seen = len(re.findall(r"^Theatre \d+ +! not cleared", text, re.MULTILINE))
    assert f"and 0 more: {40 - seen} places not cleared" in text


def test_a_limit_is_told_on_a_second_line_where_the_rest_is_cut() -> None:
    limit = "auxiliary oxygen flowmeter sticks"
    entries = [enrolled(f"AM-{n:02}", f"Theatre {n}") for n in range(30)]
    entries.append(did("AM-01", "self-test", Outcome.LIMITED, "06:30", limits=(limit,)))
    places = [(f"Theatre {n}", "theatre", "") for n in range(30)]
    given = board(with_places(book(RULES, *entries), places), ask("06:50", "06:50"))
    lines = printed(screen(given, 24), 80).splitlines()
    (row,) = [n for n, line in enumerate(lines) if "< limited" in line]
    assert limit in lines[row + 1]


# What people write, and colours

ODD = (
    "[red]x[/]",
    "AN[/]4",
    "\x1b[2Jgone",
    "\u202eleft",
    "手術室一",
    "a\nb",
    ":smile:",
    "é\u0301" * 3,
    "x" * 300,
)


@pytest.mark.parametrize("odd", ODD)
def test_what_people_write_neither_moves_columns_nor_becomes_markup(odd: str) -> None:
    entries = [
        enrolled("AM-1", odd),
        enrolled(odd, "Theatre 2"),
        did("AM-1", "self-test", Outcome.LIMITED, "06:30", limits=(odd,)),
        passed(odd, "self-test", "06:30"),
        happened(odd, "power-on", "06:40"),
    ]
    places = [(odd, "theatre", odd), ("Theatre 2", "theatre", "Main")]
    given = board(with_places(book(RULES, *entries), places), ask("06:50", "06:50"))
    terminal = pyte.Screen(80, 24)
    text = printed(screen(given, 24, Frame(odd, ZONE)), 80, force_terminal=True)
    pyte.Stream(terminal).feed(text.replace("\n", "\r\n"))
    column = next(line for line in terminal.display if "standing" in line).index("standing")
    rows = [row for row in range(24) if any("<!"[n] in _at(terminal, row, column) for n in (0, 1))]
    assert len(rows) == 2
    assert "gone" not in text or "\\x1b[2Jgone" in text
    whole = plain(given, tasks(given), Frame(odd, ZONE))
    assert "\x1b" not in whole
    assert "\u202e" not in whole
    if odd.startswith(("[", "AN", ":")):
        assert odd in whole
        assert odd in text


def _at(terminal: pyte.Screen, row: int, column: int) -> str:
    return terminal.buffer[row][column].data


def test_colour_comes_after_the_word_and_goes_without_loss() -> None:
    """The hues are Okabe and Ito's: vermilion 213 94 0, sky blue 86 180 233, reddish purple 204
    121 167 ("Color Universal Design", 2008)."""
    coloured = printed(screen(twelve(), 40), 80, force_terminal=True)
    for hue in ("38;2;213;94;0", "38;2;86;180;233", "38;2;204;121;167"):
        assert hue in coloured
    colourless = printed(screen(twelve(), 40), 80, force_terminal=True, no_color=True)
    assert "38;2" not in colourless
    stripped = re.sub(r"\x1b\[[\d;]*m", "", coloured)
    assert stripped == re.sub(r"\x1b\[[\d;]*m", "", colourless)
    assert KIND not in stripped


def test_the_board_says_when_a_watcher_last_looked() -> None:
    given = many(2)
    watched = Frame("Saltmere theatres", ZONE, looked=t("06:49:50"))
    assert "watched 06:49:50" in plain(given, (), watched)
    gone = Frame("Saltmere theatres", ZONE, looked=t("06:48:00"))
    for shown in (plain(given, (), gone), printed(screen(given, 24, gone), 80)):
        assert "NOBODY WATCHES: the watcher last looked at 06:48 GMT" in " ".join(shown.split())
    assert "WATCH" not in plain(given, (), FRAME).upper()
