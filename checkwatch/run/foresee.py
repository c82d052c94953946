"""Changing the book: after each change the outlooks that it touches are made anew.

All that is written goes through `changing`, so that no writer can forget it. An outlook holds the
same report that would be computed; each is compared with it once more before it is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise

from sqlalchemy import Connection

from checkwatch.answers.book import Book, Question
from checkwatch.answers.cleared import cleared, tags_for
from checkwatch.core.entry import Adopted
from checkwatch.core.instant import DAY, Instant
from checkwatch.core.place import rooms_ever
from checkwatch.errors import CannotTell, Problem
from checkwatch.run.world import Names, adopted, by_machine, names_of
from checkwatch.store import engine, outlook, read
from checkwatch.store.outlook import Stretch
from checkwatch.views import answer, deferred
from checkwatch.views.answer import LITTLE
from checkwatch.views.report import EXAMPLE
from checkwatch.views.words import Here

#: So far ahead answers are made; where nothing was written for longer they are computed.
HORIZON = 31 * DAY

#: More names than these at once are not made ready, which would take minutes: an answer is computed
#: until an entry touches its name.
MOST = 5_000

#: Told what is done with how many so far.
Progress = Callable[[str, int], None]


def _silent(step: str, count: int) -> None:
    del step, count


@contextmanager
def changing(url: str, now: Instant, progress: Progress = _silent) -> Iterator[Connection]:
    """The book for one change, as `engine.writing`; its outlooks are current when it is left."""
    with engine.writing(url) as conn:
        # A sound entry on top would make an altered one the last but one, and believed.
        if doubts := read.doubts(conn, now):
            what = f"it is not believed: {'; '.join(doubts)}"
            raise CannotTell(Problem("the book", what, "put that right before you write"))
        if conn.dialect.name != "sqlite":
            yield conn
            return
        before = read.newest_seq(conn)
        yield conn
        # Whatever is wrong with a cache, the entry stands: without a new mark all outlooks fall
        # silent by themselves, and answers are computed.
        with suppress(Exception), conn.begin_nested():
            if not outlook.were_current(conn, before):
                outlook.forget_all(conn)
            names = names_of(conn)
            _renew(conn, now, names, _touched(conn, names, before), progress)


def renew_all(url: str, now: Instant, progress: Progress = _silent) -> None:
    """Makes every outlook of a book anew."""
    with engine.writing(url) as conn:
        if conn.dialect.name == "sqlite":
            outlook.forget_all(conn)
            names = names_of(conn)
            _renew(conn, now, names, {*names.tags, *names.places}, progress)


def _touched(conn: Connection, names: Names, before: int) -> set[str]:
    """The names whose answers the entries above a number can have changed."""
    forms = read.forms_since(conn, before)
    if (read.BOOK, Adopted.what) in forms:
        return {*names.tags, *names.places}
    tags = {machine for machine, _ in forms if machine != read.BOOK}
    rooms = {place for place, machines in names.ever_at.items() if machines & tags}
    rooms.update(place.place for place in names.told if place.seq > before)
    return tags | {name for name in names.places if rooms_ever(name, names.told) & rooms}


def _renew(
    conn: Connection, now: Instant, names: Names, touched: set[str], progress: Progress
) -> None:
    # A name that may mean two things has no answer.
    outlook.forget(conn, touched | names.unclear)
    newest = read.newest_recorded(conn)
    if newest is None:
        return
    left = touched - names.unclear if len(touched) <= MOST else set[str]()
    start = max(now, newest)
    versions = adopted(conn)
    done = 0
    for group, machines in _groups(left, names):
        progress("made ready", done)
        done += len(group)
        try:
            entries = by_machine(read.entries(conn, machines), machines)
        except CannotTell:
            continue  # An altered line: whoever asks is told.
        book = Book(versions, names.told, entries, (), newest)
        for name in group:
            outlook.keep(conn, foresee(name, book, start))
    outlook.mark_current(conn)


def _groups(left: set[str], names: Names) -> Iterator[tuple[list[str], frozenset[str]]]:
    """Names whose answers come from the same machines, so that each is read about once."""
    waiting = left & names.tags
    for place in sorted(left & names.places.keys()):
        machines = names.concerned(place)
        yield [place, *sorted(machines & waiting)], machines
        waiting -= machines
    for tag in sorted(waiting):
        yield [tag], frozenset({tag})


def foresee(name: str, book: Book, start: Instant) -> list[Stretch]:
    """The answers for a name from an instant on; none where one would not read the same."""
    end = Instant(start + HORIZON)
    cuts = {start}
    cuts.update(version.start for version in book.versions.adopted)
    for judge in (book.judge(tag, Question(start, start)) for tag in tags_for(name, book)):
        cuts.update(judge.changes(start, end))
        cuts.update(judge.dues(start))
    cuts = {cut for cut in cuts if start <= cut < end}
    untils = {cleared(name, book, Question(cut, cut)).until for cut in cuts}
    # Where little is left the answer says so.
    littles = {Instant(until - LITTLE + 1) for until in untils}
    moments = sorted(cuts | {little for little in littles if start < little < end})
    found: list[Stretch] = []
    for moment, until in pairwise([*moments, end]):
        stretch = _stretch(name, book, moment, until)
        if stretch is None:
            continue
        if found and found[-1]._replace(start=moment, until=until) == stretch:
            found[-1] = found[-1]._replace(until=until)
        else:
            found.append(stretch)
    return found


def _stretch(name: str, book: Book, start: Instant, until: Instant) -> Stretch | None:
    """The answer over [start, until); None where it would not read as it is computed."""
    question = Question(start, start)
    rulebook = book.rulebook(question)
    if rulebook is None:
        return None
    found = cleared(name, book, question)
    here = Here(rulebook.zone, start)
    kept = deferred.packed(
        answer.cleared(found._replace(newest=deferred.NEWEST), deferred.Later(*here))
    )
    if deferred.unpacked(kept, here, found.newest or start) != answer.cleared(found, here):
        return None
    zones = [rulebook.zone.key, *(version.rulebook.zone.key for version in book.versions.adopted)]
    return Stretch(
        name,
        start,
        until,
        "\n".join(tags_for(name, book)),
        "\n".join(dict.fromkeys(zones)),
        EXAMPLE if book.versions.invented else "",
        found.decides.value,
        kept,
    )
