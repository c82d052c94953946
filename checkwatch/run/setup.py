"""Making a book, enrolling machines and places, retiring: all of it in one transaction each."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import NamedTuple

from checkwatch.answers.effect import PlaceEffect
from checkwatch.core.entry import Adopted, Enrolled, Entry, PlaceKnown
from checkwatch.core.instant import Instant
from checkwatch.core.person import Person
from checkwatch.core.spelling import mistakes_in_spelling, nearest_names
from checkwatch.errors import CheckwatchError, Problem, WrongUse
from checkwatch.exchange.places import Files, added
from checkwatch.run.around import places_changed
from checkwatch.run.foresee import changing, renew_all
from checkwatch.run.outlook import foreseen
from checkwatch.run.world import Asked, Names, ask_on, names_of
from checkwatch.run.write import believed, imagined
from checkwatch.store import engine, journal, people, read


class Enrolment(NamedTuple):
    """What was written, or would be, and the places that stand otherwise since, or of which it
    says something else than the book knew.

    `asked` is the book before it.
    """

    asked: Asked
    entries: list[Entry]
    machines: list[Enrolled]
    places: list[PlaceKnown]
    effects: tuple[PlaceEffect, ...]


def begin(
    url: str,
    now: Instant,
    rules: str,
    fleet: Sequence[Enrolled],
    places: Sequence[PlaceKnown],
    by: str,
    known: Iterable[Person] = (),
) -> list[Entry]:
    """Makes the book with its first rulebook, places, machines and people, or no book at all."""
    # Imported where a book is made: no question needs the migrations.
    from checkwatch.store import migrate

    adopted = Adopted(seq=0, machine="", at=now, recorded=now, by=by, text=rules)
    drafts = [adopted, *(replace(place, at=now) for place in places), *fleet]
    with migrate.creating(url) as conn:
        entries = journal.append(conn, [replace(draft, by=by) for draft in drafts], now)
        people.put(conn, known)
    # Outlooks only save time: a book without them stands, and is answered from.
    with suppress(CheckwatchError):
        renew_all(url, now)
    return entries


def upgrade(url: str, now: Instant) -> int:
    """Brings an older book to this program's version; then makes its outlooks anew, of which an
    older program's do not count, and says for how many names an answer is ready."""
    # Imported where a book is upgraded: no question needs the migrations.
    from checkwatch.store import migrate

    migrate.upgrade(url)
    path = engine.sqlite_path(url)
    if path is None:
        return 0
    # As in `begin`: the book stands without them.
    with suppress(CheckwatchError):
        renew_all(url, now)
        with engine.reading(url) as conn:
            names = names_of(conn)
        known = [*names.tags, *names.places]
        return sum(foreseen(str(path), name, now) is not None for name in known)
    return 0


def enrol(
    url: str,
    now: Instant,
    files: Files,
    one: Sequence[Enrolled],
    by: str,
    sure: bool,
    what_if: bool = False,
) -> Enrolment:
    """Adds what files say, and machines that were named beside them, to a book; with `what_if` it
    is only read.

    Raises WrongUse with everything that is wrong with them or does not fit the book, and, unless
    one is `sure`, with each place of which they say something else than the book: what a place
    needs decides whether it is cleared.
    """
    with engine.reading(url) if what_if else changing(url, now) as conn:
        if not what_if:
            # Held before it is read: what is added is judged by what stays true until it stands.
            journal.hold(conn, [read.BOOK])
        asked = believed(ask_on(conn, now, lambda _: ()))
        # Another computer's clock may be a little ahead: the last word must be the last.
        moment = asked.question.now
        told = _fitting(files, one, asked.names)
        news = [
            replace(place, at=moment, by=by) for place in told if _says_more(place, asked.names)
        ]
        machines = [*(row.enrolled for row in files.rows), *one]
        changed = [place for place in news if place.place in asked.names.places]
        if changed and not sure:
            known = asked.names.places
            raise WrongUse(*(_otherwise(known[place.place], place) for place in changed))
        drafts = [*news, *(replace(machine, by=by) for machine in machines)]
        wrote = imagined(conn, drafts, moment) if what_if else journal.append(conn, drafts, moment)
        effects = places_changed(conn, asked.names, asked.book, wrote)
        return Enrolment(asked, wrote, machines, news, effects)


def _fitting(files: Files, one: Sequence[Enrolled], names: Names) -> list[PlaceKnown]:
    """What the files say of places; WrongUse with all that is wrong with them or does not fit."""
    places, problems = added(files, names.places.values(), names.tags)
    rows = [row.enrolled for row in files.rows]
    problems += _taken(rows, names.tags)
    problems += _taken(one, names.tags | {machine.machine for machine in rows})
    spelt = [*names.tags, *names.places, *(row.machine for row in rows)]
    spelt += [place.place for place in places]
    problems += mistakes_in_spelling([(machine.machine, machine.machine) for machine in one], spelt)
    problems += [*_doubled(one, places, names), *_homeless(one, places, names)]
    if problems:
        raise WrongUse(*problems)
    return places


def _otherwise(before: PlaceKnown, after: PlaceKnown) -> Problem:
    what = f"is known otherwise: {_difference(before, after)}"
    return Problem(after.place, what, "add --yes if that is meant")


def _difference(before: PlaceKnown, after: PlaceKnown) -> str:
    """What a place is by the book and by the file, by the columns of the places file."""
    columns = {"place_kind": "place_kind", "area": "area", "order": "order", "belongs": "with"}
    return ", ".join(
        f"{column} is {getattr(before, field)!r}, not {getattr(after, field)!r}"
        for field, column in columns.items()
        if getattr(before, field) != getattr(after, field)
    )


def _says_more(place: PlaceKnown, names: Names) -> bool:
    known = names.places.get(place.place)
    if known is None:
        return True
    return place != replace(known, seq=place.seq, at=place.at, recorded=place.recorded, by=place.by)


def _taken(machines: Iterable[Enrolled], tags: Container[str]) -> list[Problem]:
    return [
        Problem(machine.machine, "is enrolled already", "leave it out, or give a new tag")
        for machine in machines
        if machine.machine in tags
    ]


def _doubled(
    one: Iterable[Enrolled], places: Iterable[PlaceKnown], names: Names
) -> Iterator[Problem]:
    """The names that would mean a machine and a place, but for those that the files show."""
    new = {place.place for place in places}
    both = {machine.machine for machine in one} & (new | names.places.keys())
    for name in sorted(both | new & names.tags):
        what = "is the tag of a machine and the name of a place"
        yield Problem(name, what, "rename one of them")


def _homeless(
    one: Iterable[Enrolled], places: Iterable[PlaceKnown], names: Names
) -> Iterator[Problem]:
    known = {place.place for place in places} | names.places.keys()
    for machine in one:
        if machine.place and machine.place not in known:
            what = f"the book knows no place {machine.place!r}"
            near = nearest_names(machine.place, known, 1)
            meant = "".join(f"did you mean {name!r}? if not, " for name in near)
            yield Problem(machine.machine, what, f"{meant}add it to a places file")
