"""`book`: seals, backups and their return, and what is wrong with a book, as a keeper meets it."""

from __future__ import annotations

import os
import re
import signal
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from time import sleep

import pytest
from alembic import command

from checkwatch.store import guards, migrate
from checkwatch.store.engine import making
from tests.cli.line import PROGRAM, Said, run
from tests.store.test_backup import cut, garbled

CLEAR = ("done", "AM-01", "self-test", "pass", "--by", "kd")


def altered(book: str, *statements: str) -> None:
    """A book that was changed behind the guards, which stand again afterwards."""
    with closing(sqlite3.connect(book)) as conn, conn:
        for name in guards.SQLITE_GUARDS:
            conn.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            conn.execute(statement)
        for guard in guards.SQLITE_GUARDS.values():
            conn.execute(guard)


def ask(book: str | Path, *words: str | Path, code: int = 0) -> Said:
    said = run("--db", book, *words)
    assert said.code == code, said
    return said


# Verifying and sealing


def test_verify_stands_in_the_group_too(small: str) -> None:
    assert ask(small, "verify") == ask(small, "book", "verify")
    altered(small, "UPDATE entry SET note = 'x' WHERE seq = 1")
    said = ask(small, "book", "verify", code=1)
    assert said.out == "Entry 1 of the book: it was altered.\n"
    assert ask(small, "verify", code=1) == said


def test_a_seal_holds_as_text_and_as_a_file_of_several(small: str, tmp_path: Path) -> None:
    first = ask(small, "book", "seal").out
    ask(small, *CLEAR)
    file = tmp_path / "seals.txt"
    file.write_text(first + ask(small, "book", "seal").out)
    lines = ask(small, "verify", "--against", file).out.splitlines()
    assert lines[0] == "Every entry up to 8 is as it was written."
    assert lines[1].endswith("every entry up to 7 is still there as it was; now it goes on to 8.")
    assert lines[2].endswith("every entry up to 8 is still there as it was.")
    assert ask(small, "verify", "--against", first).out.splitlines() == lines[:2]


def test_a_book_cut_short_is_found_and_when(small: str, tmp_path: Path) -> None:
    file = tmp_path / "seals.txt"
    file.write_text(ask(small, "book", "seal").out)
    ask(small, *CLEAR)
    file.write_text(file.read_text() + ask(small, "book", "seal").out)
    altered(small, "DELETE FROM entry WHERE seq = 8")
    assert ask(small, "verify").out == "Every entry up to 7 is as it was written.\n"
    _, holds, fails = ask(small, "verify", "--against", file, code=1).out.splitlines()
    assert "is still there as it was" in holds
    assert "1 entry is missing of the 8 that were sealed: the book was cut short" in fails


def test_a_seal_makes_nothing_good_that_stands_before_the_ends(small: str) -> None:
    seal = ask(small, "book", "seal").out
    altered(small, "UPDATE entry SET note = 'x' WHERE seq = 1")
    said = ask(small, "verify", "--against", seal, code=1).out
    assert "still there" not in said
    assert "its chains end as they were sealed, but not all before is as written" in said
    refused = ask(small, "book", "seal", code=6)
    assert (refused.out, "nothing is sealed" in refused.err) == ("", True)


def test_what_is_no_seal_is_no_answer(small: str, tmp_path: Path) -> None:
    assert "no such file" in ask(small, "verify", "--against", tmp_path / "none", code=2).err
    seal = ask(small, "book", "seal").out
    slip = re.sub(r"check [0-9a-f]{4}", "check 0000", seal)
    said = ask(small, "verify", "--against", slip, code=2)
    assert (said.out, "not copied as it was printed" in said.err) == ("", True)


# Backups


def test_a_backup_is_verified_and_can_be_asked(small: str, tmp_path: Path) -> None:
    ask(small, *CLEAR)
    copy = tmp_path / "copy.db"
    said = ask(small, "book", "backup", copy)
    assert "copy.db is written and verified" in said.err
    assert "still there as it was" in ask(copy, "verify", "--against", said.out).out
    assert "still there as it was" in ask(small, "verify", "--against", said.out).out
    assert ask(copy, "cleared", "AM-01").out.startswith("AM-01 is cleared until")
    os.chmod(small, 0o640)
    ask(small, "book", "backup", tmp_path / "other.db")
    assert (tmp_path / "other.db").stat().st_mode & 0o777 == 0o640


def test_a_backup_never_replaces_a_file(small: str, tmp_path: Path) -> None:
    there = tmp_path / "there.db"
    there.write_text("mine")
    said = ask(small, "book", "backup", there, code=2)
    assert said.err == f"{there}: is there already; name a new file\n"
    assert there.read_text() == "mine"


def test_of_a_book_that_does_not_verify_no_backup_is_left(small: str, tmp_path: Path) -> None:
    altered(small, "UPDATE entry SET note = 'x' WHERE seq = 3")
    said = ask(small, "book", "backup", tmp_path / "copy.db", code=6)
    assert "its copy cannot be trusted: entry 3: it was altered" in said.err
    assert not list(tmp_path.glob("copy.db*"))


def test_a_book_of_an_older_version_is_backed_up_before_it_is_upgraded(
    small: str, tmp_path: Path
) -> None:
    older(small)
    copy = tmp_path / "copy.db"
    said = ask(small, "book", "backup", copy)
    assert (said.out, "its entries were not walked" in said.err) == ("", True)
    assert "of an older version" in ask(copy, "verify", code=6).err


def older(book: str | Path) -> None:
    """Makes of a book one as the first version of the program made it, with the same entries."""
    first = Path(f"{book}.first")
    with making(str(first)) as conn:
        command.upgrade(migrate.config(conn), "0001")
    with closing(sqlite3.connect(first)) as old:
        old.execute("ATTACH ? AS book", (str(book),))
        old.execute("INSERT INTO entry SELECT * FROM book.entry ORDER BY seq")
        old.commit()
    for path in Path(book).parent.glob(f"{Path(book).name}*"):
        if not path.name.startswith(first.name):
            path.unlink()
    first.rename(book)


def test_postgresql_makes_its_own_backups(tmp_path: Path) -> None:
    server = "postgresql://127.0.0.1:1/book"
    assert "use pg_dump" in ask(server, "book", "backup", tmp_path / "x", code=2).err
    said = ask(server, "book", "restore", tmp_path / "x", "--by", "ld", code=2)
    assert "then run it without a file" in said.err


def test_where_there_is_no_book_there_is_no_backup(tmp_path: Path) -> None:
    said = ask(tmp_path / "none.db", "book", "backup", tmp_path / "copy.db", code=6)
    assert "there is no book" in said.err
    assert list(tmp_path.iterdir()) == []


# Putting one back


@pytest.fixture
def backed(small: str, tmp_path: Path) -> Path:
    """A backup in which AM-01 is cleared; since then it was switched on again."""
    ask(small, *CLEAR)
    ask(small, "book", "backup", tmp_path / "copy.db")
    ask(small, "happened", "AM-01", "power-on", "--by", "kd")
    return tmp_path / "copy.db"


def kept(said: Said) -> Path:
    """The file that holds what was there before."""
    found = re.search(r"What was there is kept in (\S+)\.\n", said.out)
    assert found is not None, said
    return Path(found[1])


def voided(book: str | Path) -> None:
    """Every gate of every machine is void, because the book was put back."""
    assert ask(book, "verify").out.startswith("Every entry up to")
    for machine in ("AM-01", "AM-02", "AM-03"):
        assert "is not cleared" in ask(book, "cleared", machine, code=1).out
    said = " ".join(ask(book, "cleared", "AM-01", code=1).out.split())
    assert "voided by the book being put back from a backup" in said
    (entry,) = (
        one for one in run("--db", book, "log", "WM-01", "--json").document["entries"]
        if one["what"] == "restored"
    )  # fmt: skip
    assert entry["by"] == "ld"
    assert re.fullmatch(
        r"from the backup of \w{3} \d+ \w{3} 20\d\d \d\d:\d\d (GMT|BST), up to entry \d+",
        entry["note"],
    ), entry


def test_over_a_book_that_is_sound_somebody_says_yes(small: str, backed: Path) -> None:
    words = ("--db", small, "book", "restore", backed, "--by", "ld")
    said = run(*words)
    assert (said.code, "nobody is there to answer; add --yes" in said.err) == (2, True)
    time = r"(at|on \w{3} \d+ \w{3}) \d\d:\d\d (GMT|BST), "
    assert re.search(f"The backup ends with entry 8, written {time}", said.err), "in local time"
    assert "The book that is there ends with entry 9, written" in said.err
    assert run(*words, typed=lambda: "n\n").code == 2
    assert ask(small, "verify").out == "Every entry up to 9 is as it was written.\n"
    assert sorted(p.name for p in Path(small).parent.glob("book.db.*")) == []
    said = run(*words, typed=lambda: "y\n")
    assert said.code == 0, said
    assert "Every gate of 4 machines is void, and owed anew." in said.out
    voided(small)
    assert ask(kept(said), "verify").out == "Every entry up to 9 is as it was written.\n"


def put_back(book: str, backup: Path) -> Said:
    return ask(book, "book", "restore", backup, "--by", "ld", "--yes")


@pytest.mark.parametrize("spoil", [garbled, cut, lambda path: altered(str(path), BROKEN)])
def test_in_the_place_of_a_broken_book(
    small: str, backed: Path, spoil: Callable[[Path], None]
) -> None:
    spoil(Path(small))
    before = Path(small).read_bytes()
    said = put_back(small, backed)
    assert "The book that is there" in said.err
    voided(small)
    assert len(kept(said).read_bytes()) == len(before)


BROKEN = "UPDATE entry SET note = 'x' WHERE seq = 2"


@pytest.mark.parametrize("left", ["", "-wal"])
def test_in_an_empty_place(small: str, backed: Path, left: str) -> None:
    with closing(sqlite3.connect(small)) as reader:
        reader.execute("SELECT count(*) FROM entry").fetchone()
        ask(small, *CLEAR)
        log = Path(f"{small}-wal").read_bytes()
    for path in Path(small).parent.glob("book.db*"):
        path.unlink()
    if left:
        # What belonged to another book must not be read into this one.
        Path(f"{small}{left}").write_bytes(log)
    put_back(small, backed)
    voided(small)


def test_a_backup_of_an_older_version_is_brought_up_to_date(small: str, backed: Path) -> None:
    older(str(backed))
    put_back(small, backed)
    voided(small)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: altered(str(path), BROKEN), "entry 2: it was altered"),
        (garbled, "is no book, it is some other file"),
        (cut, "is damaged"),
        (Path.unlink, "there is no book"),
        (lambda path: path.write_bytes(b""), "the file is empty"),
    ],
)
def test_a_backup_that_cannot_be_trusted_changes_nothing(
    small: str, backed: Path, spoil: Callable[[Path], None], said: str
) -> None:
    spoil(backed)
    refused = ask(small, "book", "restore", backed, "--by", "ld", "--yes", code=6)
    assert said in refused.err
    assert ask(small, "verify").out == "Every entry up to 9 is as it was written.\n"
    assert not list(Path(small).parent.glob("book.db.*"))


def test_who_restores_a_book_and_from_what_is_asked(small: str, backed: Path) -> None:
    assert "add --by WHO" in ask(small, "book", "restore", backed, "--yes", code=2).err
    said = ask(small, "book", "restore", small, "--by", "ld", "--yes", code=2)
    assert "is the book itself" in said.err


def test_a_book_put_back_by_other_means_is_told_so(files: Path, book_url: str) -> None:
    options = (("--rules", "rules.toml"), ("--fleet", "fleet.csv"), ("--places", "places.csv"))
    ask(book_url, "begin", *(word for name, file in options for word in (name, files / file)))
    ask(book_url, *CLEAR)
    said = run("--db", book_url, "book", "restore", "--by", "ld")
    assert (said.code, "Void every gate of 4 machines? nobody" in said.err) == (2, True)
    ask(book_url, "cleared", "AM-01")
    ask(book_url, "book", "restore", "--by", "ld", "--yes")
    voided(book_url)


@pytest.mark.parametrize("tenths", range(4, 24, 4))
def test_a_restore_that_is_killed_leaves_the_old_book_or_the_new(
    small: str, backed: Path, tenths: int
) -> None:
    words = ["--db", small, "book", "restore", str(backed), "--by", "ld", "--yes"]
    with subprocess.Popen(
        [*PROGRAM, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        sleep(tenths / 10)
        process.send_signal(signal.SIGKILL)
    if ask(small, "verify").out == "Every entry up to 9 is as it was written.\n":
        assert "voided by a power-on" in ask(small, "cleared", "AM-01", code=1).out
    else:
        voided(small)


# Looking it over


def verdicts(said: Said) -> dict[str, str]:
    """What is said of each part."""
    rows = [line.split() for line in said.out.splitlines()[1:] if not line.startswith(" ")]
    return {part: verdict for verdict, part, *_ in rows}


PARTS = ("book", "pages", "guards", "entries", "people", "clock", "use", "room")


def test_a_sound_book_is_good_in_every_part(small: str) -> None:
    found = verdicts(ask(small, "book", "check"))
    assert set(found) == set(PARTS)
    assert set(found.values()) == {"good"}


@pytest.mark.parametrize(
    ("statement", "part", "remedy"),
    [
        ("DROP TRIGGER entry_no_delete", "guards", "find out who took them away"),
        ("UPDATE entry SET recorded = 9999999999999999 WHERE seq = 7", "clock", "clock right"),
        ("UPDATE entry SET note = 'x' WHERE seq = 7", "entries", "go on with a backup"),
    ],
)
def test_what_is_wrong_is_told_with_its_remedy(
    small: str, statement: str, part: str, remedy: str
) -> None:
    if statement.startswith("DROP"):
        with closing(sqlite3.connect(small)) as conn, conn:
            conn.execute(statement)
    else:
        altered(small, statement)
    said = ask(small, "book", "check", code=1)
    assert verdicts(said)[part] == "wrong"
    assert remedy in " ".join(said.out.split())


def test_what_of_a_person_cannot_be_read_is_told_and_stops_no_fault(small: str) -> None:
    with closing(sqlite3.connect(small)) as conn, conn:
        conn.execute(
            "INSERT INTO people (code, name, trained) VALUES ('kd', '', '{\"x\": \"soon\"}')"
        )
    said = ask(small, "book", "check")
    assert verdicts(said)["people"] == "beware"
    assert "the training of kd cannot be read" in " ".join(said.out.split())
    ask(small, "fault", "AM-01", "stop-use", "--note", "valve", "--by", "kd")
    ask(small, "people", "--erase", "kd", "--yes")
    assert verdicts(ask(small, "book", "check"))["people"] == "good"


def test_a_page_that_was_written_over_is_found(small: str) -> None:
    with closing(sqlite3.connect(small)) as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = conn.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'ix_entry_recorded'"
        ).fetchone()
    with open(small, "r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    assert verdicts(ask(small, "book", "check", code=1))["pages"] == "wrong"


def test_a_single_file_and_a_full_disk_are_no_reason_to_stop(
    small: str, backed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("checkwatch.store.health.room", lambda _: (50_000_000, 3_000_000))
    said = ask(backed, "book", "check")
    found = verdicts(said)
    assert (found["use"], found["room"]) == ("beware", "beware")
    assert "50 MB free on its disk; it takes 3 MB; make room" in " ".join(said.out.split())
    del small


def test_a_book_that_cannot_be_opened_is_one_finding(tmp_path: Path) -> None:
    file = tmp_path / "book.db"
    file.write_text("machine,what,at\n" * 100)
    said = ask(file, "book", "check", code=6)
    assert verdicts(said) == {"book": "wrong"}
    assert "name another with --db" in said.out


def test_a_book_in_postgresql_is_looked_over_too(files: Path, book_url: str) -> None:
    options = (("--rules", "rules.toml"), ("--fleet", "fleet.csv"), ("--places", "places.csv"))
    ask(book_url, "begin", *(word for name, file in options for word in (name, files / file)))
    assert {"good"} == set(verdicts(ask(book_url, "book", "check")).values())
    seal = ask(book_url, "book", "seal").out
    assert "still there as it was" in ask(book_url, "book", "verify", "--against", seal).out
