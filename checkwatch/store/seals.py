"""Seals: a few words, kept elsewhere, against which a book shows that it was cut short or replaced.

A seal speaks of the entries up to a number. Nobody can write below that number any more, so that
what is sealed stays the same for ever, however much comes after it. docs/reference/book-format.md
says how the digits come about.
"""

from __future__ import annotations

import re
from collections.abc import Generator, Iterable, Iterator, Mapping
from contextlib import closing
from datetime import UTC
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Connection, select

from checkwatch.core.instant import Instant, iso, parse_instant
from checkwatch.core.wording import plural
from checkwatch.errors import Problem, WrongUse
from checkwatch.store import engine, journal, read
from checkwatch.store.tables import entry

_CHUNK = 1000
_SCHEME = b"checkwatch seal 1"


class Seal(NamedTuple):
    """What a book held at an instant.

    `book` is the beginning of the hash of its first entry, which tells it from other books;
    `entries` how many there were, `newest` the highest number; `digits` is the beginning of a hash
    over the ends of all chains: 128 bits, which nobody can hit by trying.
    """

    book: str
    entries: int
    newest: int
    taken: Instant
    digits: str

    @property
    def text(self) -> str:
        """Two lines to print or to copy by hand; the last group finds a slip of the pen."""
        count = plural(self.entries, "entry", "entries")
        head = f"Seal of book {self.book}: {count} up to number {self.newest}, {iso(self.taken)}"
        groups = re.findall("....", self.digits)
        return f"{head}\n{' '.join(groups)}, check {_check(self)}"


def read_seals(text: str, where: str) -> list[Seal]:
    """The seals of a text that holds nothing else; blanks, ends of lines and capitals may differ.

    Raises WrongUse for anything else, and for a seal that was copied wrongly.
    """
    found = [_seal(match, where) for match in _SEAL.finditer(text)]
    rest = " ".join(_SEAL.sub(" ", text).split())
    if rest or not found:
        what = f"{rest[:60]!r} is no seal" if rest else "there is no seal in it"
        remedy = "give the two lines that `checkwatch book seal` printed, or a file of such lines"
        raise WrongUse(Problem(where, what, remedy))
    return found


_SEAL = re.compile(
    r"seal\s+of\s+book\s+([0-9a-f]{8}):\s+(\d{1,19})\s+entr(?:y|ies)\s+up\s+to\s+number\s+"
    r"(\d{1,19}),\s+(\S{20})\s+((?:[0-9a-f]{4}\s+){7}[0-9a-f]{4}),\s+check\s+([0-9a-f]{4})",
    re.IGNORECASE | re.ASCII,
)


def _seal(match: re.Match[str], where: str) -> Seal:
    book, entries, newest, taken, digits, check = match.groups()
    moment = parse_instant(taken.upper(), UTC, where)
    joined = "".join(digits.split()).lower()
    seal = Seal(book.lower(), int(entries), int(newest), moment, joined)
    if _check(seal) != check.lower():
        what = f"the seal of {iso(moment)} was not copied as it was printed"
        raise WrongUse(Problem(where, what, "compare it with the print, letter by letter"))
    return seal


def _check(seal: Seal) -> str:
    words = (seal.book, seal.entries, seal.newest, iso(seal.taken), seal.digits)
    return sha256(" ".join(map(str, words)).encode()).hexdigest()[:4]


def settled(url: str) -> int:
    """The highest number in a book such that no entry will ever come below it.

    On PostgreSQL numbers are given out before they are committed: it waits for the writers under
    way, and holds up others for a moment.
    """
    if engine.sqlite_path(url) is None:
        with engine.writing(url) as conn:
            journal.alone(conn)
            return read.newest_seq(conn)
    with engine.reading(url) as conn:
        return read.newest_seq(conn)


def seals(conn: Connection, asked: Iterable[tuple[int, Instant]]) -> Iterator[Seal]:
    """What a seal says of the entries up to each number, taken at an instant; lowest number first.

    It says nothing about whether they are as they were written: that `chains.verify` looks at.
    """
    waiting = sorted(asked)
    book, count = "", 0
    ends: dict[str, tuple[int, bytes]] = {}
    with closing(_rows(conn)) as rows:
        for seq, machine, position, digest in rows:
            while waiting and seq > waiting[0][0]:
                yield _sealed(book, count, *waiting.pop(0), ends)
            book = book or digest.hex()[:8]
            count += 1
            ends[machine] = (position, digest)
    for newest, taken in waiting:
        yield _sealed(book, count, newest, taken, ends)


def differs(seal: Seal, found: Seal) -> str:
    """How a book differs from what was sealed, as a sentence about it; empty where it does not.

    `found` is what a seal of the book up to the same number says.
    """
    if found == seal:
        return ""
    if found.book != seal.book:
        return "the seal is of another book: this one begins with another entry"
    if found.entries < seal.entries:
        gone = plural(seal.entries - found.entries, "entry is", "entries are")
        return (
            f"{gone} missing of the {seal.entries} that were sealed: the book was cut short, or"
            " an older copy was put in its place"
        )
    return (
        f"its entries up to number {seal.newest} are not those that were sealed: another copy was"
        " put in its place and went on, or it was written anew"
    )


def _rows(conn: Connection) -> Generator[tuple[int, str, int, bytes], None, None]:
    wanted = select(entry.c.seq, entry.c.machine, entry.c.position, entry.c.hash)
    with conn.execute(wanted.order_by(entry.c.seq).execution_options(yield_per=_CHUNK)) as rows:
        yield from map(tuple, rows)


def _sealed(
    book: str, count: int, newest: int, taken: Instant, ends: Mapping[str, tuple[int, bytes]]
) -> Seal:
    chains = (
        part
        for machine, (position, digest) in sorted(ends.items())
        for part in (machine.encode(), b"%d" % position, digest)
    )
    head = (_SCHEME, iso(taken).encode(), b"%d" % count, b"%d" % newest)
    digits = sha256(b"".join(b"%d:%b," % (len(part), part) for part in (*head, *chains)))
    return Seal(book, count, newest, taken, digits.hexdigest()[:32])
