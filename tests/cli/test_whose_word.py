"""Whose word a result is, and by which rules: of whoever did it, and by those of then and now."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from tests.cli.line import Said, run

RULES = """
[rulebook]
title = "Small suite"
zone = "Europe/London"

[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["anaesthetic-machine", "ventilator"]
  [[check.validity]]
  valid_for = "PT24H"
"""

ASKING = """
[[role]]
code = "engineer"
title = "Engineer"
may = ["returned"]

[signatures]
fault-closed = "It is mended"
"""

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-01,anaesthetic-machine,type A,1,Theatre 1,theatre,2024-01-01
V-01,ventilator,type V,2,Theatre 1,theatre,2024-01-01
"""

#: xx knows one kind of machine, yy both.
PEOPLE = """\
code,roles,trained
xx,,anaesthetic-machine
yy,,anaesthetic-machine; ventilator
eb,engineer,anaesthetic-machine; ventilator
"""

PASS = ("done", "AM-01", "leak-test", "pass")
HEADING = "machine,what,at,started,outcome,measures,limits,until,place,of,by,note,ref"


def rules(asking: str = "", **more: str) -> str:
    head = "".join(f'{key} = "{value}"\n' for key, value in more.items())
    return RULES.replace("[rulebook]\n", f"[rulebook]\n{head}") + asking


class Book:
    """A book whose first rules are of five in the morning; a command has its own time."""

    def __init__(self, folder: Path, text: str) -> None:
        self.folder, self.url = folder, str(folder / "book.db")
        for name, content in (("fleet.csv", FLEET), ("people.csv", PEOPLE), ("rules.toml", text)):
            (folder / name).write_text(content)
        files = ["--rules", folder / "rules.toml", "--fleet", folder / "fleet.csv"]
        self.at("05:00", "begin", *files)
        self.at("05:00", "people", folder / "people.csv", "--yes")

    def at(self, time: str, *words: str | Path, code: int = 0) -> Said:
        with freeze_time(f"2040-01-15T{time}:00Z"):
            said = run("--db", self.url, *words)
        assert said.code == code, said
        return said

    def adopt(self, time: str, text: str) -> None:
        (self.folder / "next.toml").write_text(text)
        words = ("rules", "adopt", self.folder / "next.toml", "--why", "x", "--by", "eb", "--yes")
        self.at(time, *words)

    def wrote(self, time: str, *words: str) -> int:
        number: int = self.at(time, *words, "--json").document["entries"][0]
        return number

    def newest(self, machine: str) -> Any:
        return self.at("09:00", "log", machine, "--json").document["entries"][-1]

    def imports(self, time: str, *rows: str, code: int = 0) -> Said:
        (self.folder / "log.csv").write_text("\n".join((HEADING, *rows)) + "\n")
        return self.at(time, "import", self.folder / "log.csv", code=code)


STOPPED = {"untrained": "stopped", "unknown_person": "stopped"}


# A result that is moved to the machine it belongs to


@pytest.mark.parametrize(("author", "flag"), [("xx", "untrained"), ("zz", "unknown")])
def test_moved_by_another_it_stays_the_work_of_whoever_did_it(
    tmp_path: Path, author: str, flag: str
) -> None:
    book = Book(tmp_path, rules(**STOPPED))
    number = book.wrote("07:00", *PASS, "--by", author)
    book.at("07:10", "strike", str(number), "--reason", "tag", "--was", "V-01", "--by", "yy")
    book.at("07:20", "cleared", "V-01", code=1)
    moved = book.newest("V-01")
    assert (moved["by"], moved["details"]["flag"]) == ("yy", flag)


@pytest.mark.parametrize(("author", "mover", "code"), [("yy", "yy", 0), ("yy", "xx", 1)])
def test_both_must_be_trained_on_the_machine_that_was_meant(
    tmp_path: Path, author: str, mover: str, code: int
) -> None:
    book = Book(tmp_path, rules(**STOPPED))
    number = book.wrote("07:00", *PASS, "--by", author)
    book.at("07:10", "strike", str(number), "--reason", "tag", "--was", "V-01", "--by", mover)
    book.at("07:20", "cleared", "V-01", code=code)


def test_where_such_a_result_is_refused_nothing_is_struck_either(tmp_path: Path) -> None:
    book = Book(tmp_path, rules(untrained="refused"))
    number = book.wrote("07:00", *PASS, "--by", "xx")
    words = ("strike", str(number), "--reason", "tag", "--was", "V-01", "--by", "yy")
    said = book.at("07:10", *words, code=2)
    assert "a pass by whoever did it, who is untrained, is not taken" in said.err
    assert book.newest("AM-01")["entry"] == number


# A time before the rules that ask


@pytest.mark.parametrize(("by", "flag"), [("zz", "unknown"), ("eb", None)])
def test_a_time_before_the_rules_leaves_no_doubt_unseen(
    tmp_path: Path, by: str, flag: str | None
) -> None:
    book = Book(tmp_path, rules())
    book.adopt("07:00", rules(**STOPPED))
    book.at("08:00", *PASS, "--at", "06:30", "--by", by)
    assert book.newest("AM-01")["details"].get("flag") == flag
    book.at("08:01", "cleared", "AM-01", code=1 if flag else 0)


def test_nor_is_what_is_refused_now_taken_as_of_then(tmp_path: Path) -> None:
    book = Book(tmp_path, rules())
    book.adopt("07:00", rules(unknown_person="refused"))
    said = book.at("08:00", *PASS, "--at", "06:30", "--by", "zz", code=2)
    assert said.err.count("whom the book does not know, is not taken") == 1


def test_what_was_asked_then_is_asked_still(tmp_path: Path) -> None:
    book = Book(tmp_path, rules(**STOPPED))
    book.adopt("07:00", rules())
    book.at("08:00", *PASS, "--at", "06:30", "--by", "zz")
    assert book.newest("AM-01")["details"]["flag"] == "unknown"


def test_a_file_is_no_way_round_them_either(tmp_path: Path) -> None:
    """An old log is read in before they are adopted."""
    row = "V-01,returned,2040-01-15T06:30Z,,,,,,,,xx,,b"
    old = row.replace("V-01", "AM-01").replace(",b", ",a")
    book = Book(tmp_path, rules())
    book.imports("06:50", old)
    book.adopt("07:00", rules(ASKING, **STOPPED))
    refused = book.imports("08:00", row, code=2)
    assert refused.err.count("is for the role engineer") == 1
    book.imports("08:00", old)
    book.imports("08:00", "AM-01,leak-test,2040-01-15T06:40Z,,pass,,,,,,zz,,d")
    assert book.newest("AM-01")["details"]["flag"] == "unknown"


def test_nor_does_a_file_bring_what_is_signed_now(tmp_path: Path) -> None:
    book = Book(tmp_path, rules())
    book.adopt("07:00", rules(ASKING.replace("fault-closed", "leak-test")))
    book.imports("08:00", "AM-01,leak-test,2040-01-15T06:40Z,,pass,,,,,,yy,,d")
    assert book.newest("AM-01")["details"]["flag"] == "unsigned"
    book.at("08:10", "cleared", "AM-01", code=1)
