"""Outlooks: for each name, the answers that hold until the next entry, kept beside the entries.

A cache, which may be thrown away at any time. An outlook is used only while it is whole, while the
lines that it was made from are, and while nobody wrote past it; else the answer is computed. Only
in SQLite, where a question is a process of its own: this file loads no database library.
"""

import os
import sqlite3
import zoneinfo
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from hashlib import sha256
from typing import TYPE_CHECKING, Any, NamedTuple

import checkwatch
from checkwatch.core.instant import CLOCK_TOLERANCE, Instant
from checkwatch.store import guards
from checkwatch.store.seal import Line

if TYPE_CHECKING:
    from sqlalchemy import Connection

#: Asks the database: a statement and its values give rows.
Ask = Callable[..., Sequence[Sequence[Any]]]


class Stretch(NamedTuple):
    """An answer that holds in [start, until).

    `machines` are the tags, a line each, from whose entries it was made, `zones` the time zones of
    the adopted rulebooks, that of the one in force first; `banner` stands above the report.
    """

    name: str
    start: Instant
    until: Instant
    machines: str
    zones: str
    banner: str
    standing: str
    report: str


def find(path: str, name: str, now: Instant) -> tuple[Stretch, Instant] | None:
    """The answer that holds now by the book at `path`, and when its newest entry was written.

    None where the answer has to be computed.
    """
    if os.name != "posix" or path.startswith("//") or any(letter in path for letter in "%?#"):
        return None
    try:
        # Not made shorter: behind a link, `..` is another folder than its text says.
        path = os.path.join(os.getcwd(), path)
        if guards.frozen(path):
            return None
        with closing(sqlite3.connect(f"file:{path}?mode=ro", 10, uri=True)) as conn:
            conn.isolation_level = None
            conn.execute("BEGIN")
            return _find(lambda sql, *values: conn.execute(sql, values).fetchall(), name, now)
    except (sqlite3.Error, OSError, ValueError):
        return None


def _find(ask: Ask, name: str, now: Instant) -> tuple[Stretch, Instant] | None:
    if ask(f"SELECT version_num FROM {guards.VERSION_TABLE}") != [(guards.SCHEMA,)]:
        return None
    line = _newest(ask)
    if line is None or line.hash != _basis(ask) or not line.whole:
        return None
    if guards.missing_among(ask(guards.SQLITE_TRIGGERS)):
        return None
    newest = Instant(ask("SELECT max(recorded) FROM entry")[0][0])
    if now < newest - CLOCK_TOLERANCE:
        return None
    # Another computer's clock may be a little ahead: what it wrote has happened.
    moment = max(now, newest)
    rows = ask(f"{_STRETCH} WHERE name = ? AND start <= ? AND ? < until", name, moment, moment)
    if len(rows) != 1:
        return None
    *kept, digest = rows[0]
    stretch = Stretch._make(kept)
    return (stretch, newest) if _digest(ask, stretch) == digest and _about_book(ask) else None


def keep(conn: "Connection", stretches: Iterable[Stretch]) -> None:
    """Keeps the answers for a name that has none."""
    ask = _asking(conn)
    for stretch in stretches:
        digest = _digest(ask, stretch)
        if digest is not None:
            conn.exec_driver_sql(_KEEP, (*stretch, digest))


def forget(conn: "Connection", names: Iterable[str]) -> None:
    """Throws the outlooks of these names away."""
    for name in names:
        conn.exec_driver_sql("DELETE FROM outlook WHERE name = ?", (name,))


def forget_all(conn: "Connection") -> None:
    """Throws all outlooks away."""
    conn.exec_driver_sql("DELETE FROM outlook")


def were_current(conn: "Connection", seq: int) -> bool:
    """Whether every entry up to this number was taken into account when outlooks were kept."""
    ask = _asking(conn)
    rows = ask("SELECT hash FROM entry WHERE seq = ?", seq)
    return bool(rows) and rows[0][0] == _basis(ask)


def mark_current(conn: "Connection") -> None:
    """Says that the outlooks kept now take every entry of the book into account."""
    newest = _newest(_asking(conn))
    forget(conn, [_BASIS])
    if newest is not None:
        basis = Stretch(_BASIS, Instant(0), Instant(0), "", "", "", "", "")
        conn.exec_driver_sql(_KEEP, (*basis, newest.hash))


#: No machine and no place has this name: its row holds the hash of the newest line.
_BASIS = ""

_LINE = "SELECT " + ", ".join(f'"{name}"' for name in Line._fields) + " FROM entry"
_STRETCH = f"SELECT {', '.join(Stretch._fields)}, digest FROM outlook"
_KEEP = f"INSERT INTO outlook VALUES ({'?, ' * len(Stretch._fields)}?)"


def _asking(conn: "Connection") -> Ask:
    return lambda sql, *values: conn.exec_driver_sql(sql, values).all()


def _newest(ask: Ask) -> Line | None:
    rows = ask(f"{_LINE} ORDER BY seq DESC LIMIT 1")
    return Line._make(rows[0]) if rows else None


def _basis(ask: Ask) -> bytes | None:
    rows = ask("SELECT digest FROM outlook WHERE name = ?", _BASIS)
    return rows[0][0] if rows else None


def _digest(ask: Ask, stretch: Stretch) -> bytes | None:
    """A hash of the answer and of what it rests on; None where that is doubtful.

    That is: this program, the time zones as they are known on this computer, and the end of each
    machine's chain, with as many lines before it as there must be. An older line of a machine that
    was altered since changes nothing: `verify` finds it.
    """
    held = repr((_program(), *stretch)).encode("utf-8", "surrogatepass")
    found = sha256(sha256(held).digest())
    for zone in stretch.zones.splitlines():
        data = _zone_data(zone)
        if data is None:
            return None
        found.update(sha256(data).digest())
    for machine in stretch.machines.splitlines():
        rows = ask(f"{_LINE} WHERE machine = ? ORDER BY position DESC LIMIT 1", machine)
        count = ask("SELECT count(*) FROM entry WHERE machine = ?", machine)[0][0]
        line = Line._make(rows[0]) if rows else None
        if line is None or not line.whole or line.position != count:
            return None
        found.update(line.hash)
    return found.digest()


def _about_book(ask: Ask) -> bool:
    """Whether every line of the rules and places is there, as it was written.

    Those that came later and do not touch a name change nothing for it.
    """
    book = [Line._make(row) for row in ask(f"{_LINE} WHERE machine = '' ORDER BY position DESC")]
    return bool(book) and book[0].position == len(book) and all(line.whole for line in book)


def _program() -> tuple[object, ...]:
    """Which program computed an answer: its version, and when the files were written that compute
    and say it. A mended engine must not go on saying what it said before."""
    folder = os.path.dirname(checkwatch.__file__)
    found = []
    for room in ("core", "rules", "answers", "views"):
        with os.scandir(os.path.join(folder, room)) as files:
            for file in files:
                if file.name.endswith(".py"):
                    found.append((room, file.name, file.stat().st_size, file.stat().st_mtime_ns))
    return (checkwatch.__version__, *sorted(found))


def _zone_data(key: str) -> bytes | None:
    """A time zone as this computer knows it: governments change them, and then instants move."""
    for folder in _zone_folders():
        try:
            with open(os.path.join(folder, key), "rb") as file:
                return file.read()
        except OSError:
            continue
    return None


def _zone_folders() -> Iterator[str]:
    """Where the standard library looks for time zones, in its order."""
    yield from zoneinfo.TZPATH
    # Imported here: most computers bring their own.
    import tzdata

    yield os.path.join(os.path.dirname(tzdata.__file__), "zoneinfo")
