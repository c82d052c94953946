"""The desk's book: opened anew for each line, so that other computers write meanwhile."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from functools import partial
from typing import Any

from checkwatch.answers.desk import said
from checkwatch.answers.desk.line import TooLate
from checkwatch.answers.desk.slip import MACHINE, Fitting, Known, Slip
from checkwatch.answers.desk.slip import Written as Last
from checkwatch.answers.under_way import begun
from checkwatch.core.entry import Entry, Happening, Result, Struck
from checkwatch.core.instant import CLOCK_TOLERANCE, MINUTE, Instant, parse_instant, wall
from checkwatch.core.mistake import quoted
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import CannotTell, CheckwatchError, Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.fitting import Typed, fitted_already, read_fit
from checkwatch.run.pin import Signature
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, Names, ask_on
from checkwatch.run.write import Written, believed, write
from checkwatch.store import engine
from checkwatch.store.people import everybody
from checkwatch.views.fitted import already, item

#: What was said of an entry is forgotten after so long without a line: whoever comes next must not
#: put their code to it.
LEFT = 2 * MINUTE

UNDONE = "undone at the desk"

_TIME = re.compile(
    r"(?:(?:today|yesterday) +)?(?:[01]?\d|2[0-3]):[0-5]\d(?::[0-5]\d)?|\d{4}-.*",
    re.ASCII | re.IGNORECASE,
)


class Desk:
    """A book, and what this desk wrote last. `day` is that of the newest card typed in."""

    def __init__(self, url: str, typing_in: bool) -> None:
        self.url, self.typing_in = url, typing_in
        self.last: Last | None = None
        self.day: date | None = None

    def look(self, slip: Slip, line: str) -> tuple[Known, Asked]:
        """What a line is read by, as the book is now."""
        now = clock.now()
        with engine.reading(self.url) as conn:
            asked = believed(ask_on(conn, now, partial(_concerned, slip, line)))
            people = everybody(conn)
        rulebook = asked.book.rulebook(asked.question)
        if rulebook is None:
            raise CannotTell(Problem("the book", "has no rules yet", "`checkwatch rules adopt`"))
        fleet = asked.book.fleet(asked.question)
        known = Known(
            now=now,
            names=(*asked.names.tags, *asked.names.places),
            resolve=asked.names.resolve,
            kinds={
                one.machine: (one.log.enrolled.kind, one.log.enrolled.model)
                for one in fleet
                if one.log.enrolled is not None
            },
            there={
                place: tuple(one.machine for one in fleet if one.log.place == place)
                for place in asked.names.places
            },
            rulebook=rulebook,
            people=people,
            fit=partial(self._fit, slip, rulebook, now),
            moment=partial(self._moment, asked),
            begun=partial(_begun, asked),
            last=self.last,
            typing_in=self.typing_in,
        )
        return known, asked

    def _fit(self, slip: Slip, rulebook: Rulebook, now: Instant, scan: str) -> Fitting:
        day = wall(now if slip.at is None else slip.at, rulebook.zone).date()
        found = read_fit(scan, Typed(), rulebook, day, slip.machine or "MACHINE")
        fields = _fields(slip.machine, now, now, "")
        entry = Happening(**fields, code=found.code, **found.says)
        return Fitting(found.code, item(entry, rulebook))

    def _moment(self, asked: Asked, text: str) -> Instant:
        """A typed time; one without a day is of the day of the card before."""
        if not _TIME.fullmatch(text):
            remedy = "type it like 06:50 or yesterday 06:50"
            raise WrongUse(Problem(quoted(text), "is no time", remedy))
        now, zone, bare = asked.question.now, asked.zone, len(text) <= len("23:59")
        if bare and self.day is not None:
            found = parse_instant(f"{self.day}T{text:0>5}", zone, "the time")
        else:
            found = typed_instant(text, zone, now, "the time")
        if found > now + CLOCK_TOLERANCE:
            remedy = "type the day too, like yesterday 06:50"
            raise WrongUse(Problem(quoted(text), "is still to come", remedy))
        return found

    def same(self, slip: Slip) -> tuple[int, str]:
        """The number of an entry that says the same already, 0 for none, and what that says: of a
        card that it was typed in, of an item that it is on the machine."""
        if not (slip.scan or self.typing_in):
            return 0, ""
        with engine.reading(self.url) as conn:
            asked = ask_on(conn, clock.now(), lambda _: (slip.machine,))
        if self.typing_in and (number := said.said_already(slip, asked.book.entries[slip.machine])):
            return number, f"entry {number} is about the same, at the same minute"
        entry = self._draft(slip, asked, []) if slip.scan else None
        stay = fitted_already(entry, asked) if isinstance(entry, Happening) else None
        return (0, "") if stay is None else (stay.fittings[0].seq, already(stay, asked.here))

    def write(self, slip: Slip, signature: Signature | None) -> tuple[Written, tuple[str, ...]]:
        """Writes what was said, or strikes the last entry; with it what a person should look at.

        Raises what `write` raises.
        """
        if slip.undo:
            return self._strike(slip, signature), ()
        looks: list[str] = []

        def made(asked: Asked) -> list[Entry]:
            looks.clear()
            return [self._draft(slip, asked, looks)]

        wrote = write(self.url, clock.now(), lambda _: (slip.machine,), made, False, signature)
        (entry,) = wrote.entries
        self.last = Last(entry.seq, entry.machine, entry.recorded)
        if slip.at is not None:
            self.day = wall(slip.at, wrote.asked.zone).date()
        return wrote, tuple(looks)

    def _draft(self, slip: Slip, asked: Asked, looks: list[str]) -> Entry:
        now = asked.question.now
        at = now if slip.at is None else slip.at
        fields = _fields(slip.machine, at, now, slip.by)
        if slip.outcome is not None:
            fields |= {"started": _started(slip, asked)}
        says: dict[str, Any] = {}
        if slip.scan:
            version = asked.book.versions.in_force(at)
            assert version is not None, "a book without rules is refused before"
            day = wall(at, version.rulebook.zone).date()
            fitted = read_fit(slip.scan, Typed(), version.rulebook, day, slip.machine)
            if fitted.code != slip.what:
                what = f"by the rules of then its fitting is {fitted.code}, not {slip.what}"
                raise WrongUse(Problem("label", what, "start anew with an empty line"))
            says = fitted.says
            looks += fitted.warnings
        return said.draft(slip, fields, says)

    def _strike(self, slip: Slip, signature: Signature | None) -> Written:
        assert self.last is not None, "without a last entry there is nothing to undo"
        machine, wrote_at = self.last.machine, self.last.at

        def made(asked: Asked) -> list[Entry]:
            now = asked.question.now
            if now - wrote_at > MINUTE:
                raise TooLate(slip.undo)
            return [Struck(**_fields(machine, now, now, slip.by), note=UNDONE, of=slip.undo)]

        wrote = write(self.url, clock.now(), lambda _: (machine,), made, False, signature)
        self.last = None
        return wrote


def _begun(asked: Asked, slip: Slip) -> Result | None:
    """The entry with which a test of the slip's check began that is under way at its time."""
    if slip.machine not in asked.book.entries:
        return None
    at = asked.question.now if slip.at is None else slip.at
    return begun(slip.machine, slip.what, asked.book, asked.question._replace(at=at))


def _started(slip: Slip, asked: Asked) -> Instant | None:
    """When the test began, if it is the one that was begun in the book; raises WrongUse where
    that is another one than somebody was asked about."""
    found = _begun(asked, slip)
    number = 0 if found is None else found.seq
    if number not in (0, slip.begun) or (slip.is_end and not number):
        what = "something else was written of it meanwhile"
        raise WrongUse(Problem(f"{slip.machine} {slip.what}", what, said.ANEW))
    return found.at if found is not None and slip.is_end else None


def _fields(machine: str, at: Instant, now: Instant, by: str) -> dict[str, Any]:
    return {"seq": 0, "machine": machine, "at": at, "recorded": now, "by": by}


def _concerned(slip: Slip, line: str, names: Names) -> Iterable[str]:
    """The machines that the slip and a line can mean."""
    found = {slip.machine, *slip.offered} & names.tags
    typed = line[len(MACHINE) :] if line.lower().startswith(MACHINE) else line
    try:
        name = names.resolve(typed.strip())
    except CheckwatchError:
        return found
    return found | (frozenset({name}) if name in names.tags else names.ever_at.get(name, found))
