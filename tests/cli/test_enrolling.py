"""Making a book and adding to it: what files say of places that it knows, and what is told."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from threading import Barrier, BrokenBarrierError

import pytest
from freezegun import freeze_time
from sqlalchemy import Connection

from checkwatch.cli import quick
from checkwatch.core.entry import Adopted, Enrolled
from checkwatch.core.instant import Instant
from checkwatch.errors import WrongUse
from checkwatch.exchange.places import Files
from checkwatch.run import setup
from checkwatch.run.world import Asked, Concerns, ask_on
from checkwatch.store import migrate
from tests.cli.conftest import FLEET, PLACES, RULES
from tests.cli.line import Said, run

COLUMNS = "tag,kind,model,serial,place,place_kind,commissioned"
SPARE = "AM-11,anaesthetic-machine,type A,11,Store,store,2024-01-01"
NEW = "AM-10,anaesthetic-machine,type A,10,Theatre 1,{},2024-01-01"


@pytest.fixture
def beside(files: Path, tmp_path: Path) -> str:
    """The small book with a room that belongs to Theatre 1: AM-05 in it is not tested, AM-01 is."""
    book = str(tmp_path / "book.db")
    fleet, places = tmp_path / "fleet.csv", tmp_path / "places.csv"
    fleet.write_text(f"{FLEET}AM-05,anaesthetic-machine,type A,5,Room 1,theatre,2024-01-01\n")
    places.write_text(PLACES.replace("North,1,", "North,1,Room 1") + "Room 1,theatre,North,9,\n")
    begin = ("begin", "--rules", files / "rules.toml", "--fleet", fleet, "--places", places)
    assert run("--db", book, *begin, "--by", "kd").code == 0
    assert run("--db", book, "done", "AM-01", "self-test", "pass", "--by", "kd").code == 0
    return book


def enrolled(book: str, tmp_path: Path, fleet: str = "", places: str = "", *more: str) -> Said:
    """Enrols rows of a fleet file and of a places file."""
    words: list[str | Path] = [*more]
    for option, text in (("--fleet", fleet), ("--places", places)):
        if text:
            path = tmp_path / f"more{option}.csv"
            path.write_text(text)
            words += [option, path]
    return run("--db", book, "enrol", *words)


def places_of(book: str, tmp_path: Path) -> list[str]:
    """The lines of the book's places file."""
    path = tmp_path / "exported.csv"
    out = run("--db", book, "export", "--places", path, "--out", tmp_path / "log.csv")
    assert out.code == 0
    return path.read_text(encoding="utf-8").splitlines()[1:]


@pytest.mark.parametrize("kind", ["theatre", ""])
def test_a_fleet_file_takes_nothing_from_a_place_that_the_book_knows(
    beside: str, tmp_path: Path, kind: str
) -> None:
    before = places_of(beside, tmp_path)
    assert run("--db", beside, "cleared", "Theatre 1").code == 1
    said = enrolled(beside, tmp_path, "\n".join((COLUMNS, NEW.format(kind), SPARE)))
    assert (said.code, said.err) == (0, _STORE)
    assert "Entries 11 to 13 written." in said.out
    assert "New place: Store." in said.out
    assert run("--db", beside, "cleared", "Theatre 1").code == 1
    assert places_of(beside, tmp_path) == [*before, "Store,store,,10,"]


_STORE = "warning: the rulebook does not know the place kind 'store': its places are unknown\n"


def test_a_fleet_file_does_not_change_the_kind_of_a_place(beside: str, tmp_path: Path) -> None:
    said = enrolled(beside, tmp_path, f"{COLUMNS}\n{NEW.format('store')}")
    assert (said.code, said.out) == (2, "")
    assert "line 2: the place 'Theatre 1' is 'store' here and 'theatre' elsewhere; a" in said.err
    assert run("--db", beside, "cleared", "AM-10").code == 6


def test_a_places_file_is_read_together_with_the_places_of_the_book(
    beside: str, tmp_path: Path
) -> None:
    heading = PLACES.splitlines()[0]
    said = enrolled(beside, tmp_path, "", f"{heading}\nTheatre 3,theatre,South,3,Room 1\n")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("Entry 11 written.\nNew place: Theatre 3.\n")
    circle = enrolled(beside, tmp_path, "", f"{heading}\nRoom 1,theatre,North,9,Theatre 1\n")
    assert circle.code == 2
    assert "go in a circle" in circle.err
    assert "AM-01" in enrolled(beside, tmp_path, "", f"{heading}\nAM-01,theatre,,,\n").err


def test_a_place_that_is_declared_anew_is_told_with_what_was_known(
    beside: str, tmp_path: Path
) -> None:
    again = enrolled(beside, tmp_path, "", "\n".join(_exported(beside, tmp_path)))
    assert again.out == "The book knows all of this already; nothing was written.\n"
    text = "place,place_kind,order\nTheatre 1,threatre,1\n"
    said = enrolled(beside, tmp_path, "", text)
    assert (said.code, said.out) == (2, "")
    assert said.err == (
        "Theatre 1: is known otherwise: place_kind is 'theatre', not 'threatre', "
        "area is 'North', not '', with is 'Room 1', not ''; add --yes if that is meant\n"
    )
    said = enrolled(beside, tmp_path, "", text, "--yes")
    assert "Theatre 1 is now unknown" in said.out
    assert said.err.splitlines() == [
        "warning: the rulebook does not know the place kind 'threatre': its places are unknown",
    ]
    answer = run("--db", beside, "cleared", "Theatre 1")
    assert answer.code == 6
    assert 'the rulebook does not know its kind, "threatre"' in answer.out.replace("\n", " ")


def _exported(book: str, tmp_path: Path) -> list[str]:
    return [PLACES.splitlines()[0], *places_of(book, tmp_path)]


def test_a_question_of_the_past_goes_by_the_places_of_then(beside: str, tmp_path: Path) -> None:
    with freeze_time("2040-06-01T10:00:00Z"):
        assert run("--db", beside, "done", "AM-01", "self-test", "pass", "--by", "kd").code == 0
    with freeze_time("2040-06-01T12:00:00Z"):
        said = enrolled(beside, tmp_path, "", "place,place_kind\nTheatre 1,theatre\n", "--yes")
        assert said.code == 0
        assert "Theatre 1 (AM-01) is now cleared until" in said.out
        here = ["--db", beside, "cleared", "Theatre 1"]
        assert run(*here).code == 0
        assert run(*here, "--at", "2040-06-01T11:00Z").code == 1
        assert run(*here, "--known-at", "2040-06-01T11:00Z").code == 1
        early = run(*here, "--known-at", "2020-01-01T00:00Z")
        assert early.code == 6
        board = run("--db", beside, "board", "--once", "--known-at", "2040-06-01T11:00Z")
        assert "no known place" not in board.out


def test_the_last_word_on_a_place_is_the_last_also_by_a_clock_that_is_behind(
    beside: str, tmp_path: Path
) -> None:
    lines = (
        "place,place_kind,with\nTheatre 1,theatre,\n",
        "place,place_kind,with\nTheatre 1,theatre,Room 1\n",
    )
    for clock, text in zip(("12:01:00", "12:00:00"), lines, strict=True):
        with freeze_time(f"2040-06-01T{clock}Z"):
            assert enrolled(beside, tmp_path, "", text, "--yes").code == 0
    with freeze_time("2040-06-01T12:02:00Z"):
        assert places_of(beside, tmp_path)[0] == "Theatre 1,theatre,,1,Room 1"
        assert run("--db", beside, "done", "AM-01", "self-test", "pass", "--by", "kd").code == 0
        assert run("--db", beside, "cleared", "Theatre 1").code == 1


def test_a_name_that_is_a_tag_and_a_place_begins_no_book(files: Path, tmp_path: Path) -> None:
    fleet = tmp_path / "fleet.csv"
    fleet.write_text(f"{FLEET}Theatre 1,anaesthetic-machine,type A,5,AM-01,theatre,2024-01-01\n")
    words: list[str | Path] = ["begin", "--rules", files / "rules.toml", "--fleet", fleet]
    said = run("--db", tmp_path / "new.db", *words)
    assert (said.code, said.out) == (2, "")
    for line, name in (("2", "AM-01"), ("6", "Theatre 1")):
        text = f"line {line}: '{name}' is the tag of a machine and the name of a place"
        assert text in said.err
    assert not (tmp_path / "new.db").exists()


def test_a_machine_to_which_no_gate_applies_is_told(small: str) -> None:
    said = run("--db", small, "enrol", "AM-77", "--kind", "kettle", "--place", "Theatre 1")
    assert (said.code, said.out) == (0, "Entry 8 written.\nAM-77 is enrolled.\n")
    warning = "warning: no gate of the rulebook applies to AM-77 (kettle): it is unknown"
    assert warning in said.err.splitlines()
    known = run("--db", small, "enrol", "AM-78", "--kind", "anaesthetic-machine")
    assert (known.out, "warning" in known.err) == (
        "Entry 9 written.\nAM-78 is enrolled; every check of it is owed.\n",
        False,
    )


def test_what_if_says_what_enrolling_would_write_and_writes_nothing(
    beside: str, tmp_path: Path
) -> None:
    before = run("--db", beside, "export").out, places_of(beside, tmp_path)
    fleet = "\n".join((COLUMNS, NEW.format("theatre"), SPARE))
    places = f"{PLACES.splitlines()[0]}\nTheatre 3,theatre,South,3,Room 1\nStore,store,,9,\n"
    said = enrolled(beside, tmp_path, fleet, places, "--what-if")
    assert (said.code, said.err) == (0, _STORE)
    assert said.out.splitlines()[:5] == [
        "Nothing is written; if it were:",
        "AM-10 would be enrolled; every check of it would be owed.",
        "AM-11 would be enrolled; every check of it would be owed.",
        "New places: Theatre 3 and Store.",
        "Theatre 3 (AM-05) would be not cleared: it lacks 1 anaesthetic machine; its full",
    ]
    assert (run("--db", beside, "export").out, places_of(beside, tmp_path)) == before
    assert enrolled(beside, tmp_path, fleet, places).out.splitlines()[:5] == [
        "Entries 11 to 14 written.",
        "AM-10 is enrolled; every check of it is owed.",
        "AM-11 is enrolled; every check of it is owed.",
        "New places: Theatre 3 and Store.",
        "Theatre 3 (AM-05) is now not cleared: it lacks 1 anaesthetic machine; its full",
    ]


def test_what_would_be_refused_is_refused_also_by_what_if(beside: str, tmp_path: Path) -> None:
    text = "place,place_kind\nTheatre 1,store\n"
    said, wrote = (enrolled(beside, tmp_path, "", text, *more) for more in (["--what-if"], []))
    assert (said, said.code) == (wrote, 2)
    sure = enrolled(beside, tmp_path, "", text, "--what-if", "--yes")
    assert "Theatre 1 would be unknown" in sure.out
    assert places_of(beside, tmp_path)[0].startswith("Theatre 1,theatre")


def test_begin_tells_what_the_rulebook_says_nothing_of(files: Path, tmp_path: Path) -> None:
    begin = ("begin", "--rules", files / "rules.toml", "--fleet", files / "fleet.csv")
    book = str(tmp_path / "new.db")
    said = run("--db", book, *begin)
    assert said.code == 0
    assert "no gate of the rulebook applies to WM-01 (patient-warmer): it is unknown" in said.err
    assert quick.quick(["cleared", "WM-01", "--db", book]) is not None, "its outlook is there"


def test_a_machine_is_enrolled_once_also_beside_a_file(small: str, tmp_path: Path) -> None:
    fleet = tmp_path / "more.csv"
    fleet.write_text(f"{COLUMNS}\n{NEW.format('theatre')}\n")
    said = run("--db", small, "enrol", "AM-10", "--kind", "kettle", "--fleet", fleet)
    assert (said.code, said.out) == (2, "")
    assert "AM-10: is enrolled already" in said.err


def test_a_book_that_cannot_be_filled_is_not_begun(book_url: str) -> None:
    now = Instant(1_790_000_000_000_000)
    ahead = Instant(now + 10**12)
    early, late = (
        Enrolled(seq=0, machine=tag, at=at, recorded=now, kind="anaesthetic-machine")
        for tag, at in (("AM-01", now), ("AM-02", ahead))
    )
    with pytest.raises(WrongUse, match="ahead of the clock"):
        setup.begin(book_url, now, RULES, [early, late], [], "kd")
    assert migrate.schema_state(book_url) == "none"
    said = run("--db", book_url, "cleared", "AM-01")
    assert (said.code, "there is no book" in said.err) == (6, True)
    entries = setup.begin(book_url, now, RULES, [early], [], "kd")
    assert [type(entry) for entry in entries] == [Adopted, Enrolled]


def test_two_people_who_enrol_one_tag_at_once_do_not_both_succeed(
    book_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = Instant(1_790_000_000_000_000)
    setup.begin(book_url, now, RULES, [], [], "kd")
    # Both look at the same time, unless one of them has to wait until the other has written.
    both = Barrier(2)

    def looked(conn: Connection, now: Instant, concerns: Concerns) -> Asked:
        with suppress(BrokenBarrierError):
            both.wait(1)
        return ask_on(conn, now, concerns)

    def enrol(_: int) -> bool:
        machine = Enrolled(seq=0, machine="AM-01", at=now, recorded=now, kind="kettle")
        try:
            setup.enrol(book_url, now, Files((), None, ""), [machine], "kd", False)
        except WrongUse:
            return False
        return True

    monkeypatch.setattr(setup, "ask_on", looked)
    with ThreadPoolExecutor(2) as people:
        assert sorted(people.map(enrol, range(2))) == [False, True]
