"""What is going on that people should hear of, machine by machine.

A matter is the same as long as its kind, its subject and its occasion are: being told of it twice
is being told of the same thing. Nothing here knows who is told.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.unpaid import Unpaid, unpaid
from checkwatch.core.entry import CaseEnd, CaseStart, EmergencyUse, Result, Severity
from checkwatch.core.instant import DAY, FOREVER, MINUTE, Instant, iso
from checkwatch.core.logbook import Logbook
from checkwatch.core.period import Period, earlier
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import State
from checkwatch.core.wording import inside, listed

#: A lapse is a matter so long before anybody is told of it, so that several can be told together;
#: and machines are looked at again at few times, not each at its own.
EARLY, GRID = 15 * MINUTE, 5 * MINUTE


#: A case without an end counts for so long; our own choice.
LONGEST_CASE = DAY


class Matter(NamedTuple):
    """Something that people should hear of.

    `since` is when it came about, `until` when it will have passed: when a check lapses, when an
    exception ends, else FOREVER. `title` says which checks it is about, `words` what somebody wrote
    with it. One of a machine `in_use` is told to the coordinator only; one `at_rest` is told once,
    because the machine is out of use, or because it is `paid`, an exception that leaves no debt.
    """

    kind: Kind
    subject: str
    occasion: str
    since: Instant
    until: Instant = FOREVER
    machine: str = ""
    place: str = ""
    area: str = ""
    title: str = ""
    words: str = ""
    in_use: bool = False
    at_rest: bool = False
    paid: bool = False

    @property
    def key(self) -> tuple[Kind, str, str]:
        """What makes it one and the same."""
        return (self.kind, self.subject, self.occasion)


class Foreseen(NamedTuple):
    """The matters of a machine, and when to look again if nothing more is written."""

    matters: tuple[Matter, ...]
    again: Instant


def foreseen(machine: str, book: Book, question: Question, ahead: Iterable[Period]) -> Foreseen:
    """What people should hear of a machine now, or in `EARLY`; `ahead` are the times before a lapse
    at which one is told of it."""
    standing = book.standing(machine, question)
    if standing.rulebook is None or standing.log.enrolled is None or standing.log.retired:
        # It may be written already that it will be put to use.
        coming = [entry.at for entry in book.entries.get(machine, ())]
        return Foreseen((), min((at for at in coming if at > question.at), default=FOREVER))
    place = book.places_known(question).get(standing.log.place)
    head = Matter(
        Kind.LAPSE_SOON,
        machine,
        "",
        question.at,
        machine=machine,
        place=standing.log.place,
        area=place.area if place else "",
        at_rest=standing.log.withdrawn is not None,
    )
    periods = tuple(ahead)
    found = [*_faults(standing, head), *_exceptions(standing, head, question.at)]
    kind = place.place_kind if place else ""
    # Whatever else comes with time alone: use by exception is over, other rules begin to judge.
    again = [entry.until for entry in standing.log.entries if isinstance(entry, EmergencyUse)]
    again += (version.start for version in book.versions.adopted)
    for told, matter in _lapses(standing, head, kind, periods):
        looks = [Instant((at - EARLY) // GRID * GRID) for at in told]
        if any(at <= question.at for at in looks):
            found.append(matter)
        again += looks
    again = [at for at in again if at > question.at]
    return Foreseen(tuple(found), min(again, default=FOREVER))


def _faults(standing: MachineStanding, head: Matter) -> Iterator[Matter]:
    """Gates that failed, and open faults that forbid use."""
    failed: dict[Result, list[str]] = defaultdict(list)
    for gate in standing.gates:
        if gate.state is State.FAILED and gate.failed is not None:
            failed[gate.failed.result].append(gate.check.title)
    for result, titles in failed.items():
        yield head._replace(
            kind=Kind.GATE_FAILED,
            occasion=str(result.seq),
            since=result.at,
            title=listed(map(inside, titles)),
            words=result.note,
        )
    for fault in standing.log.open_faults:
        if fault.severity is Severity.STOP_USE:
            yield head._replace(
                kind=Kind.STOP_USE_FAULT,
                occasion=str(fault.seq),
                since=fault.at,
                words=fault.note,
            )


def _exceptions(standing: MachineStanding, head: Matter, now: Instant) -> Iterator[Matter]:
    """Exceptions that are not paid, and the debt once use is over. One that is paid by now is told
    for a day, for who did not hear of it."""
    debt = unpaid(standing)
    owed = debt.exceptions if debt else ()
    for entry in standing.log.entries:
        if not isinstance(entry, EmergencyUse) or entry.seq in standing.log.struck:
            continue
        if entry in owed or now - entry.recorded < DAY:
            paid = entry not in owed
            yield head._replace(
                kind=Kind.EXCEPTION_TAKEN,
                occasion=str(entry.seq),
                since=entry.at,
                until=entry.until,
                words=entry.note,
                paid=paid,
                at_rest=paid or head.at_rest,
            )
    if debt is not None and (over := _over(debt, standing.log, now)) is not None:
        yield head._replace(
            kind=Kind.EXCEPTION_UNPAID,
            occasion=str(debt.exceptions[-1].seq),
            since=over,
            title=listed(inside(gate.check.title) for gate in debt.gates),
        )


def _over(debt: Unpaid, log: Logbook, now: Instant) -> Instant | None:
    """When the use by exception was over: with the case, or else with the exception, so that a case
    of which nobody wrote the end hides no debt; None while it goes on."""
    last = debt.exceptions[-1]
    ends = [e.at for e in log.entries if isinstance(e, CaseEnd) and e.key > last.key]
    over = min([*ends, last.until])
    return over if over <= now else None


def is_in_use(log: Logbook, at: Instant) -> bool:
    """Whether a case goes on, by what was written; of one that began long ago nobody wrote the
    end."""
    told = [entry for entry in log.entries if isinstance(entry, CaseStart | CaseEnd)]
    return bool(told) and isinstance(told[-1], CaseStart) and at - told[-1].at < LONGEST_CASE


def _lapses(
    standing: MachineStanding, head: Matter, place_kind: str, ahead: Iterable[Period]
) -> Iterator[tuple[list[Instant], Matter]]:
    """What will lapse on duty, each with the times at which one is told of it."""
    rulebook = standing.rulebook
    if rulebook is None or head.at_rest:
        return
    in_use = is_in_use(standing.log, standing.at)
    for gate in standing.gates:
        until = _ends(gate)
        if until is None:
            continue
        told = [earlier(until, period, rulebook.zone) for period in ahead]
        if any(rulebook.on_duty(place_kind, at) for at in (*told, until)):
            yield told, _lapse(gate, until, head, in_use)


def _ends(gate: CheckState) -> Instant | None:
    """When a gate lapses that is ready; None for one that is not, or that lasts."""
    if not gate.ready or gate.window is None or gate.window.expiry >= FOREVER:
        return None
    return gate.window.expiry


def _lapse(gate: CheckState, until: Instant, head: Matter, in_use: bool) -> Matter:
    assert gate.attempt is not None, "a ready gate has an attempt"
    return head._replace(
        subject=f"{head.machine} {gate.check.code}",
        occasion=f"{gate.attempt.result.seq} {iso(until)}",
        until=until,
        title=inside(gate.check.title),
        in_use=in_use,
    )
