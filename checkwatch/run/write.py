"""Writing entries: what is asked for is looked at, written in one transaction, and its effect told.

With `what_if` the same happens on a book that is only read, and nothing is written.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.answers.acceptance import Facts, ends_nothing, mistakes_about, mistakes_in
from checkwatch.answers.book import Question
from checkwatch.answers.effect import Effect, PlaceEffect, effect
from checkwatch.answers.people import asking, flagged, mistakes_of, nobody
from checkwatch.answers.remark import remarks
from checkwatch.core.entry import (
    Closing,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Severity,
    Struck,
)
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.logbook import as_of
from checkwatch.core.person import People
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run.around import places_changed
from checkwatch.run.foresee import changing
from checkwatch.run.pin import Signature, signed
from checkwatch.run.world import Asked, Concerns, Names, ask_on, names_of
from checkwatch.store import engine, journal, read
from checkwatch.store.people import everybody
from checkwatch.views.words import listed, spoken, with_article

#: Makes the drafts for a book: `seq` and `recorded` of a draft do not count.
Make = Callable[[Asked], Sequence[Entry]]


class Written(NamedTuple):
    """The entries as they stand in the book, or would, what each machine's came to, and the places
    that stand otherwise since."""

    asked: Asked
    entries: tuple[Entry, ...]
    effects: tuple[Effect, ...]
    places: tuple[PlaceEffect, ...]

    @property
    def by_machine(self) -> list[tuple[Effect, list[Entry]]]:
        """What came of each machine's entries, with them."""
        return [
            (seen, [entry for entry in self.entries if entry.machine == seen.after.machine])
            for seen in self.effects
        ]


def write(
    url: str,
    now: Instant,
    concerns: Concerns,
    make: Make,
    what_if: bool,
    signature: Signature | None = None,
    done_by: str | None = None,
) -> Written:
    """Writes what `make` drafts, all of it or nothing. `done_by` is whose work it says, where that
    is not who writes it.

    Raises WrongUse with every mistake in the drafts, NeedsPin where the rules ask a PIN of who
    writes them and no `signature` of theirs is there, CannotTell where the book cannot be written
    or is not believed.
    """
    with engine.reading(url) if what_if else changing(url, now) as conn:
        names = names_of(conn)
        wanted = concerns(names)
        machines = names.tags if wanted is None else frozenset(wanted)
        if not what_if:
            # Held before it is read: what the drafts are judged by stays true until they stand.
            journal.hold(conn, machines)
        asked = believed(ask_on(conn, now, lambda _: machines))
        people = everybody(conn)
        drafts = accepted(conn, make(asked), asked, people, done_by)
        if not what_if:
            drafts = [_signed(draft, asked, people, signature) for draft in drafts]
        moment = asked.question.now
        wrote = imagined(conn, drafts, moment) if what_if else journal.append(conn, drafts, moment)
        places = places_changed(conn, asked.names, asked.book, wrote)
        return Written(asked, tuple(wrote), _effects(asked, wrote), places)


def write_about(
    url: str,
    now: Instant,
    number: int,
    make: Callable[[Asked, Entry], Sequence[Entry]],
    what_if: bool,
    signature: Signature | None = None,
    also: Callable[[Names], Iterable[str]] = lambda _: (),
) -> Written:
    """As `write`, about the machine of an entry given by its number, and others; what is written
    again of an entry is the work of who wrote that.

    Raises WrongUse if there is no such entry, or it is about the whole book.
    """
    with engine.reading(url) as conn:
        about = read.by_number(conn, number)
    if about is None or not about.machine:
        what = "there is no such entry about a machine"
        raise WrongUse(Problem(f"entry {number}", what, "see `checkwatch why MACHINE`"))
    machine = about.machine

    def concerns(names: Names) -> Iterable[str]:
        return (machine, *also(names))

    def drafts(asked: Asked) -> Sequence[Entry]:
        return make(asked, about)

    return write(url, now, concerns, drafts, what_if, signature, about.by)


def believed(asked: Asked) -> Asked:
    """The same; raises CannotTell for a book that is not believed: nobody writes in it."""
    if asked.book.doubts:
        what = f"it is not believed: {'; '.join(asked.book.doubts)}"
        raise CannotTell(Problem("the book", what, "put that right before you write"))
    return asked


def facts_of(entries: Iterable[Entry]) -> Facts | None:
    """What the book knows of a machine; None before it was enrolled."""
    log = as_of(entries, FOREVER, FOREVER)
    if log.enrolled is None:
        return None
    return Facts(log.enrolled, log.retired.at if log.retired else None)


def accepted(
    conn: Connection,
    drafts: Iterable[Entry],
    asked: Asked,
    people: People,
    done_by: str | None = None,
) -> list[Entry]:
    """The drafts, flagged where their writer is doubtful, or who did it if that is another;
    WrongUse with every mistake in them."""
    problems: list[Problem] = []
    found: list[Entry] = []
    now = asked.question.now
    for draft in drafts:
        where = f"{draft.machine} {draft.what}"
        facts = facts_of(asked.book.entries.get(draft.machine, ()))
        version = asked.book.versions.in_force(draft.at)
        if facts is None or version is None:
            problems.append(Problem(where, "the machine is not enrolled", "`checkwatch enrol` it"))
            continue
        rulebook, kind = version.rulebook, facts.enrolled.kind
        problems += mistakes_in(draft, rulebook, facts, asked.names.places, now, where)
        rules = asking(asked.book.versions, draft.at, now)
        draft = flagged(draft, rules, kind, people, done_by)
        problems += _writers(draft, rules, kind, people, where)
        if isinstance(draft, Happening) and ends_nothing(draft.code, kind, rulebook):
            problems.append(_wrong_machine(conn, draft, kind, asked, rulebook))
        if isinstance(draft, Struck):
            problems += _struck_again(draft, asked.book.entries[draft.machine], where)
        if isinstance(draft, FaultClosed):
            problems += _closed_again(draft, asked.book.entries[draft.machine], where)
        if isinstance(draft, Struck | FaultClosed) and draft.of is not None:
            target = read.by_number(conn, draft.of)
            problems += mistakes_about(draft, target, where, rulebook.zone)
        found.append(draft)
    if problems:
        raise WrongUse(*problems)
    return found


def _writers(
    draft: Entry, rules: Iterable[Rulebook], kind: str, people: People, where: str
) -> Iterable[Problem]:
    """Why who writes it may not, by each of the rules that ask."""
    found: dict[Problem, None] = {}
    for rulebook in rules:
        wrong = nobody(draft, rulebook, people, where)
        found |= dict.fromkeys(wrong or mistakes_of(draft, rulebook, kind, people, where))
    return found


def _wrong_machine(
    conn: Connection, draft: Happening, kind: str, asked: Asked, rulebook: Rulebook
) -> Problem:
    """The refusal of a happening that would leave the machine cleared to which it happened."""
    place = as_of(asked.book.entries[draft.machine], draft.at, FOREVER).place
    near = ask_on(conn, asked.question.now, lambda names: names.ever_at.get(place, ()))
    beside = [
        one.machine
        for one in near.book.fleet(near.question._replace(at=draft.at))
        if one.log.place == place
        and one.log.enrolled is not None
        and not ends_nothing(draft.code, one.log.enrolled.kind, rulebook)
    ]
    note = f"if it did happen to {draft.machine}, `checkwatch note {shlex.quote(draft.machine)} …`"
    meant = f"did you mean {listed(beside, 'or')}? " if beside else ""
    what = f"{draft.code} ends nothing on {with_article(spoken(kind))}"
    return Problem(draft.machine, what, f"{meant}{note}")


def _signed(draft: Entry, asked: Asked, people: People, signature: Signature | None) -> Entry:
    for rulebook in asking(asked.book.versions, draft.at, asked.question.now):
        draft = signed(draft, rulebook, people, signature)
        if draft.signed:
            break
    return draft


def _struck_again(draft: Struck, known: Iterable[Entry], where: str) -> Iterator[Problem]:
    """What is wrong with a striking of what is struck already: it would change nothing."""
    earlier = [e for e in known if isinstance(e, Struck) and e.of == draft.of]
    for striking in earlier:
        if striking.restores:
            what = f"entry {draft.of} is struck already, with all that it cost"
            yield Problem(where, f"{what} (entry {striking.seq})", "nothing is left to strike")
            return
    if earlier and not draft.restores:
        what = f"entry {draft.of} is struck already (entry {earlier[0].seq})"
        yield Problem(where, what, "add --restores to take away what it cost as well")


def _closed_again(draft: FaultClosed, known: Sequence[Entry], where: str) -> Iterator[Problem]:
    """What is wrong with closing a fault a second time, or with not saying which one is closed."""
    log = as_of(known, FOREVER, FOREVER)
    if draft.of is None:
        tag = shlex.quote(draft.machine)
        commands = [
            f"`checkwatch fault-closed {tag} {one.seq} --how HOW`" for one in log.open_faults
        ]
        if commands:
            yield Problem(where, "which fault is closed is not said", listed(commands, "or"))
        return
    closings = (e for e in log.entries if isinstance(e, FaultClosed) and e.seq not in log.struck)
    earlier = next((one for one in closings if one.of == draft.of), None)
    if earlier is None or any(one.seq == draft.of for one in log.open_faults):
        return
    remedy = f"nothing is left to close; see `checkwatch log {shlex.quote(draft.machine)}`"
    limit = next((one for one in log.open_faults if _came_with(earlier, one)), None)
    if limit is not None:
        remedy = f"its limit is fault {limit.seq}"
    yield Problem(where, f"fault {draft.of} was closed by entry {earlier.seq}", remedy)


def _came_with(closing: FaultClosed, fault: Fault) -> bool:
    """Whether a fault is the limit with which another was accepted: both are written in one act,
    with nothing of their machine between them."""
    if closing.how is not Closing.ACCEPTED or fault.severity is not Severity.LIMIT:
        return False
    return fault.seq > closing.seq and (fault.at, fault.recorded) == (closing.at, closing.recorded)


def imagined(conn: Connection, drafts: Sequence[Entry], now: Instant) -> list[Entry]:
    """The drafts as the journal would write them, or its refusal."""
    journal.refuse_taken_refs(conn, (draft.ref for draft in drafts))
    first = read.newest_seq(conn) + 1
    return [journal.dated(draft, seq, now) for seq, draft in enumerate(drafts, first)]


def _effects(asked: Asked, wrote: Sequence[Entry]) -> tuple[Effect, ...]:
    book = asked.book
    moment = max((entry.recorded for entry in wrote), default=asked.question.now)
    after = book.with_more(wrote, book.doubts, moment)
    question = Question(moment, moment)
    return tuple(
        effect(
            book.standing(machine, question),
            after.standing(machine, question),
            after.judge(machine, question).until(moment),
            remarks(machine, [e for e in wrote if e.machine == machine], book, after, question),
        )
        for machine in dict.fromkeys(entry.machine for entry in wrote)
        if machine
    )
