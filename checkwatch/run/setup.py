"""Making a book, enrolling machines and places, retiring: all of it in one transaction each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from checkwatch.core.entry import Adopted, Enrolled, Entry, PlaceKnown
from checkwatch.core.instant import Instant
from checkwatch.errors import CheckwatchError, Problem, WrongUse
from checkwatch.run.foresee import changing
from checkwatch.run.world import Names, names_of
from checkwatch.store import engine, journal


def begin(
    url: str,
    now: Instant,
    rules: str,
    fleet: Sequence[Enrolled],
    places: Sequence[PlaceKnown],
    by: str,
) -> list[Entry]:
    """Makes the book with its first rulebook, places and machines; a book that cannot be filled
    is not left behind."""
    # Imported where a book is made: no question needs the migrations.
    from checkwatch.store import migrate

    migrate.create(url)
    adopted = Adopted(seq=0, machine="", at=now, recorded=now, by=by, text=rules)
    drafts = [adopted, *(replace(place, at=now) for place in places), *fleet]
    try:
        with changing(url, now) as conn:
            return journal.append(conn, [replace(draft, by=by) for draft in drafts], now)
    except CheckwatchError:
        if path := engine.sqlite_path(url):
            for name in (
                path,
                path.with_name(path.name + "-wal"),
                path.with_name(path.name + "-shm"),
            ):
                name.unlink(missing_ok=True)
        raise


def enrol(
    url: str, now: Instant, fleet: Sequence[Enrolled], places: Sequence[PlaceKnown], by: str
) -> list[Entry]:
    """Adds machines and places to a book.

    Raises WrongUse with every machine that is enrolled already, and every name that would mean
    both a machine and a place.
    """
    with changing(url, now) as conn:
        names = names_of(conn)
        problems = [*_taken(fleet, places, names), *_homeless(fleet, places, names)]
        if problems:
            raise WrongUse(*problems)
        new = [replace(place, at=now) for place in places if _says_more(place, names)]
        drafts: list[Entry] = [*new, *fleet]
        return journal.append(conn, [replace(draft, by=by) for draft in drafts], now)


def _says_more(place: PlaceKnown, names: Names) -> bool:
    known = names.places.get(place.place)
    return known is None or replace(known, seq=0, at=place.at, recorded=place.recorded) != place


def _taken(fleet: Sequence[Enrolled], places: Sequence[PlaceKnown], names: Names) -> list[Problem]:
    found = [
        Problem(m.machine, "is enrolled already", "leave it out, or give a new tag")
        for m in fleet
        if m.machine in names.tags
    ]
    new_places = {place.place for place in places}
    both = {m.machine for m in fleet} & (new_places | names.places.keys())
    both |= new_places & names.tags
    found += [
        Problem(name, "is the tag of a machine and the name of a place", "rename one of them")
        for name in sorted(both)
    ]
    return found


def _homeless(
    fleet: Sequence[Enrolled], places: Sequence[PlaceKnown], names: Names
) -> list[Problem]:
    known = {place.place for place in places} | names.places.keys()
    return [
        Problem(m.machine, f"the book knows no place {m.place!r}", "add it to a places file")
        for m in fleet
        if m.place and m.place not in known
    ]
