"""Which machines have or had an item of a lot: the question of a recall.

What is fitted stays until the next fitting of the same happening. A struck fitting ends no stay:
what was there before may be there still. Where no label was read, or nothing was written at all,
the book does not know which lot it was, and the answer says so: a recall must not miss a machine.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator
from datetime import date
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.core.clause import Fitted
from checkwatch.core.entry import Enrolled, Happening, Moved
from checkwatch.core.instant import BEGINNING, FOREVER, HOUR, Instant
from checkwatch.core.logbook import Logbook
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.spelling import likeness, nearest_names

#: Within so long the same label on the same machine was scanned twice, rather than fitted twice.
_SCANNED_TWICE = HOUR


class Stay(NamedTuple):
    """What a machine held over [start, until), `FOREVER` where it is still there.

    `fittings` is the one that began it; where no lot is known there may be several in a row, or
    none: then nothing was written since the machine was commissioned. `places` are those where the
    machine stood meanwhile. `ended` is the next fitting. `struck` says that the one fitting was
    written in error, `retired` that the machine has left the fleet.
    """

    machine: str
    code: str
    start: Instant
    until: Instant
    places: tuple[str, ...]
    fittings: tuple[Happening, ...] = ()
    ended: Happening | None = None
    struck: bool = False
    retired: bool = False

    @property
    def still(self) -> bool:
        """Whether it is there as far as the book knows."""
        return self.until >= FOREVER


class Lot(NamedTuple):
    """The stays of a lot, those that last first, and the stays meanwhile of which no lot is known.

    `since` is when it was first fitted, `BEGINNING` where it never was. `others` are lots that are
    spelt alike or, where nothing has this one, nearly so. `asked_of` are the happenings that were
    looked at; without any the book knows of no item at all.
    """

    lot: str
    question: Question
    rulebook: Rulebook | None
    stays: tuple[Stay, ...]
    unknown: tuple[Stay, ...]
    since: Instant
    others: tuple[str, ...]
    asked_of: frozenset[str]
    doubts: tuple[str, ...] = ()

    @property
    def certain(self) -> bool:
        """Whether a no is certain by the book."""
        alike = any(_bare(other) == _bare(self.lot) for other in self.others)
        return bool(self.asked_of) and not self.unknown and not alike


def lot(name: str, book: Book, question: Question) -> Lot:
    """Where the items of a lot are and were; its name is compared letter by letter."""
    rulebook = book.rulebook(question)
    logs = {tag: book.judge(tag, question).log for tag in sorted(book.entries)}
    logs = {tag: log for tag, log in logs.items() if log.enrolled is not None}
    labelled = [entry for log in logs.values() for entry in _labelled(log)]
    codes = frozenset(entry.code for entry in labelled if entry.lot == name)
    gtins = {entry.gtin for entry in labelled if entry.lot == name}
    found = [
        stay
        for tag, log in logs.items()
        for code in codes
        for stay in stays(tag, log, code)
        if stay.fittings[0].lot == name
    ]
    since = min((stay.start for stay in found), default=BEGINNING)
    asked_of = _asked_of(codes, gtins, labelled, rulebook)
    unknown = [
        stay
        for tag, log in logs.items()
        for code in sorted(asked_of)
        for stay in _unknown(tag, log, code, rulebook)
        if stay.start < stay.until > since
    ]
    lots = {entry.lot for entry in labelled} - {"", name}
    return Lot(
        name,
        question,
        rulebook,
        tuple(sorted(found, key=_order)),
        tuple(sorted(unknown, key=_order)),
        since,
        _others(name, lots, known=bool(found)),
        asked_of,
        book.doubts,
    )


def stays(machine: str, log: Logbook, code: str) -> list[Stay]:
    """What each fitting of one happening began, in order."""
    found: list[Stay] = []
    following: Happening | None = None
    for entry in reversed(log.entries):
        if not isinstance(entry, Happening) or entry.code != code:
            continue
        struck = entry.seq in log.struck
        stay = _stay(machine, log, code, entry.at, following)
        found.append(stay._replace(fittings=(entry,), struck=struck))
        following = following if struck else entry
    return found[::-1]


def elsewhere(machine: str, fitted: Happening, book: Book, question: Question) -> tuple[Stay, ...]:
    """Where else an item with the same serial number is by the book: it cannot be at two places."""
    return tuple(
        stay
        for tag in sorted(book.entries)
        if tag != machine
        for stay in stays(tag, book.judge(tag, question).log, fitted.code)
        if stay.still and not stay.struck and _same_item(stay.fittings[0], fitted)
    )


def already(fitted: Happening, log: Logbook) -> Stay | None:
    """The stay of what seems to be the same item on the same machine: then its label was scanned
    twice, and nothing was fitted anew. None where nothing says so.

    Of a lot the next one may come from the same box, so without a serial number it is the same
    for a short while only.
    """
    if not (fitted.gtin or fitted.lot or fitted.serial):
        return None
    found = (
        stay
        for stay in reversed(stays(fitted.machine, log, fitted.code))
        if not stay.struck and _label(stay.fittings[0]) == _label(fitted)
    )
    return next((stay for stay in found if _again(fitted, stay)), None)


def _label(fitted: Happening) -> tuple[object, ...]:
    return (fitted.gtin, fitted.lot, fitted.serial, fitted.expiry)


def _again(fitted: Happening, stay: Stay) -> bool:
    is_there = stay.start <= fitted.at and bool(fitted.serial)
    soon = abs(fitted.at - stay.start) < _SCANNED_TWICE
    return fitted.at < stay.until and (is_there or soon)


def good_to(log: Logbook, code: str, at: Instant) -> date | None:
    """The last day on which what was fitted at an instant is good; None where no label says."""
    return Fitted.of(log.entries, code, log.struck).good_to(at)


def _same_item(one: Happening, other: Happening) -> bool:
    return one.serial == other.serial and (one.gtin == other.gtin or "" in (one.gtin, other.gtin))


def _stay(machine: str, log: Logbook, code: str, start: Instant, ended: Happening | None) -> Stay:
    until = FOREVER if ended is None else ended.at
    places = _places(log, start, until)
    return Stay(machine, code, start, until, places, ended=ended, retired=log.retired is not None)


def _places(log: Logbook, start: Instant, until: Instant) -> tuple[str, ...]:
    """Where the machine stood over a time, in order."""
    found: list[str] = []
    for entry in log.entries:
        if not isinstance(entry, Enrolled | Moved) or entry.at >= max(until, start + 1):
            continue
        if entry.at <= start:
            found = [entry.place]
        elif not found or entry.place != found[-1]:
            found.append(entry.place)
    return tuple(found)


def _labelled(log: Logbook) -> Iterator[Happening]:
    """The fittings of which a label, or a person, said something."""
    for entry in log.entries:
        if isinstance(entry, Happening) and (
            entry.gtin or entry.lot or entry.serial or entry.expiry
        ):
            yield entry


def _asked_of(
    codes: frozenset[str],
    gtins: Container[str],
    labelled: Iterable[Happening],
    rulebook: Rulebook | None,
) -> frozenset[str]:
    """The happenings by which the lot may have been fitted: those by which it was, and what the
    rules in force call the fitting of such an item; without them, all by which items are fitted."""
    items = rulebook.items if rulebook else ()
    if codes:
        same = (item for item in items if any(gtin in gtins for gtin in item.gtins))
        return codes.union(item.happening for item in same)
    written = (entry.code for entry in labelled)
    return frozenset((*written, *(item.happening for item in items)))


def _unknown(machine: str, log: Logbook, code: str, rulebook: Rulebook | None) -> Iterator[Stay]:
    """The times over which the book does not know which lot a machine held."""
    all_stays = stays(machine, log, code)
    known_from = next((stay.fittings[0] for stay in all_stays if not stay.struck), None)
    enrolled = log.enrolled
    assert enrolled is not None, "a machine that is not commissioned holds nothing"
    if not (all_stays or _concerns(enrolled, code, rulebook)):
        return
    waiting = _stay(machine, log, code, enrolled.at, known_from)
    for stay in (stay for stay in all_stays if not stay.fittings[0].lot):
        if stay.start <= waiting.until:
            waiting = _joined(waiting, stay, log)
        else:
            yield waiting
            waiting = stay
    yield waiting


def _joined(one: Stay, other: Stay, log: Logbook) -> Stay:
    """Two stays that follow each other as one."""
    last = max(one, other, key=lambda stay: stay.until)
    return one._replace(
        until=last.until,
        ended=last.ended,
        places=_places(log, one.start, last.until),
        fittings=one.fittings + other.fittings,
    )


def _concerns(enrolled: Enrolled, code: str, rulebook: Rulebook | None) -> bool:
    """Whether the rules expect this to happen to such a machine."""
    checks = rulebook.applying(enrolled.kind, enrolled.model) if rulebook else ()
    return any(code in check.voided_by for check in checks)


def _others(name: str, lots: Iterable[str], *, known: bool) -> tuple[str, ...]:
    """The lots that may be the same, spelt otherwise, or may be meant."""
    there = sorted(lots)
    alike = [other for other in there if _bare(other) == _bare(name)]
    return tuple(alike if known or alike else nearest_names(name, there))


def _bare(name: str) -> str:
    """A lot as somebody may have typed it: without capitals, blanks and marks between."""
    return re.sub(r"[\W_]", "", likeness(name))


def _order(stay: Stay) -> tuple[object, ...]:
    return (not stay.still, stay.machine, stay.start)
