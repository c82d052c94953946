"""`book restore` where the clocks, the rights and the other writers are against it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from threading import Thread
from time import sleep

import pytest
from freezegun import freeze_time
from freezegun.api import FrozenDateTimeFactory

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.run import restoring
from checkwatch.store import journal
from checkwatch.store.engine import writing
from tests.cli.line import Said, run

CLEAR = ("done", "AM-01", "self-test", "pass", "--by", "kd")
BACK = ("book", "restore", "--by", "ld", "--yes")


@pytest.fixture
def clock() -> Iterator[FrozenDateTimeFactory]:
    with freeze_time("2040-01-15T07:00:00Z") as frozen:
        yield frozen


def ask(book: str | Path, *words: str | Path, code: int = 0) -> Said:
    said = run("--db", book, *words)
    assert said.code == code, said
    return said


def backup(book: str, *, to: str = "copy.db") -> Path:
    copy = Path(book).parent / to
    ask(book, "book", "backup", copy)
    return copy


def rights(path: str | Path) -> int:
    return Path(path).stat().st_mode & 0o777


def aside(book: str) -> Path:
    (found,) = Path(book).parent.glob("book.db.before-*")
    return found


# A clock that is behind the book


def ahead_then_behind(book: str, clock: FrozenDateTimeFactory, *words: str) -> None:
    """Something is written by a computer whose clock is 100 s ahead of this one's."""
    clock.tick(100)
    ask(book, *words)
    clock.tick(-100)


def test_what_a_computer_ahead_wrote_is_void_with_the_rest(
    small: str, clock: FrozenDateTimeFactory
) -> None:
    ahead_then_behind(small, clock, *CLEAR)
    ask(small, *BACK, backup(small))
    clock.tick(200)
    said = ask(small, "cleared", "AM-01", code=1).out
    assert "voided by" in said


def test_by_other_means_on_both_databases_too(
    files: Path, book_url: str, clock: FrozenDateTimeFactory
) -> None:
    options = (("--rules", "rules.toml"), ("--fleet", "fleet.csv"), ("--places", "places.csv"))
    ask(book_url, "begin", *(word for name, file in options for word in (name, files / file)))
    ahead_then_behind(book_url, clock, *CLEAR)
    ask(book_url, *BACK)
    clock.tick(200)
    assert "voided by" in ask(book_url, "cleared", "AM-01", code=1).out


def test_a_test_that_a_computer_ahead_began_is_void_under_way(
    small: str, clock: FrozenDateTimeFactory
) -> None:
    ahead_then_behind(small, clock, *CLEAR[:3], "begun", "--by", "kd")
    ask(small, *BACK, backup(small))
    clock.tick(200)
    ask(small, *CLEAR)
    ask(small, "cleared", "AM-01", code=1)


# What nobody can take back


@pytest.mark.parametrize("more", [(), ("--restores",)])
def test_that_a_book_was_put_back_cannot_be_struck(small: str, more: tuple[str, ...]) -> None:
    ask(small, *CLEAR)
    ask(small, *BACK, backup(small))
    words = ("strike", "9", "--reason", "nothing happened since", "--by", "kd", *more)
    refused = ask(small, *words, code=2)
    assert "that the book was put back cannot be struck; do the checks that are owed" in refused.err
    ask(small, "cleared", "AM-01", code=1)


def test_nor_by_a_file(small: str, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text(
        "machine,what,at,started,outcome,measures,limits,until,place,of,by,note,ref\n"
        "AM-01,restored,2026-01-02T09:00Z,,,,,,,,ld,,a\n"
        "AM-01,struck,2026-01-02T10:00Z,,restores,,,,,a,ld,slip,b\n"
    )
    assert "that the book was put back cannot be struck" in ask(small, "import", log, code=2).err


# Others who write meanwhile


def test_what_is_written_while_the_book_is_replaced_is_in_one_of_the_two(
    small: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever writes once the old book is copied aside waits, and writes the new one."""
    copy = backup(small)
    written: list[int] = []

    def write() -> None:
        with writing(str(small)) as conn:
            now = Instant(3_000_000_000_000_000)
            draft = Note(seq=0, machine="AM-01", at=now, recorded=now, note="meanwhile")
            written.extend(entry.seq for entry in journal.append(conn, [draft], now))

    other = Thread(target=write)
    kept = restoring._kept

    def kept_then_written(path: Path, under: Path) -> None:
        kept(path, under)
        other.start()
        sleep(0.3)

    monkeypatch.setattr(restoring, "_kept", kept_then_written)
    ask(small, *BACK, copy)
    other.join()
    assert written == [12], "behind the four entries of the restore"
    with writing(str(small)) as conn:
        notes = conn.exec_driver_sql("SELECT note FROM entry WHERE seq = 12").scalars().all()
    assert notes == ["meanwhile"]


def test_the_old_book_stands_where_it_cannot_be_kept(
    small: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = backup(small)
    ask(small, *CLEAR)

    def no_room(*_: Path) -> None:
        raise RuntimeError("no room")

    monkeypatch.setattr(restoring, "_kept", no_room)
    with pytest.raises(RuntimeError, match="no room"):
        restoring.restore(str(small), copy, "ld", lambda *_: Instant(3_000_000_000_000_000))
    ask(small, "cleared", "AM-01")
    assert ask(small, "verify").out == "Every entry up to 8 is as it was written.\n"


@pytest.mark.parametrize("mode", ["DELETE", "TRUNCATE"])
def test_a_book_that_was_put_there_by_hand_is_replaced_as_well(small: str, mode: str) -> None:
    copy = backup(small)
    ask(small, *CLEAR)
    with_mode(small, mode)
    ask(small, *BACK, copy)
    assert ask(aside(small), "verify").out == "Every entry up to 8 is as it was written.\n"
    assert ask(small, "verify").out == "Every entry up to 11 is as it was written.\n"


def with_mode(book: str, mode: str) -> None:
    with closing(sqlite3.connect(book)) as conn:
        assert conn.execute(f"PRAGMA journal_mode = {mode}").fetchone() == (mode.lower(),)


# Rights


def test_what_was_there_is_kept_with_its_rights(small: str) -> None:
    copy = backup(small)
    Path(small).chmod(0o640)
    ask(small, *BACK, copy)
    assert (rights(aside(small)), rights(small)) == (0o640, 0o640)


def test_in_an_empty_place_a_book_has_the_rights_of_its_backup(small: str) -> None:
    copy = backup(small)
    copy.chmod(0o664)
    for path in Path(small).parent.glob("book.db*"):
        path.unlink()
    ask(small, *BACK, copy)
    assert rights(small) == 0o664


@pytest.mark.parametrize("there", [True, False])
def test_a_backup_that_nobody_can_write_is_put_back(small: str, there: bool) -> None:
    copy = backup(small)
    copy.chmod(0o444)
    if not there:
        for path in Path(small).parent.glob("book.db*"):
            path.unlink()
    ask(small, *BACK, copy)
    assert rights(copy) == 0o444
    ask(small, *CLEAR)
    assert rights(small) & 0o200


def another(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as conn, conn:
        conn.execute("CREATE TABLE other (x)")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: path.write_bytes(b"\xa5" * 8192), "is no book, it is some other file"),
        (another, "belongs to something else, it is no book"),
    ],
)
def test_of_one_that_nobody_can_write_it_is_said_what_else_is_wrong(
    small: str, spoil: Callable[[Path], None], said: str
) -> None:
    copy = backup(small)
    spoil(copy)
    copy.chmod(0o444)
    refused = ask(small, *BACK, copy, code=6)
    assert f"{copy}: {said}" in refused.err


# Who does it


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (" ", "add --by WHO"),
        ("Lo Marsh", "the code 'Lo Marsh' has a blank"),
        ("x" * 20_000, "longer than 64 characters"),
        ("Screen", "is a code that several people share"),
    ],
)
@pytest.mark.parametrize("from_file", [True, False])
def test_who_puts_a_book_back_is_one_person(
    small: str, tmp_path: Path, by: str, said: str, from_file: bool
) -> None:
    people = tmp_path / "people.csv"
    people.write_text("code,name,roles,trained,shared\nscreen,,,,yes\n")
    ask(small, "people", people, "--yes")
    source = [backup(small)] if from_file else []
    refused = ask(small, "book", "restore", *source, "--by", by, "--yes", code=2)
    assert said in refused.err
    assert ask(small, "verify").out == "Every entry up to 7 is as it was written.\n"
