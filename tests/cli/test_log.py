"""`log MACHINE`: what was written, in order, with what became of it; nothing is left out."""

from __future__ import annotations

import os
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pexpect
import pyte
import pytest

from checkwatch.answers.log import log
from checkwatch.core.entry import Note, Outcome, Struck
from checkwatch.core.instant import Instant
from checkwatch.views import log as views
from checkwatch.views.words import Here
from tests import build
from tests.cli.clocked import Clocked
from tests.cli.line import PROGRAM, run

LEAK = ("--measure", "leak=60", "--by", "kd")


def entries(clocked: Clocked, time: str, *options: str) -> dict[int, Any]:
    """The entries of AM-02 as JSON, by their number."""
    document = clocked.at(time, "log", "AM-02", *options, "--json").document
    return {one["entry"]: one for one in document["entries"]}


@pytest.fixture
def morning(clocked: Clocked) -> Clocked:
    """A leak test that fails and then passes, a late change, and two entries in error."""
    clocked.at("07:00", "done", "AM-02", "leak-test", "fail", "--measure", "leak=340", "--by", "kd")
    clocked.at("07:20", "done", "AM-02", "leak-test", "pass", *LEAK, "--note", "hose reseated")
    clocked.at("09:00", "happened", "AM-02", "circuit-change", "--at", "07:40", "--by", "kd")
    slip = clocked.wrote("09:10", "done", "AM-02", "leak-test", "pass", *LEAK)
    clocked.at("09:20", "strike", slip, "--reason", "wrong machine", "--by", "kd")
    clocked.at("09:30", "strike", "7", "--restores", "--reason", "it was AM-03", "--by", "hv")
    return clocked


PLAIN = """\
Log of AM-02, as of 10:00 GMT.

Mon 1 Jan 2024
4   00:00 GMT      Enrolled, anaesthetic machine, in Theatre 2, model type A,
                   serial 2

Sun 15 Jan 2040
6   07:00 GMT  kd  Leak test fail, leak 340 mL/min
7   07:20 GMT  kd  (struck) Leak test pass, leak 60 mL/min: hose reseated
                   struck by entry 11, with all that it cost: it was AM-03
8   07:40 GMT  kd  Circuit changed
                   written 1 h 20 min later
9   09:10 GMT  kd  (struck) Leak test pass, leak 60 mL/min
                   struck by entry 10: wrong machine; after the fail of entry 6
10  09:20 GMT  kd  Entry 9 struck: wrong machine
11  09:30 GMT  hv  Entry 7 struck, with all that it cost: it was AM-03

7 entries, 2 struck, 1 written late.
"""


def test_a_log_tells_the_morning_in_order(morning: Clocked) -> None:
    assert morning.at("10:00", "log", "AM-02").out == PLAIN


def test_what_was_moved_to_another_machine_is_told_in_the_log_of_both(clocked: Clocked) -> None:
    number = clocked.wrote("07:00", "happened", "AM-02", "circuit-change", "--by", "kd")
    moved = ("--was", "am-03", "--restores", "--reason", "wrong tag", "--by", "hv")
    clocked.at("07:10", "strike", number, *moved)
    here, there = (clocked.says("07:20", "log", tag) for tag in ("AM-02", "AM-03"))
    assert (
        "kd (struck) Circuit changed struck by entry 7, with all that it cost: wrong tag; said of"
        " AM-03 instead"
    ) in here
    assert "8 07:00 GMT hv Circuit changed: moved from AM-02, entry 6, by kd" in there


def test_what_was_not_known_yet_is_not_in_it(morning: Clocked) -> None:
    said = morning.at("10:00", "log", "AM-02", "--at", "08:00", "--known-at", "08:00").out
    assert "as of 08:00 GMT, as known at 08:00 GMT" in said
    assert "Circuit changed" not in said
    assert "after the fail of entry 6" in said
    assert "struck" not in said
    # What was struck later is struck at any instant, for who asks without --known-at.
    assert "struck by entry 11" in morning.at("10:00", "log", "AM-02", "--at", "08:00").out


def test_only_since_a_time_says_how_much_is_left_out(morning: Clocked) -> None:
    said = morning.at("10:00", "log", "AM-02", "--since", "07:40").out
    assert [line[:2] for line in said.splitlines() if line[:1].isdigit()] == [
        "8 ", "9 ", "10", "11", "4 ",
    ]  # fmt: skip
    assert said.endswith("4 entries, 1 struck, 1 written late, 3 earlier not shown.\n")
    assert "is not a time" in morning.at("10:00", "log", "AM-02", "--since", "x", code=2).err


def test_the_document_says_the_same(morning: Clocked) -> None:
    found = entries(morning, "10:00")
    assert list(found) == [4, 6, 7, 8, 9, 10, 11]
    assert found[7] == {
        "entry": 7,
        "machine": "AM-02",
        "what": "leak-test",
        "at": "2040-01-15T07:20:00Z",
        "recorded": "2040-01-15T07:20:00Z",
        "by": "kd",
        "note": "hose reseated",
        "ref": "",
        "clock_offset": None,
        "signed": "",
        "details": {
            "check": "leak-test",
            "outcome": "pass",
            "started": None,
            "measures": {"leak": 60},
            "limits": [],
            "flag": None,
        },
        "struck": [{"entry": 11, "restores": True, "reason": "it was AM-03"}],
        "after_fail": None,
        "counts_as": None,
        "counts_for_nothing": [],
    }
    assert (found[9]["after_fail"], found[9]["struck"][0]["entry"]) == (6, 10)
    assert found[10]["details"] == {"of": 9, "restores": False}


def test_a_pass_that_counts_for_less_says_as_what(clocked: Clocked) -> None:
    words = ("done", "AM-02", "suction-test")
    clocked.at("07:00", *words, "fail", "--by", "kd")
    clocked.at("07:10", *words, "pass", "--by", "kd")
    clocked.at("07:20", "return", "AM-02", "--by", "hv")
    clocked.at("07:30", *words, "pass", "--by", "kd")
    clocked.at("07:40", *words, "pass", "--by", "kd")
    said = clocked.at("08:00", "log", "AM-02", "--since", "07:00").out
    assert [line.strip() for line in said.splitlines() if "fail" in line or "count" in line] == [
        "6   07:00 GMT  kd  Suction test fail",
        "after the fail of entry 6; counts as stopped",
        "after the fail of entry 6",
    ]
    document = entries(clocked, "08:00")
    assert [document[n]["counts_as"] for n in (6, 7, 9, 10)] == [None, "stopped", None, None]
    assert [document[n]["after_fail"] for n in (6, 7, 9, 10)] == [None, 6, 6, None]


def test_a_covering_pass_comes_after_the_fail_of_what_it_covers() -> None:
    book = build.book(
        build.rules(),
        build.enrolled("AM-04"),
        build.did("AM-04", "leak-test", Outcome.FAIL, "07:10"),
        build.passed("AM-04", "self-test", "07:40"),
        build.passed("AM-04", "leak-test", "08:00"),
    )
    found = log("AM-04", book, build.ask())
    assert [line.after for line in found.lines] == [None, None, 2, None]


def test_other_machines_and_what_the_rules_do_not_know_never_matter() -> None:
    book = build.book(
        build.rules(),
        build.enrolled("AM-04"),
        build.did("AM-05", "leak-test", Outcome.FAIL, "07:10"),
        build.passed("AM-04", "old-test", "07:20"),
        build.wrote(Struck, "AM-05", "07:30", of=2),
    )
    found = log("AM-04", book, build.ask())
    assert [(line.entry.seq, line.after, line.strikings) for line in found.lines] == [
        (1, None, ()),
        (3, None, ()),
    ]


def test_the_books_own_entries_say_which_rules_came_when(clocked: Clocked, tmp_path: Path) -> None:
    newer = tmp_path / "newer.toml"
    newer.write_text((tmp_path / "rules.toml").read_text().replace("Small suite", "Second suite"))
    clocked.at(
        "08:00", "rules", "adopt", str(newer), "--from", "tomorrow 06:00", "--why", "yearly review",
        "--by", "ld", "--yes",
    )  # fmt: skip
    said = clocked.at("09:00", "log").out
    assert said.startswith("Log of the book: rules and places, as of 09:00 GMT.\n")
    assert "Rulebook adopted, Small suite" in said
    assert "Rulebook adopted, Second suite, in force from Mon 16 Jan" in said
    assert "06:00 GMT: yearly review" in " ".join(said.split())
    assert "Place Theatre 2, a theatre" in said
    document = clocked.at("09:00", "log", "--json").document
    assert document["machine"] is None
    assert {one["what"] for one in document["entries"]} == {"adopted", "place"}


def test_nobody_has_a_log_whom_the_book_does_not_know(clocked: Clocked) -> None:
    assert "no machine or place" in clocked.at("09:00", "log", "AM-77", code=6).err


PLACE = """\
Log of Theatre 3, as of 10:00 GMT.

Sun 15 Jan 2040
8   07:10 GMT  AM-02  kd  Moved to Theatre 3
9   07:20 GMT  AM-03      Circuit changed
10  07:30 GMT  AM-02  kd  (struck) Note: here
                          struck by entry 13, with all that it cost: not so
11  07:40 GMT  AM-02  kd  Moved to Theatre 2

4 entries, 1 struck, 3 earlier not shown.
"""


@pytest.fixture
def moving(clocked: Clocked) -> Clocked:
    """AM-02 comes to Theatre 3, where AM-03 stands, and goes back."""
    clocked.at("07:00", "note", "AM-02", "before", "--by", "kd")
    clocked.at("07:00", "happened", "AM-03", "circuit-change")
    clocked.at("07:10", "move", "AM-02", "Theatre 3", "--by", "kd")
    clocked.at("07:20", "happened", "AM-03", "circuit-change")
    clocked.at("07:30", "note", "AM-02", "here", "--by", "kd")
    clocked.at("07:40", "move", "AM-02", "Theatre 2", "--by", "kd")
    clocked.at("07:50", "note", "AM-02", "after", "--by", "kd")
    clocked.at("08:00", "strike", "10", "--restores", "--reason", "not so", "--by", "kd")
    return clocked


def test_a_places_log_has_its_machines_while_they_stood_there(moving: Clocked) -> None:
    assert moving.at("10:00", "log", "theatre 3", "--since", "07:10").out == PLACE
    whole = moving.at("10:00", "log", "Theatre 3").out
    assert "Place Theatre 3, a theatre" in whole
    assert "AM-03      Enrolled" in whole
    assert "Theatre 2, a" not in whole
    before = moving.at("10:00", "log", "Theatre 3", "--at", "07:35").out
    assert before.splitlines()[-1].startswith("6 entries")


def test_a_move_that_never_was_brings_no_entries(moving: Clocked) -> None:
    moving.at("08:10", "strike", "8", "--restores", "--reason", "never moved", "--by", "kd")
    out = moving.at("10:00", "log", "Theatre 3", "--since", "07:10").out
    assert "(struck) Moved to Theatre 3" in out
    assert "Note: here" not in out
    assert "Circuit changed" in out


def test_a_places_document_names_the_machine_of_each_entry(moving: Clocked) -> None:
    document = moving.at("10:00", "log", "Theatre 3", "--json").document
    assert (document["machine"], document["place"]) == (None, "Theatre 3")
    assert [(one["entry"], one["machine"]) for one in document["entries"]][-4:] == [
        (8, "AM-02"), (9, "AM-03"), (10, "AM-02"), (11, "AM-02"),
    ]  # fmt: skip
    assert {one["machine"] for one in document["entries"] if one["what"] == "place"} == {None}


def test_what_somebody_wrote_is_never_cut(clocked: Clocked) -> None:
    words = " ".join(f"word{number}" for number in range(200))
    number = clocked.wrote("07:00", "note", "AM-02", words, "--by", "kd")
    clocked.at("07:10", "strike", number, "--reason", words, "--by", "kd")
    out = clocked.at("08:00", "log", "AM-02", "--since", "07:00").out
    assert " ".join(out.split()).count(words) == 3
    assert max(map(len, out.splitlines())) <= 80


def test_a_book_that_is_not_believed_shows_what_it_holds_and_says_so(morning: Clocked) -> None:
    said = morning.at("2040-01-15T05:00", "log", "AM-02", "--at", "10:00", code=6)
    assert "The book is not believed: the clock says" in " ".join(said.out.split())
    assert "Leak test fail" in said.out


ODD = "x \x1b[31mred\x1b[0m [bold]a[/] \u202eb\n1  07:00 GMT  kd  Leak test pass"


def test_what_people_wrote_stays_on_its_line_and_is_harmless() -> None:
    book = build.book(
        build.rules(), build.enrolled("AM-04"), build.wrote(Note, "AM-04", "09:00", note=ODD)
    )
    here = Here(build.ZONE, build.t("10:00"))
    found = log("AM-04", book, build.ask())
    text = views.plain(found, here)
    assert text == views.styled(found, here, 80).plain
    assert not {"\x1b", "\u202e"} & set(text)
    assert "[bold]a[/]" in text
    assert not any(line.startswith("1  07:00") for line in text.splitlines())
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(("by", "number"), [("kdmsrb", 4), ("kd", 45_678), ("", 4)])
@pytest.mark.parametrize("width", [40, 80])
def test_no_line_is_wider_than_the_screen_whatever_stands_before_the_words(
    by: str, number: int, width: int
) -> None:
    said = build.wrote(Note, "AM-04", "07:00", by=by, note="it hisses at the hose " * 4)
    found = log("AM-04", build.book(build.rules(), build.enrolled("AM-04"), said), build.ask())
    last = found.lines[-1]
    last = last._replace(entry=replace(last.entry, seq=number))
    found = found._replace(lines=(*found.lines[:-1], last))
    here = Here(build.ZONE, build.t("10:00"))
    lines = [f"{row.head}{row.text}".rstrip() for row in views.rows(found, here, width)]
    assert max(map(len, lines)) <= width
    assert "it hisses at the hose it hisses" in " ".join(" ".join(lines).split())


def test_late_is_what_was_written_a_minute_after_it_was_true() -> None:
    book = build.book(
        build.rules(),
        build.enrolled("AM-04", recorded="2026-03-02T12:00"),
        build.passed("AM-04", "leak-test", "07:10", recorded="07:10:59"),
        build.passed("AM-04", "leak-test", "08:10", recorded="08:11"),
    )
    found = log("AM-04", book, build.ask())
    assert [line.late // 1_000_000 for line in found.lines] == [0, 59, 60]
    assert found.question.at == Instant(build.t("15:20"))


# On a terminal


class Terminal:
    """A terminal of 80 columns and 24 lines with the program in it."""

    def __init__(self, book: str, *words: str, **env: str) -> None:
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self.screen)
        kept = {k: v for k, v in os.environ.items() if k not in ("LESS", "PAGER", "COLUMNS")}
        self.child = pexpect.spawn(
            PROGRAM[0],
            [*PROGRAM[1:], "--db", str(book), *words],
            env={**kept, "TERM": "xterm-256color", **env},
            dimensions=(24, 80),
            timeout=20,
        )

    def until(self, text: str) -> None:
        """Reads until a text is shown; fails where it never is."""
        while not any(text in line for line in self.screen.display):
            self._stream.feed(self.child.read_nonblocking(4096, timeout=20))

    def to_the_end(self) -> int:
        """Reads all there is; the exit code."""
        try:
            while True:
                self._stream.feed(self.child.read_nonblocking(4096, timeout=20))
        except pexpect.EOF:
            self.child.close()
        code = self.child.exitstatus
        assert isinstance(code, int)
        return code

    def struck(self) -> str:
        """What is crossed out."""
        cells = (self.screen.buffer[y][x] for y in range(24) for x in range(80))
        return "".join(cell.data for cell in cells if cell.strikethrough)


@pytest.fixture
def struck(small: str) -> str:
    """A small book in which one pass was struck."""
    run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd")
    said = run("--db", small, "strike", "8", "--reason", "wrong machine", "--by", "kd")
    assert said.code == 0, said
    return small


def test_what_fits_is_printed_and_crossed_out(struck: str) -> None:
    terminal = Terminal(struck, "log", "AM-01", PAGER="false")
    assert terminal.to_the_end() == 0
    assert terminal.struck() == "(struck) Full self-test pass"


def test_what_does_not_fit_is_paged_from_the_newest_on(struck: str) -> None:
    for number in range(30):
        run("--db", struck, "note", "AM-01", f"number {number}", "--by", "kd")
    said = run("--db", struck, "strike", "38", "--reason", "not so", "--by", "kd")
    assert said.code == 0, said
    if subprocess.run(["which", "less"], capture_output=True).returncode:
        pytest.skip("there is no less")
    terminal = Terminal(struck, "log", "AM-01")
    terminal.until("(END)")
    assert "34 entries, 2 struck." in terminal.screen.display[22]
    assert "number 28" in terminal.struck()
    terminal.child.send("g")
    terminal.until("Log of AM-01")
    terminal.child.send("q")
    assert terminal.to_the_end() == 0


def test_a_pager_of_ones_own_gets_the_whole_log(struck: str, tmp_path: Path) -> None:
    for number in range(30):
        run("--db", struck, "note", "AM-01", f"number {number}", "--by", "kd")
    copy = tmp_path / "paged"
    terminal = Terminal(struck, "log", "AM-01", PAGER=f"cat > {copy}")
    assert terminal.to_the_end() == 0
    assert copy.read_text().count("Note") == 30


def test_since_a_time_of_day_that_is_still_to_come_is_since_yesterdays(morning: Clocked) -> None:
    whole = morning.at("2040-01-16T00:10", "log", "AM-02", "--since", "yesterday 07:40").out
    assert morning.at("2040-01-16T00:10", "log", "AM-02", "--since", "07:40").out == whole
