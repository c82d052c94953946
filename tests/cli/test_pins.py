"""PINs: set, asked for what the rulebook names, not to be tried out, kept by what they mean."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from unittest import mock

import pytest
from freezegun import freeze_time

from tests.cli.clocked import FLEET, RULES
from tests.cli.line import PROGRAM, Said, run
from tests.terminal import Terminal

SIGNATURES = """
[signatures]
returned = "I release it for use"
restore = "It never was"
adopt = "I answer for these rules"
leak-test = "I did it"
"""

PASS = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "EB"]
RETURN = ["return", "AM-02", "--by", "EB"]


@pytest.fixture
def book(tmp_path: Path) -> str:
    """EB has the PIN 2468; kd has none."""
    people = "code,shared\nEB,\nkd,\nscreen,yes\n"
    rules = RULES + SIGNATURES
    for name, text in (("rules.toml", rules), ("fleet.csv", FLEET), ("people.csv", people)):
        (tmp_path / name).write_text(text)
    url = str(tmp_path / "book.db")
    files = ["--rules", tmp_path / "rules.toml", "--fleet", tmp_path / "fleet.csv"]
    assert run("--db", url, "begin", *files).code == 0
    assert run("--db", url, "people", tmp_path / "people.csv", "--yes").code == 0
    assert run("--db", url, "people", "pin", "EB", piped="2468\n").code == 0
    return url


def typed(book: str, pin: str, *words: str | Path, at: str | None = None) -> Said:
    """A command with a PIN on standard input."""
    with freeze_time(at) if at else mock.MagicMock():
        return run("--db", book, *words, "--pin-stdin", piped=f"{pin}\n")


def newest(book: str) -> dict[str, object]:
    entry: dict[str, object] = run("--db", book, "log", "AM-02", "--json").document["entries"][-1]
    return entry


def test_what_a_pin_stands_for_stands_in_the_entry_and_wherever_it_is_shown(book: str) -> None:
    said = typed(book, "2468", *RETURN)
    assert said.code == 0, said.err
    assert said.err == 'EB signs: "I release it for use"\n'
    assert 'It is signed: "I release it for use".' in said.out
    assert newest(book)["signed"] == "I release it for use"
    (wrote,) = typed(book, "2468", *PASS, "--json").document["written"]
    assert (wrote["what"], wrote["by"], wrote["signed"]) == ("leak-test", "EB", "I did it")
    log = " ".join(run("--db", book, "log", "AM-02").out.split())
    assert 'signed: "I release it for use"' in log
    assert typed(book, "2468", *PASS).code == 0
    assert 'by EB, signed: "I did it"' in " ".join(run("--db", book, "why", "AM-02").out.split())
    assert run("--db", book, "verify").code == 0


def test_without_the_right_pin_nothing_is_written(book: str) -> None:
    before = run("--db", book, "export").out
    said = run("--db", book, *RETURN)
    assert (said.code, said.out) == (2, "")
    assert said.err == (
        "EB: their PIN is needed, which says: 'I release it for use'; type it at a terminal, or"
        " add --pin-stdin\n"
    )
    said = typed(book, "2469", *RETURN)
    assert (said.code, said.out) == (2, "")
    assert "EB: that is not their PIN; nothing was written; try again" in said.err
    assert "kd: has no PIN yet; set one with `checkwatch people pin kd`" in (
        typed(book, "2468", "return", "AM-02", "--by", "kd").err
    )
    for by, what in (("zz", "does not know 'zz'"), ("screen", "several people share")):
        said = typed(book, "2468", "return", "AM-02", "--by", by)
        assert (said.code, what in said.err) == (2, True)
    said = run("--db", book, *RETURN, "--pin-stdin")
    assert (said.code, "standard input has ended" in said.err) == (2, True)
    assert run("--db", book, "export").out == before


def test_what_if_asks_no_pin(book: str) -> None:
    assert run("--db", book, *RETURN, "--what-if").code == 0


@pytest.mark.parametrize(
    ("words", "signed"),
    [
        (["done", "AM-02", "leak-test", "fail", "--by", "EB"], ""),
        (["done", "AM-02", "suction-test", "pass", "--by", "EB"], ""),
        (["withdraw", "AM-02"], ""),
        (PASS, "I did it"),
        (["return", "AM-02", "--by", "eb"], "I release it for use"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else value,
)
def test_a_pin_is_asked_for_what_the_rules_name_and_could_clear(
    book: str, words: list[str], signed: str
) -> None:
    said = typed(book, "2468", *words)
    assert (said.code, newest(book)["signed"]) == (0, signed)


def test_only_a_striking_that_restores_asks_for_one(book: str) -> None:
    number = run("--db", book, "happened", "AM-02", "circuit-change", "--json").document["entries"]
    strike = ["strike", str(number[0]), "--reason", "AM-03 it was", "--by", "EB"]
    assert run("--db", book, *strike).code == 0
    assert run("--db", book, *strike, "--restores").code == 2
    assert typed(book, "2468", *strike, "--restores").code == 0
    log = run("--db", book, "log", "AM-02", "--json").document["entries"]
    assert {one["signed"] for one in log if one["what"] == "struck"} == {"", "It never was"}


def test_rules_are_adopted_with_a_pin(book: str, tmp_path: Path) -> None:
    file = tmp_path / "rules.toml"
    file.write_text(file.read_text().replace("PT24H", "PT12H"))
    adopt = ["rules", "adopt", file, "--why", "shorter", "--by", "EB", "--yes"]
    assert "their PIN is needed" in run("--db", book, *adopt).err
    assert typed(book, "2468", *adopt).code == 0
    shown = run("--db", book, "log", "--json").document["entries"]
    assert [one["signed"] for one in shown if one["what"] == "adopted"] == [
        "",
        "I answer for these rules",
    ]


@pytest.mark.usefixtures("book")
def test_a_time_before_the_rules_that_ask_for_a_pin_is_no_way_round_it(tmp_path: Path) -> None:
    """The first version asks none; the one in force when it is written does."""
    file, url = tmp_path / "free.toml", str(tmp_path / "late.db")
    file.write_text(RULES)
    files = ["--rules", file, "--fleet", tmp_path / "fleet.csv"]
    with freeze_time("2040-01-15T05:00:00Z"):
        assert run("--db", url, "begin", *files).code == 0
        assert run("--db", url, "people", tmp_path / "people.csv", "--yes").code == 0
        assert run("--db", url, "people", "pin", "EB", piped="2468\n").code == 0
    adopt = ["rules", "adopt", tmp_path / "rules.toml", "--why", "PINs", "--by", "EB", "--yes"]
    with freeze_time("2040-01-15T06:00:00Z"):
        assert run("--db", url, *adopt).code == 0
    back = [*RETURN, "--at", "2040-01-15T05:45"]
    with freeze_time("2040-01-15T08:00:00Z"):
        assert "their PIN is needed" in run("--db", url, *back).err
    assert typed(url, "2468", *back, at="2040-01-15T08:00:00Z").code == 0
    with freeze_time("2040-01-15T08:01:00Z"):
        assert '"I release it for use"' in run("--db", url, "log", "AM-02").out


def test_what_comes_from_a_file_is_shown_as_unsigned(book: str, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    heading = "machine,what,at,started,outcome,measures,limits,until,place,of,by,note,ref"
    file.write_text(f"{heading}\nAM-02,leak-test,2026-01-02T09:00Z,,pass,leak=60,,,,,EB,,\n")
    said = run("--db", book, "import", file)
    assert (said.code, "1 row unsigned: a PIN is asked" in said.out) == (0, True)
    assert "unsigned" in run("--db", book, "log", "AM-02").out
    assert "by EB, unsigned" in " ".join(run("--db", book, "why", "AM-02").out.split())


# Not to be tried out


def wait(said: Said) -> str:
    return said.err.rpartition("; ")[2].strip()


def test_wrong_pins_cost_more_and_more_time_and_a_right_one_ends_that(book: str) -> None:
    """Whoever tries must wait, whatever is typed meanwhile; a right PIN, too."""
    said = [typed(book, "1111", *RETURN, at="2040-01-15T08:00:00Z") for _ in range(4)]
    assert [wait(one) for one in said] == [
        "try again", "try again", "wait 1 minute before you try again", "wait 1 minute",
    ]  # fmt: skip
    early = typed(book, "2468", *RETURN, at="2040-01-15T08:00:59Z")
    assert (early.code, wait(early)) == (2, "wait 1 minute")
    assert "EB: 3 wrong PINs in a row: none is looked at yet" in early.err
    assert wait(typed(book, "1111", *RETURN, at="2040-01-15T08:01:00Z")).startswith("wait 2 min")
    assert wait(typed(book, "2468", *RETURN, at="2040-01-15T08:02:00Z")) == "wait 1 minute"
    assert typed(book, "2468", *RETURN, at="2040-01-15T08:03:00Z").code == 0
    assert wait(typed(book, "1111", *RETURN, at="2040-01-15T08:03:00Z")) == "try again"


def test_the_longest_wait_is_an_hour(book: str) -> None:
    with closing(sqlite3.connect(book)) as conn, conn:
        conn.execute("UPDATE people SET pin_wrong = 40")
    said = typed(book, "1111", *RETURN, at="2040-01-15T08:00:00Z")
    assert wait(said) == "wait an hour before you try again"
    assert typed(book, "2468", *RETURN, at="2040-01-15T09:00:00Z").code == 0


def test_the_wrong_pins_of_one_cost_another_nothing(book: str) -> None:
    run("--db", book, "people", "pin", "kd", piped="abcd\n")
    for _ in range(4):
        typed(book, "1111", *RETURN)
    assert typed(book, "abcd", "return", "AM-02", "--by", "kd").code == 0


# Set and changed


def test_whoever_has_a_pin_needs_it_to_change_it(book: str) -> None:
    wrong = run("--db", book, "people", "pin", "EB", piped="1111\n9999\n")
    assert (wrong.code, "that is not their PIN" in wrong.err) == (2, True)
    assert run("--db", book, "people", "pin", "EB", piped="2468\n9999\n").code == 0
    assert typed(book, "2468", *RETURN).code == 2
    assert typed(book, "9999", *RETURN).code == 0


def test_of_a_pin_only_a_hash_is_kept(book: str) -> None:
    run("--db", book, "people", "pin", "kd", piped="correct horse\n")
    assert b"correct horse" not in Path(book).read_bytes()
    with closing(sqlite3.connect(book)) as conn:
        ((held,),) = conn.execute("SELECT pin FROM people WHERE code = 'kd'").fetchall()
    assert held.startswith("$argon2id$v=19$")


@pytest.mark.parametrize("held", ["x", "é", "$argon2id$v=19$m=65536,t=3,p=4$AAAA"])
def test_a_pin_that_the_book_holds_spoilt_is_told_with_the_way_out(
    book: str, tmp_path: Path, held: str
) -> None:
    with closing(sqlite3.connect(book)) as conn, conn:
        conn.execute("UPDATE people SET pin = ? WHERE code = 'EB'", (held,))
    said = typed(book, "2468", *RETURN)
    assert (said.code, newest(book)["what"]) == (2, "enrolled")
    assert said.err.endswith(
        "EB: the book holds their PIN in a form that nobody can read; `checkwatch people --erase"
        " EB`, read the people file in again, set a new one\n"
    )
    test_who_is_erased_and_read_in_again_has_none(book, tmp_path)


def test_bytes_that_are_no_text_are_a_wrong_pin(book: str) -> None:
    """As Python gives them where a stream is to take any; and where it is not, they are refused."""
    said = typed(book, "2468\udcff", *RETURN)
    assert "EB: that is not their PIN; nothing was written; try again" in said.err
    done = subprocess.run(
        [*PROGRAM, "--db", book, *RETURN, "--pin-stdin"],
        input=b"2468\xff\n",
        env={**os.environ, "PYTHONUTF8": "0", "PYTHONIOENCODING": "utf-8:strict"},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2, done
    assert done.stderr.endswith(b"PIN: holds what is no letter; type letters and digits\n")
    assert newest(book)["what"] == "enrolled"


def test_who_is_erased_and_read_in_again_has_none(book: str, tmp_path: Path) -> None:
    """That is what is done where one was forgotten."""
    assert run("--db", book, "people", "--erase", "EB", "--yes").code == 0
    assert run("--db", book, "people", tmp_path / "people.csv", "--yes").code == 0
    assert run("--db", book, "people", "pin", "EB", piped="1357\n").code == 0
    assert typed(book, "1357", *RETURN).code == 0


def test_a_people_file_takes_no_pin_away(book: str, tmp_path: Path) -> None:
    (tmp_path / "people.csv").write_text("code,name\nEB,Edda Bo\n")
    assert run("--db", book, "people", tmp_path / "people.csv", "--yes").code == 0
    assert typed(book, "2468", *RETURN).code == 0


@pytest.mark.parametrize(
    ("pin", "said"),
    [
        ("123", "PIN: is shorter than 4 characters; choose a longer one"),
        ("", "PIN: is shorter than 4 characters"),
        ("1" * 101, "PIN: is longer than 100 characters"),
        (" 1234", "PIN: has blanks at an end, or what cannot be printed"),
        ("12\x0034", "PIN: has blanks at an end, or what cannot be printed"),
        ("12\x1b[A34", "PIN: has blanks at an end, or what cannot be printed"),
    ],
)
def test_what_is_no_pin_is_refused(book: str, pin: str, said: str) -> None:
    refused = run("--db", book, "people", "pin", "kd", piped=f"{pin}\n")
    assert (refused.code, refused.out) == (2, "")
    assert said in refused.err


def test_nobody_sets_one_for_a_code_that_several_share_or_nobody_has(book: str) -> None:
    said = run("--db", book, "people", "pin", "screen", piped="1234\n")
    assert "several people share this code, so a PIN would be no one's" in said.err
    assert "the book knows nobody of this code" in run("--db", book, "people", "pin", "zz").err


def test_without_the_extra_one_line_says_what_to_install(
    book: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "argon2", None)
    for said in (
        run("--db", book, "people", "pin", "kd", piped="1234\n"),
        typed(book, "2468", *RETURN),
    ):
        assert (said.code, said.out) == (2, "")
        assert said.err.endswith(
            "PIN: needs argon2-cffi; install checkwatch with its extra `pin`: pip install"
            " 'checkwatch[pin]'\n"
        )


# At a terminal


@pytest.fixture
def terminals(book: str) -> Iterator[list[Terminal]]:
    del book
    opened: list[Terminal] = []
    yield opened
    for terminal in opened:
        terminal.program.close(force=True)


def opened(terminals: list[Terminal], book: str, *words: str) -> Terminal:
    terminals.append(Terminal(60, 24, "--db", book, *words))
    return terminals[-1]


def test_a_pin_is_typed_unseen(book: str, terminals: list[Terminal]) -> None:
    terminal = opened(terminals, book, *RETURN)
    terminal.wait("PIN:")
    terminal.program.send("2468\r")
    code, shown = terminal.ended()
    assert code == 0
    assert 'EB signs: "I release it for use"' in shown
    assert "2468" not in terminal.sent


def test_a_new_pin_is_typed_twice(book: str, terminals: list[Terminal]) -> None:
    terminal = opened(terminals, book, "people", "pin", "kd")
    terminal.wait("The new PIN:")
    terminal.types("1357", "The same again:")
    terminal.program.send("1357\r")
    code, shown = terminal.ended()
    assert (code, "The PIN of kd is set." in shown) == (0, True)
    assert "1357" not in terminal.sent


def test_what_is_no_pin_is_asked_for_again_and_never_shown(
    book: str, terminals: list[Terminal]
) -> None:
    terminal = opened(terminals, book, "people", "pin", "kd")
    terminal.wait("The new PIN:")
    assert "is shorter than 4 characters" in terminal.types("91", "The new PIN:")
    terminal.types("9134", "The same again:")
    assert "the two are not the same" in terminal.types("9135", "The new PIN:")
    for _ in range(5):
        assert "is shorter than 4 characters" in terminal.types("91", "The new PIN:")
    terminal.types("9134", "The same again:")
    terminal.program.send("9134\r")
    code, shown = terminal.ended()
    assert (code, "The PIN of kd is set." in shown) == (0, True)
    assert "91" not in terminal.sent


def test_a_wrong_pin_until_now_is_asked_for_again(book: str, terminals: list[Terminal]) -> None:
    terminal = opened(terminals, book, "people", "pin", "EB")
    terminal.wait("The PIN until now:")
    assert "that is not their PIN" in terminal.types("1111", "The PIN until now:")
    terminal.types("2468", "The new PIN:")
    terminal.program.send("\x03")
    assert terminal.ended()[0] == 130
    assert typed(book, "2468", *RETURN).code == 0, "it is what it was"


@pytest.mark.parametrize("key", ["\x03", "\x04"], ids=["Ctrl-C", "Ctrl-D"])
def test_who_leaves_at_the_question_writes_nothing(
    book: str, terminals: list[Terminal], key: str
) -> None:
    terminal = opened(terminals, book, *RETURN)
    terminal.wait("PIN:")
    terminal.program.send(key)
    assert terminal.ended()[0] == 130
    assert newest(book)["what"] == "enrolled"
