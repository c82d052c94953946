"""The composition root: the store's entries and the rulebook's text become a book to ask.

Everything above this file speaks of questions and answers, everything below of values; only here
do the store, the rules and the clock meet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, tzinfo
from functools import cached_property, lru_cache

from sqlalchemy import Connection

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Entry, PlaceKnown, Retired
from checkwatch.core.instant import CLOCK_TOLERANCE, Instant
from checkwatch.core.mistake import quoted
from checkwatch.core.place import rooms_ever
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.spelling import ALIKE, alike, likeness, nearest_names
from checkwatch.core.versions import Version, Versions
from checkwatch.core.wording import listed
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.rules.read import read_or_refuse
from checkwatch.run.typed import typed_instant
from checkwatch.store import engine, read
from checkwatch.views.report import EXAMPLE
from checkwatch.views.words import Here

#: From the names that the book knows to the machines that a question concerns; None for all.
Concerns = Callable[["Names"], Iterable[str] | None]


@dataclass(frozen=True)
class Names:
    """The tags and places of the book, and which machines were ever at which place.

    `places` is the last word on each place, `told` all that was ever said, in order of (at, seq).
    """

    tags: frozenset[str]
    places: dict[str, PlaceKnown]
    told: tuple[PlaceKnown, ...]
    ever_at: dict[str, frozenset[str]]

    @cached_property
    def _alike(self) -> dict[str, list[str]]:
        return alike([*self.tags, *self.places])

    @cached_property
    def unclear(self) -> frozenset[str]:
        """The names that may mean two things: those of a machine and a place, and those that differ
        so little from another one that nobody can tell them apart."""
        several = (names for names in self._alike.values() if len(names) > 1)
        return frozenset(self.tags & self.places.keys()).union(*several)

    def resolve(self, name: str) -> str:
        """The tag or place that a typed name means; capitals, blanks and forms of letters may
        differ.

        A name just as the book has it means itself, also beside one that is alike: an entry must
        find its machine. Raises CannotTell for a name that nobody knows, or that may mean two.
        """
        if name in self.tags and name in self.places:
            raise CannotTell(_both(name))
        if name in self.tags or name in self.places:
            return name
        names = self._alike.get(likeness(name), [])
        if len(names) == 1:
            return names[0]
        if names:
            raise CannotTell(self._either(name))
        near = nearest_names(name, [*self.tags, *self.places])
        remedy = f"did you mean {' or '.join(near)}?" if near else "see `checkwatch board`"
        raise CannotTell(Problem(name, "the book knows no machine or place of this name", remedy))

    def concerned(self, name: str) -> frozenset[str]:
        """The machines that a question about a resolved name can concern.

        Raises CannotTell for a name that another one is alike, however it was typed: the answer
        could be about the one and be taken for the other.
        """
        if name in self.unclear:
            raise CannotTell(self._either(name))
        if name in self.tags:
            return frozenset({name})
        at_rooms = (self.ever_at.get(room, frozenset()) for room in rooms_ever(name, self.told))
        return frozenset().union(*at_rooms)

    def meant(self, name: str) -> frozenset[str]:
        """The machine that a typed name means; of a place, which is named by mistake where a
        machine is meant, those that were ever there."""
        found = self.resolve(name)
        return frozenset({found}) if found in self.tags else self.ever_at.get(found, frozenset())

    def _either(self, name: str) -> Problem:
        kinds = (
            (known, "machine" if known in self.tags else "place")
            for known in self._alike[likeness(name)]
        )
        both = " and ".join(f"the {kind} {quoted(known)}" for known, kind in kinds)
        remedy = "see `checkwatch board --once`, which shows each by its own name"
        return Problem(name, f"the book knows {both}: {ALIKE}", remedy)


def _both(name: str) -> Problem:
    what = "is the tag of a machine and the name of a place"
    return Problem(name, what, "ask for another name, and rename one of them")


def everything(names: Names) -> None:
    """Concerns the whole fleet."""
    del names


@dataclass(frozen=True)
class Asked:
    """A question with the book that it needs."""

    book: Book
    question: Question
    names: Names

    def tag(self, name: str, instead: str = "") -> str:
        """The machine that a typed name means.

        Raises CannotTell for a name that nobody knows, and for a place: that says which machines
        stand there, and `instead`, what else can be done there.
        """
        found = self.names.resolve(name)
        if found in self.names.tags:
            return found
        there = [one.machine for one in self.book.fleet(self.question) if one.log.place == found]
        what = "is a place" if there else "is a place, and no machine stands there"
        remedy = f"name {listed(there, 'or') or 'a machine'}{instead if there else ''}"
        raise CannotTell(Problem(found, what, remedy))

    @property
    def zone(self) -> tzinfo:
        """The rulebook's zone, in which people read and type times."""
        rulebook = self.book.rulebook(self.question)
        return rulebook.zone if rulebook else UTC

    @property
    def here(self) -> Here:
        """The zone and the moment by which an answer is read, and the one that it is about."""
        at, now, _ = self.question
        return Here(self.zone, now, None if at == now else at)

    @property
    def banner(self) -> str:
        """What must stand above the answer, empty for a book of a department's own."""
        return EXAMPLE if self.book.versions.invented else ""

    @property
    def title(self) -> str:
        """The rulebook's title."""
        rulebook = self.book.rulebook(self.question)
        return rulebook.title if rulebook else ""


def ask(
    url: str,
    now: Instant,
    concerns: Concerns = everything,
    at: str | None = None,
    known_at: str | None = None,
) -> Asked:
    """Opens the book for a question: as of `at`, as known at `known_at`, both as typed.

    Raises CannotTell where there is no book to read.
    """
    with engine.reading(url) as conn:
        return ask_on(conn, now, concerns, at, known_at)


def ask_on(
    conn: Connection,
    now: Instant,
    concerns: Concerns = everything,
    at: str | None = None,
    known_at: str | None = None,
) -> Asked:
    """As `ask`, on an open connection."""
    names = names_of(conn)
    wanted = concerns(names)
    machines = names.tags if wanted is None else frozenset(wanted)
    newest = read.newest_recorded(conn)
    doubts = read.doubts(conn, now, () if wanted is None else machines)
    if newest is not None and not doubts:
        # Another computer's clock may be a little ahead: what it wrote has happened.
        now = max(now, newest)
    versions = adopted(conn)
    book = Book(
        versions,
        names.told,
        by_machine(read.entries(conn, None if wanted is None else machines), machines),
        doubts,
        newest,
    )
    zone = _zone(versions, now)
    moment = now if at is None else typed_instant(at, zone, now, "--at")
    known = None if known_at is None else _known(known_at, zone, now, newest)
    return Asked(book, Question(moment, now, known), names)


def _known(text: str, zone: tzinfo, now: Instant, newest: Instant | None) -> Instant:
    """The K of a question, as typed; WrongUse for one that is still to come.

    What will be written by then nobody knows. By a clock that is behind the book the time of its
    newest entry has come all the same.
    """
    known = typed_instant(text, zone, now, "--known-at")
    latest = max(now, newest or now)
    if known > latest + CLOCK_TOLERANCE:
        what = f"{quoted(text)} is still to come, and what will be written by then is not known"
        raise WrongUse(Problem("--known-at", what, "name an earlier time, or leave it out for now"))
    return min(known, latest)


def names_of(conn: Connection) -> Names:
    """What the book knows by name."""
    ever_at: dict[str, set[str]] = defaultdict(set)
    for station in read.stations(conn):
        if not isinstance(station, Retired):
            ever_at[station.place].add(station.machine)
    told = read.places(conn)
    return Names(
        frozenset(read.machines(conn)),
        {place.place: place for place in told},
        told,
        {place: frozenset(tags) for place, tags in ever_at.items()},
    )


def adopted(conn: Connection) -> Versions:
    """The adopted versions of the rulebook.

    Raises CannotTell for a text that this program cannot read, and for a book without rules.
    """
    versions = []
    for adoption in read.adoptions(conn):
        where = f"rulebook of entry {adoption.seq}"
        try:
            rulebook = _rulebook(adoption.text, where)
        except WrongUse as refusal:
            raise CannotTell(*refusal.problems) from None
        versions.append(Version(adoption.at, adoption.seq, adoption.recorded, rulebook))
    if not versions:
        what = "no rulebook was adopted"
        raise CannotTell(Problem("the book", what, "make a new book with `checkwatch begin`"))
    return Versions.of(*versions)


@lru_cache(maxsize=32)
def _rulebook(text: str, where: str) -> Rulebook:
    """What a text says: an entry is judged by it before it is written and after."""
    return read_or_refuse(text, where)


def _zone(versions: Versions, now: Instant) -> tzinfo:
    version = versions.in_force(now)
    return version.rulebook.zone if version else UTC


def by_machine(entries: Iterable[Entry], machines: Iterable[str]) -> dict[str, list[Entry]]:
    """The entries of each machine, in the order given; a machine may have none."""
    found: dict[str, list[Entry]] = {machine: [] for machine in sorted(machines)}
    for entry in entries:
        found[entry.machine].append(entry)
    return found
