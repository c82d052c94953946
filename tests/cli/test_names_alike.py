"""Names that differ only in capitals, blanks or forms of letters: none enters a book beside another
one, and in a book that has two already a question about either cannot be answered."""

from __future__ import annotations

from pathlib import Path

import pytest

from checkwatch.cli import quick
from checkwatch.core.entry import Enrolled, Entry, PlaceKnown
from checkwatch.run import clock
from checkwatch.run.foresee import changing
from checkwatch.store import journal
from tests.cli.conftest import FLEET, PLACES
from tests.cli.line import Said, run

KIND = "anaesthetic-machine"


def machine(tag: str) -> Enrolled:
    now = clock.now()
    return Enrolled(seq=0, machine=tag, at=now, recorded=now, kind=KIND, place="Theatre 1")


def place(name: str) -> PlaceKnown:
    now = clock.now()
    return PlaceKnown(seq=0, machine="", at=now, recorded=now, place=name, place_kind="theatre")


def older(book: str, *entries: Entry) -> None:
    """Writes names into a book as a program did that took them."""
    with changing(str(book), clock.now()) as conn:
        journal.append(conn, entries, clock.now())


@pytest.mark.parametrize(
    ("tag", "known"),
    [("am-01", "AM-01"), ("theatre 2", "Theatre 2"), ("Theatre  2", "Theatre 2")],
)
def test_a_machine_is_not_enrolled_under_a_name_like_one_that_is_known(
    small: str, tag: str, known: str
) -> None:
    said = run("--db", small, "enrol", tag, "--kind", KIND, "--place", "Theatre 1")
    assert (said.code, said.out) == (2, "")
    assert f"{tag}: '{tag}' cannot be told from '{known}'" in said.err
    assert run("--db", small, "cleared", known).code == 1


def begun(files: Path, tmp_path: Path, fleet: str, places: str = "") -> Said:
    """Begins a book with more rows in its files than those of the small suite."""
    words: list[str | Path] = []
    for option, text, more in (("--fleet", FLEET, fleet), ("--places", PLACES, places)):
        path = tmp_path / f"{option[2:]}.csv"
        path.write_text(text + more, encoding="utf-8")
        words += [option, path] if option == "--fleet" or places else []
    return run("--db", tmp_path / "new.db", "begin", "--rules", files / "rules.toml", *words)


@pytest.mark.parametrize(
    ("fleet", "places", "told"),
    [
        ("am-01,{},,,,,2024-01-01\n", "", "line 6: 'am-01' cannot be told from 'AM-01'"),
        ("theatre 2,{},,,,,2024-01-01\n", "", "'Theatre 2' cannot be told from 'theatre 2'"),
        (
            "AM-09,{},,,theatre 1,theatre,2024-01-01\n",
            "",
            "'theatre 1' cannot be told from 'Theatre 1'",
        ),
        ("", "theatre 1,theatre,,,\n", "'theatre 1' cannot be told from 'Theatre 1'"),
    ],
)
def test_no_book_begins_with_names_that_nobody_can_tell_apart(
    files: Path, tmp_path: Path, fleet: str, places: str, told: str
) -> None:
    said = begun(files, tmp_path, fleet.format(KIND), places)
    assert (said.code, said.out) == (2, "")
    assert told in said.err
    assert not (tmp_path / "new.db").exists()


def test_files_add_no_name_like_one_of_the_book(small: str, tmp_path: Path) -> None:
    heading = FLEET.splitlines()[0]
    for name, text, told in (
        (
            "fleet",
            f"{heading}\nam-02,{KIND},,,,,2024-01-01\n",
            "'am-02' cannot be told from 'AM-02",
        ),
        ("fleet", f"{heading}\nAM-09,{KIND},,,THEATRE 1,theatre,2024-01-01\n", "from 'Theatre 1'"),
        ("places", "place,place_kind\nam-02,theatre\n", "'am-02' cannot be told from 'AM-02'"),
        ("places", "place,place_kind\ntheatre 1,theatre\n", "from 'Theatre 1'"),
    ):
        path = tmp_path / "more.csv"
        path.write_text(text, encoding="utf-8")
        said = run("--db", small, "enrol", f"--{name}", path)
        assert (said.code, said.out, told in said.err) == (2, "", True), said.err
    path.write_text("place,place_kind\nBay 7,theatre\n", encoding="utf-8")
    beside = run("--db", small, "enrol", "bay 7", "--kind", KIND, "--places", path)
    assert "'bay 7' cannot be told from 'Bay 7'" in beside.err


def test_a_place_that_is_spelt_otherwise_is_not_asked_to_be_added(small: str) -> None:
    said = run("--db", small, "enrol", "AM-09", "--kind", KIND, "--place", "theatre 1")
    assert (said.code, "did you mean 'Theatre 1'?" in said.err) == (2, True)


@pytest.mark.parametrize(
    ("entry", "known", "spellings"),
    [
        (machine("am-01"), "the machine 'AM-01' and the machine 'am-01'", "AM-01,am-01,Am-01"),
        (
            machine("theatre 1"),
            "the place 'Theatre 1' and the machine 'theatre 1'",
            "Theatre 1,theatre 1,THEATRE 1",
        ),
        (
            place("THEATRE 1"),
            "the place 'THEATRE 1' and the place 'Theatre 1'",
            "THEATRE 1,Theatre 1,theatre  1",
        ),
    ],
)
def test_a_question_about_one_of_two_that_are_alike_cannot_be_answered(
    small: str, entry: Entry, known: str, spellings: str
) -> None:
    """The safe reading: also where it is spelt just as one of them (docs/decisions/0001)."""
    older(small, entry)
    run("--db", small, "done", "AM-02", "self-test", "pass", "--by", "kd")
    for name in spellings.split(","):
        assert quick.quick(["cleared", name, "--db", str(small)]) is None, "it has no outlook"
        for words in (["cleared", name], ["cleared", name, "--json"], ["why", name]):
            said = run("--db", small, *words)
            assert (said.code, said.out, known in said.err) == (6, "", True), said.err
    assert run("--db", small, "cleared", "AM-02").code == 0
    board = run("--db", small, "board", "--once").out
    assert all(name in board for name in ("AM-01", "Theatre 1"))


def test_an_entry_about_one_of_two_that_are_alike_needs_its_very_name(small: str) -> None:
    """A withdrawal that could not be written would leave the machine cleared on the board."""
    older(small, machine("am-01"))
    said = run("--db", small, "withdraw", "Am-01")
    assert (said.code, said.out, "'AM-01' and the machine 'am-01'" in said.err) == (6, "", True)
    said = run("--db", small, "withdraw", "AM-01", "--json")
    assert (said.code, said.document["machine"], said.document["standing"]) == (
        0,
        "AM-01",
        "withdrawn",
    )
