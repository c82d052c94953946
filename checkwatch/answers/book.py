"""The book as a question sees it: versions, places, and the entries of the machines it concerns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from checkwatch.core.entry import Enrolled, Entry, Moved, PlaceKnown
from checkwatch.core.instant import BEGINNING, FOREVER, Instant
from checkwatch.core.judge import Judge
from checkwatch.core.place import PlaceStanding, places_at, present
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing
from checkwatch.core.versions import Versions


class Question(NamedTuple):
    """As of which instant, and as the book was known when.

    `known_at` is None where nobody asked: then all that is written counts.
    """

    at: Instant
    now: Instant
    known_at: Instant | None = None

    @property
    def known(self) -> Instant:
        """The K of docs/meaning.md: without one everything counts that was read, also what
        another computer wrote by a clock a little ahead of ours."""
        return FOREVER if self.known_at is None else self.known_at


@dataclass(frozen=True)
class Book:
    """What was read for a question.

    `places` is all that it was told of places, in order of (at, seq). `doubts` are the reasons why
    the book is not believed; with any, every standing is unknown. `newest` is when its newest
    entry was written, None for a book without entries.
    """

    versions: Versions
    places: Sequence[PlaceKnown]
    entries: Mapping[str, Sequence[Entry]]
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None
    _latest: dict[str, Instant] = field(default_factory=dict, repr=False)
    _known: dict[tuple[Instant, Instant], dict[str, PlaceKnown]] = field(
        default_factory=dict, repr=False
    )
    _ever_in: defaultdict[str, set[str]] = field(
        default_factory=lambda: defaultdict(set), repr=False
    )
    _judges: dict[tuple[str, Instant, Instant], Judge] = field(default_factory=dict, repr=False)
    _fleets: dict[Question, list[MachineStanding]] = field(default_factory=dict, repr=False)

    def with_more(
        self, entries: Iterable[Entry], doubts: tuple[str, ...], newest: Instant | None
    ) -> Book:
        """The book after more was written about machines; what was worked out for the others is
        kept."""
        more: dict[str, list[Entry]] = defaultdict(list)
        for entry in entries:
            more[entry.machine].append(entry)
        return Book(
            self.versions,
            self.places,
            {
                **self.entries,
                **{tag: [*self.entries.get(tag, ()), *new] for tag, new in more.items()},
            },
            doubts,
            newest,
            _latest={tag: latest for tag, latest in self._latest.items() if tag not in more},
            _known=self._known,
            _judges={key: judge for key, judge in self._judges.items() if key[0] not in more},
        )

    def forget_instants(self) -> None:
        """Drops what was worked out for single instants; what holds for all of them is kept."""
        self._fleets.clear()
        for judge in self._judges.values():
            judge.forget()

    def ever_in(self, rooms: Iterable[str]) -> frozenset[str]:
        """The machines that stood in any of these rooms at any time."""
        if not self._ever_in and self.entries:
            for tag, entries in self.entries.items():
                for entry in entries:
                    if isinstance(entry, Enrolled | Moved):
                        self._ever_in[entry.place].add(tag)
        return frozenset().union(*(self._ever_in.get(room, ()) for room in rooms))

    def rulebook(self, question: Question) -> Rulebook | None:
        """The version in force, None if none was known yet."""
        version = self.versions.known_at(question.known).in_force(question.at)
        return version.rulebook if version else None

    def places_known(
        self, question: Question, at: Instant | None = None
    ) -> Mapping[str, PlaceKnown]:
        """The last word on each place at `at` (the question's instant), in the order of the
        lists."""
        last = self._last("", self.places)
        key = (min(question.at if at is None else at, last), question.known)
        if key not in self._known:
            found = places_at(self.places, *key).values()
            ordered = sorted(found, key=lambda p: (p.order, p.area, p.place))
            self._known[key] = {place.place: place for place in ordered}
        return self._known[key]

    def judge(self, machine: str, question: Question, at: Instant | None = None) -> Judge:
        """The judge of a machine with its entries up to `at` (the question's instant)."""
        entries = self.entries.get(machine, ())
        last = self._last(machine, entries)
        key = (machine, min(question.at if at is None else at, last), question.known)
        if key not in self._judges:
            self._judges[key] = Judge(machine, entries, self.versions, key[1], key[2])
        return self._judges[key]

    def _last(self, machine: str, entries: Sequence[Entry]) -> Instant:
        """When the last of a machine's entries, or of those about places, is dated: from then on
        they are the same at any instant."""
        if machine not in self._latest:
            self._latest[machine] = max((entry.at for entry in entries), default=BEGINNING)
        return self._latest[machine]

    def standing(self, machine: str, question: Question) -> MachineStanding:
        """Where a machine stands; unknown while the book is not believed."""
        return self.believed(self.judge(machine, question).at(question.at))

    def believed(self, standing: MachineStanding) -> MachineStanding:
        """The same, or unknown while the book is not believed."""
        return standing._replace(standing=Standing.UNKNOWN) if self.doubts else standing

    def believed_place(self, place: PlaceStanding) -> PlaceStanding:
        """The same, or unknown while the book is not believed; nor does one believe then that
        something is missing there."""
        if not self.doubts:
            return place
        return PlaceStanding(place.place, Standing.UNKNOWN, place.machines)

    def fleet(self, question: Question) -> list[MachineStanding]:
        """Every machine that is commissioned and not retired at the question's instant."""
        if question not in self._fleets:
            standings = (self.standing(machine, question) for machine in sorted(self.entries))
            self._fleets[question] = [s for s in standings if present(s)]
        return self._fleets[question]
