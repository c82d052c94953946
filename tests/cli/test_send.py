"""`send`: one kind of notice now, once, whatever runs it; what it prints and how it ends."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tests.cli.clocked import Clocked
from tests.cli.line import Said, run

NOTICES = """
[[recipient]]
code = "desk"
roles = ["coordinator"]
file = "desk.txt"

[[recipient]]
code = "engineer"
file = "engineer.txt"

[[recipient]]
code = "spare"
file = "spare.txt"

[[route]]
kinds = ["nightly-list"]
to = ["desk"]
times = ["05:30", "12:00"]

[[route]]
kinds = ["gate-failed"]
to = ["engineer"]
repeat = "PT30M"
"""


class Sending:
    """A book by a clock, with a notices file beside it."""

    def __init__(self, clocked: Clocked, folder: Path) -> None:
        self.clocked, self.folder = clocked, folder
        self.file = folder / "notices.toml"
        self.file.write_text(NOTICES)

    def at(self, time: str, *words: str, code: int) -> Said:
        return self.clocked.at(time, *words, "--notices", str(self.file), code=code)

    def told(self, who: str) -> list[str]:
        """The titles of what somebody got."""
        path = self.folder / f"{who}.txt"
        lines = path.read_text().splitlines() if path.exists() else []
        return [line.removeprefix("Subject: ") for line in lines if line.startswith("Subject: ")]

    def ready(self, time: str) -> None:
        """Everything is tested at a time."""
        for tag in ("AM-02", "AM-03"):
            self.clocked.at(time, "done", tag, "self-test", "pass")
            self.clocked.at(time, "done", tag, "leak-test", "pass", "--measure", "leak=60")
            self.clocked.at(time, "done", tag, "suction-test", "pass")
            self.clocked.at(time, "reading", tag, "hours=10", "--by", "kd")
            self.clocked.at(time, "done", tag, "filter", "pass")


@pytest.fixture
def sending(clocked: Clocked, tmp_path: Path) -> Sending:
    return Sending(clocked, tmp_path)


def tables(path: Path) -> list[str]:
    with sqlite3.connect(path) as conn:
        return list(conn.iterdump())


# How it ends


def test_something_is_overdue(sending: Sending) -> None:
    said = sending.at("06:10", "send", "nightly-list", code=1)
    assert said.out == ("desk: 2 of 2 machines to see to (handed over at 06:10 GMT)\n")
    assert said.err == ""
    assert sending.told("desk") == ["2 of 2 machines to see to"]


def test_nothing_is_overdue_and_that_is_told(sending: Sending) -> None:
    sending.ready("06:05")
    said = sending.at("06:10", "send", "nightly-list", code=0)
    title = "nothing owed on 2 machines; book last written 06:05 GMT"
    assert said.out == f"desk: {title} (handed over at 06:10 GMT)\n"
    assert sending.told("desk") == [title]


def test_what_nobody_took_is_told_and_made_good_by_the_next_run(sending: Sending) -> None:
    path = sending.folder / "desk.txt"
    path.mkdir()
    said = sending.at("06:10", "send", "nightly-list", code=7)
    assert said.out == ""
    assert said.err.startswith(f"desk: not handed over: file {path}: ")
    assert said.err.endswith("; it is tried again by the next run\n")
    path.rmdir()
    again = sending.at("06:20", "send", "nightly-list", code=1)
    assert "(handed over at 06:20 GMT)" in again.out
    # At once, whatever pause it was in, and once.
    third = sending.at("06:21", "send", "nightly-list", code=1)
    assert "(already handed over at 06:20 GMT)" in third.out
    assert sending.told("desk") == ["2 of 2 machines to see to"]


def test_what_nobody_took_is_made_good_by_a_run_of_another_kind(sending: Sending) -> None:
    path = sending.folder / "desk.txt"
    path.mkdir()
    sending.at("06:10", "send", "nightly-list", code=7)
    path.rmdir()
    said = sending.at("06:20", "send", "gate-failed", code=1)
    assert said.out == "There is nothing to tell: check failed.\n"
    assert sending.told("desk") == ["2 of 2 machines to see to"]


def test_a_book_that_is_not_believed_is_told_as_that(sending: Sending) -> None:
    sending.ready("06:05")
    said = sending.at("05:50", "send", "nightly-list", code=6)
    assert said.out.startswith("desk: cannot tell what is owed (handed over")


def test_without_a_book_nobody_can_tell(sending: Sending) -> None:
    nowhere = sending.folder / "nowhere.db"
    said = run("--db", nowhere, "send", "nightly-list", "--notices", sending.file)
    assert (said.code, said.out, sending.told("desk")) == (6, "", [])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nightly"], "KIND: 'nightly' is no kind of notice; did you mean \"nightly-list\"?"),
        (["x"], "KIND: 'x' is no kind of notice; write one of gate-failed, stop-use-fault"),
        (["stop-use-fault"], "stop-use-fault: no route says whom to tell; add a [[route]] with"),
        (["nightly-list", "--to", "dsk"], "--to: nobody is called 'dsk'; did you mean \"desk\"?"),
    ],
)
def test_wrong_use_says_what_to_type_instead(sending: Sending, words: list[str], told: str) -> None:
    said = sending.at("06:10", "send", *words, code=2)
    assert said.err.startswith(told)


def test_a_missing_or_mistaken_notices_file_is_refused(
    sending: Sending, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CHECKWATCH_NOTICES", raising=False)
    none = sending.clocked.at("06:10", "send", "nightly-list", code=2)
    assert none.err == (
        "--notices: which notices file says whom to tell?; name one with --notices FILE, or in "
        "CHECKWATCH_NOTICES\n"
    )
    monkeypatch.setenv("CHECKWATCH_NOTICES", str(sending.folder / "no.toml"))
    gone = sending.clocked.at("06:10", "send", "nightly-list", code=2)
    assert "no such file or directory; name the notices file with --notices" in gone.err
    sending.file.write_bytes(b"\xff\xfe")
    assert "is not utf-8; " in sending.at("06:10", "send", "nightly-list", code=2).err
    sending.file.write_text(NOTICES.replace('"gate-failed"', '"gate-fail"'))
    wrong = sending.at("06:10", "send", "nightly-list", code=2)
    assert wrong.err.startswith("notices.toml: route 2: kinds: 'gate-fail' is no kind of notice;")
    monkeypatch.setenv("CHECKWATCH_NOTICES", str(sending.file))
    sending.file.write_text(NOTICES)
    assert sending.clocked.at("06:10", "send", "nightly-list", code=1).out


def test_an_area_that_no_place_is_in_is_told_and_keeps_nobody_else_from_being_told(
    small: str, tmp_path: Path
) -> None:
    file = tmp_path / "notices.toml"
    file.write_text(NOTICES + 'areas = ["Nort"]\n')
    said = run("--db", small, "send", "gate-failed", "--notices", file)
    assert said.code == 1
    assert "route 2: areas: no place is in 'Nort'; did you mean \"North\"?\n" in said.err


# Once


def test_a_second_run_tells_nobody(sending: Sending) -> None:
    sending.at("06:10", "send", "nightly-list", code=1)
    before = tables(sending.clocked.book)
    said = sending.at("06:40", "send", "nightly-list", code=1)
    assert said.out == ("desk: 2 of 2 machines to see to (already handed over at 06:10 GMT)\n")
    assert len(sending.told("desk")) == 1
    assert tables(sending.clocked.book) == before


def test_another_time_of_the_route_is_another_list(sending: Sending) -> None:
    sending.at("06:10", "send", "nightly-list", code=1)
    sending.at("12:00", "send", "nightly-list", code=1)
    sending.at("2040-01-16T05:31", "send", "nightly-list", code=1)
    assert len(sending.told("desk")) == 3


def test_told_to_somebody_else_it_is_told_to_them_only(sending: Sending) -> None:
    said = sending.at("06:10", "send", "nightly-list", "--to", "spare", "--to", "engineer", code=1)
    assert {line.split(":")[0] for line in said.out.splitlines()} == {"engineer", "spare"}
    assert [len(sending.told(who)) for who in ("desk", "engineer", "spare")] == [0, 1, 1]
    sending.at("06:11", "send", "nightly-list", "--to", "coordinator", code=1)
    assert len(sending.told("desk")) == 1


def test_what_came_about_is_told_once_and_again_after_its_pause(sending: Sending) -> None:
    none = sending.at("06:08", "send", "gate-failed", code=1)
    assert none.out == "There is nothing to tell: check failed.\n"
    sending.clocked.at("06:10", "done", "AM-02", "suction-test", "fail", "--note", "weak")
    for time in ("06:11", "06:12", "06:41"):
        sending.at(time, "send", "gate-failed", code=1)
    assert sending.told("engineer") == ["AM-02, Theatre 2: suction test failed"] * 2


# Looking first


def test_a_dry_run_prints_the_message_and_writes_nothing(sending: Sending) -> None:
    before = tables(sending.clocked.book)
    said = sending.at("06:10", "send", "nightly-list", "--dry-run", code=1)
    assert said.out.startswith("To desk: 2 of 2 machines to see to\n\nSmall suite, as of ")
    assert tables(sending.clocked.book) == before
    assert sending.told("desk") == []
    sending.at("06:10", "send", "nightly-list", code=1)
    again = sending.at("06:11", "send", "nightly-list", "--dry-run", code=1)
    assert again.out == "Nobody would be told anything that was not told already.\n"


def test_what_a_dry_run_prints_is_what_is_sent(sending: Sending) -> None:
    shown = sending.at("06:10", "send", "nightly-list", "--dry-run", code=1).out
    sending.at("06:10", "send", "nightly-list", code=1)
    body = shown.partition("\n\n")[2].strip()
    assert body in (sending.folder / "desk.txt").read_text()
