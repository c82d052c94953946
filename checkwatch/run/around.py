"""The places around what was written: those whose standing it changed."""

from __future__ import annotations

from collections.abc import Sequence
from operator import attrgetter

from sqlalchemy import Connection

from checkwatch.answers.book import Book, Question
from checkwatch.answers.effect import PlaceEffect, place_effects
from checkwatch.core.entry import Enrolled, Entry, Moved, PlaceKnown
from checkwatch.core.place import rooms_ever
from checkwatch.errors import CannotTell
from checkwatch.run.world import Names
from checkwatch.store import read


def places_changed(
    conn: Connection, names: Names, book: Book, wrote: Sequence[Entry]
) -> tuple[PlaceEffect, ...]:
    """The places that stand otherwise after some entries, written or imagined, and those of which
    the entries say something else than was known.

    `names` and `book` are those before them. What the book lacks of the machines there is read
    here: who writes about one machine reads of no other.
    """
    if not wrote:
        return ()
    news = [entry for entry in wrote if isinstance(entry, PlaceKnown)]
    told = sorted([*names.told, *news], key=attrgetter("at", "seq"))
    near = _near(names, told, wrote)
    entries = dict(book.entries)
    lost = set()
    for tag in sorted({tag for tags in near.values() for tag in tags} - entries.keys()):
        try:
            entries[tag] = [*read.entries(conn, [tag])]
        except CannotTell:
            lost.add(tag)  # An altered line: whoever asks is told.
    moment = max(entry.recorded for entry in wrote)
    before = Book(book.versions, names.told, entries, (), moment)
    later = {tag: list(known) for tag, known in entries.items()}
    for entry in wrote:
        if entry.machine:
            later.setdefault(entry.machine, []).append(entry)
    return place_effects(
        (name for name, tags in near.items() if not tags & lost),
        before,
        Book(book.versions, told, later, (), moment),
        Question(moment, moment),
        {entry.place for entry in news} & names.places.keys(),
    )


def _near(
    names: Names, told: Sequence[PlaceKnown], wrote: Sequence[Entry]
) -> dict[str, frozenset[str]]:
    """The places whose answers the entries can have changed, each with the machines that were
    known to have been there."""
    tags = {entry.machine for entry in wrote}
    touched = {room for room, machines in names.ever_at.items() if machines & tags}
    touched.update(e.place for e in wrote if isinstance(e, Enrolled | Moved | PlaceKnown))
    found = {}
    for name in {place.place for place in told} - names.unclear:
        rooms = rooms_ever(name, told)
        if rooms & touched:
            there = (names.ever_at.get(room, frozenset()) for room in rooms)
            found[name] = frozenset[str]().union(*there)
    return found
