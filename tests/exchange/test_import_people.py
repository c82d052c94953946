"""What a file brings is looked at by its writer, as what is typed: roles, training, flags."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from checkwatch.core.entry import Flag, Result
from checkwatch.core.person import Person, Training
from checkwatch.run.people import erase, take_in
from checkwatch.run.setup import begin
from checkwatch.store import engine, read
from tests.cli.line import Said, run
from tests.exchange.department import NOW, RULES, machine
from tests.exchange.test_import_rows import log

ROLES = """
[[role]]
code = "engineer"
title = "Engineer"
may = ["returned"]
"""

SIGNED = """
[signatures]
returned = "I release it for use"
self-test = "I did it"
"""

ASKING = 'untrained = "stopped"\nunknown_person = "refused"\n'


@pytest.fixture
def book(tmp_path: Path) -> str:
    """kd is trained until 10 March 2026, the day of every row."""
    url = str(tmp_path / "book.db")
    rules = RULES.replace('title = "Invented"\n', f'title = "Invented"\n{ASKING}') + ROLES
    begin(url, NOW, rules, [machine("AM-01"), machine("AM-02")], [], "kd")
    trained = (Training("machine", date(2026, 3, 10)),)
    take_in(url, [Person(code="EB", roles=("engineer",)), Person(code="kd", trained=trained)])
    return url


def bring(book: str, *rows: str, reject: Path | None = None) -> Said:
    file = Path(book).with_name("log.csv")
    file.write_text(log(*rows))
    options = ["--reject", reject] if reject else []
    return run("--db", book, "import", file, *options)


def flags(book: str) -> list[Flag | None]:
    with engine.reading(book) as conn:
        return [entry.flag for entry in read.written(conn) if isinstance(entry, Result)]


def test_a_result_comes_in_with_its_flag(book: str) -> None:
    rows = [
        "AM-01 self-test 08:00 outcome=pass by=kd",
        "AM-01 self-test 09:00 outcome=pass by=EB",
        "AM-01 self-test 10:00 outcome=fail by=zz",
    ]
    said = bring(book, *rows)
    assert (said.code, "2 rows flagged: by somebody untrained or unknown." in said.out) == (0, True)
    assert flags(book) == [None, Flag.UNTRAINED, Flag.UNKNOWN]
    assert run("--db", book, "export").out.count(",untrained") == 1


def test_a_row_that_its_writer_may_not_write_is_refused_with_its_reason(book: str) -> None:
    said = bring(
        book,
        "AM-01 returned 08:00 by=kd",
        "AM-01 self-test 09:00 outcome=pass by=zz",
        "AM-01 self-test 10:00 outcome=pass",
        "AM-02 self-test 10:00 outcome=pass by=kd",
    )
    assert (said.code, said.out) == (2, "")
    assert said.err.splitlines() == [
        "log.csv: line 2: this is for the role engineer (Engineer), and 'kd' has no such role;"
        " let EB write it",
        "log.csv: line 3: a pass by 'zz', whom the book does not know, is not taken; see "
        "`checkwatch people`",
        "log.csv: line 4: a pass by nobody in particular is not taken; see `checkwatch people`",
        "3 mistakes; nothing is written",
    ]


def test_with_reject_it_takes_the_rows_of_its_machine_with_it(book: str, tmp_path: Path) -> None:
    rows = ["AM-01 returned 08:00 by=kd", "AM-02 self-test 10:00 outcome=pass by=kd"]
    bad = tmp_path / "bad.csv"
    said = bring(book, *rows, reject=bad)
    assert (said.code, "1 row written" in said.out) == (0, True)
    assert "has no such role" in bad.read_text()


def test_an_old_log_comes_in_without_codes(book: str) -> None:
    """Faults, strikings and bad results: nobody can tell any more who wrote them."""
    fault = "AM-01 fault 08:00 outcome=limit note=lamp ref=A"
    said = bring(book, fault, "AM-01 struck 09:00 of=A", "AM-01 self-test 10:00 outcome=fail")
    assert (said.code, flags(book)) == (0, [Flag.UNKNOWN])


@pytest.fixture
def signing(tmp_path: Path) -> str:
    """Rules that ask EB for a PIN, on returns and on passes of the self-test."""
    return with_pin(tmp_path / "signing.db", ROLES + SIGNED)


def with_pin(path: Path, roles: str) -> str:
    """A book in which EB has the PIN 2468."""
    begin(str(path), NOW, RULES + roles, [machine("AM-01"), machine("AM-02")], [], "kd")
    take_in(str(path), [Person(code="EB", roles=("engineer",))])
    assert run("--db", path, "people", "pin", "EB", piped="2468\n").code == 0
    return str(path)


def test_a_result_without_the_pin_that_is_asked_for_comes_in_and_counts_as_stopped(
    signing: str,
) -> None:
    """A fail asks for none, and a pass keeps its flag when other rules are in force."""
    said = bring(
        signing,
        "AM-01 self-test 09:00 outcome=pass by=EB",
        "AM-02 self-test 09:00 outcome=fail by=EB",
    )
    assert (said.code, "1 row unsigned: a PIN is asked" in said.out) == (0, True), said
    assert flags(signing) == [Flag.UNSIGNED, None]
    why = " ".join(run("--db", signing, "why", "AM-01", "--at", "2026-03-10T09:30Z").out.split())
    assert "its self-test came unsigned from a file, done on Tue 10 Mar" in why
    assert "by EB, unsigned" in why


def test_what_else_a_pin_is_asked_for_no_file_brings(signing: str) -> None:
    """As at a terminal: a machine would be back in use by a return that nobody released."""
    said = bring(signing, "AM-01 returned 08:00 by=EB")
    assert (said.code, said.out) == (2, "")
    assert said.err.splitlines()[0] == (
        "log.csv: line 2: a PIN is asked for returned, and a file brings none; write it at the"
        " machine, with --at; or adopt the rules that ask after the import"
    )


def sign(book: str, *words: str) -> None:
    said = run("--db", book, *words, "--by", "EB", "--pin-stdin", piped="2468\n")
    assert said.code == 0, said.err


def exported(book: str, name: str) -> Path:
    file = Path(book).with_name(name)
    assert run("--db", book, "export", "--out", file).code == 0
    return file


def test_a_signature_is_told_in_an_export_and_is_none_in_another_book(
    signing: str, tmp_path: Path
) -> None:
    """Nor does a cell that somebody writes into the file make one."""
    sign(signing, "done", "AM-01", "self-test", "pass")
    file = exported(signing, "out.csv")
    assert file.read_text().count(",I did it") == 1
    other = with_pin(tmp_path / "other.db", ROLES + SIGNED)
    said = run("--db", other, "import", file)
    assert (said.code, "1 row unsigned" in said.out) == (0, True), said
    (entry,) = run("--db", other, "log", "AM-01", "--json").document["entries"][-1:]
    assert (entry["signed"], entry["details"]["flag"]) == ("", "unsigned")
    assert "its self-test came unsigned" in run("--db", other, "cleared", "AM-01").out
    again = exported(other, "again.csv").read_text()
    assert (again.count("I did it"), again.count(",unsigned,")) == (0, 1)


def test_read_again_by_its_own_book_a_signed_row_is_skipped_and_stays_signed(signing: str) -> None:
    sign(signing, "return", "AM-01")
    sign(signing, "done", "AM-01", "self-test", "pass")
    said = run("--db", signing, "import", exported(signing, "out.csv"))
    assert (said.code, "2 rows skipped" in said.out) == (0, True), said
    entries = run("--db", signing, "log", "AM-01", "--json").document["entries"]
    assert [one["signed"] for one in entries if one["signed"]] == [
        "I release it for use",
        "I did it",
    ]


def test_rules_that_ask_no_pin_take_an_export_of_signed_entries(
    signing: str, tmp_path: Path
) -> None:
    """The way for an old log: import first, then adopt the rules that ask."""
    sign(signing, "return", "AM-01")
    other = with_pin(tmp_path / "other.db", ROLES)
    assert run("--db", other, "import", exported(signing, "out.csv")).code == 0
    entries = run("--db", other, "log", "AM-01", "--json").document["entries"]
    assert ([one["what"] for one in entries][-1], entries[-1]["signed"]) == ("returned", "")


def test_an_unsigned_pass_is_put_right_by_one_that_is_signed(signing: str) -> None:
    assert bring(signing, "AM-01 self-test 09:00 outcome=pass by=EB").code == 0
    sign(signing, "done", "AM-01", "self-test", "pass", "--at", "2026-03-10T09:00Z")
    why = run("--db", signing, "why", "AM-01", "--at", "2026-03-10T09:30Z").out
    assert "(self-test, gate): valid since" in " ".join(why.split())


def test_a_row_that_the_book_has_is_skipped_whoever_may_write_it_now(book: str) -> None:
    """A job sends the whole log each night, and people leave."""
    rows = ["AM-01 returned 08:00 by=EB ref=A", "AM-01 self-test 09:00 outcome=pass by=kd ref=B"]
    assert bring(book, *rows).code == 0
    for code in ("EB", "kd"):
        erase(book, code)
    said = bring(book, *rows)
    assert (said.code, "2 rows skipped" in said.out, flags(book)) == (0, True, [None])
    assert bring(book, "AM-01 returned 08:30 by=EB ref=C").code == 2


def test_what_was_signed_and_flagged_is_the_same_when_it_is_read_again(book: str) -> None:
    assert bring(book, "AM-01 self-test 09:00 outcome=pass by=EB").code == 0
    out = Path(book).with_name("out.csv")
    assert run("--db", book, "export", "--out", out).code == 0
    take_in(book, [Person(code="EB", trained=(Training("machine"),))])
    said = run("--db", book, "import", out)
    assert (said.code, "1 row skipped" in said.out) == (0, True), said.err
