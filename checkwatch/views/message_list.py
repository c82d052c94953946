"""The lists: what is owed as an order of work, and what tomorrow brings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from checkwatch.answers.board import Board
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.lists import Late
from checkwatch.answers.risks import Lapse, Risks
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Number
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing
from checkwatch.views.message_part import Item, Known, Part, Told
from checkwatch.views.report import Command
from checkwatch.views.todo import Task, tasks
from checkwatch.views.words import LOOKS, Here, duration, harmless, inside, listed, plural

#: So many lists that were missed are named, so many machines of a check that lapses tomorrow; more
#: are counted. Our own choice.
_NAMED = 5

#: Beside "nothing": nobody may take it for more than it is.
_BY_WHAT_IS_WRITTEN = "That is by what was written: look when it was."


def of_list(told: Told, known: Known, here: Here) -> Part:
    """The list that a notice tells."""
    late = [_late(told.late, here)] if told.late is not None else []
    is_risks = told.kind is Kind.TOMORROWS_RISKS
    if known.board.doubts:
        heading = f"cannot tell what {'tomorrow brings' if is_risks else 'is owed'}"
        why = f"The book is not believed: {listed(known.board.doubts)}. What is wrong:"
        return Part(heading, (*late, why, Command("checkwatch book check")))
    strange = _unknown(known.board, told.areas)
    if strange:
        # Of an area that is not there nothing is owed: that must not read as all well.
        no = f"No place is in {listed(strange)}: look at the notices file. This is of all areas."
        late.append(no)
    there = _There(known.board, () if strange else told.areas)
    if is_risks and known.risks is not None:
        part = _of_risks(known.risks, there, here)
    else:
        part = _of_work(known.board, there, here)
    return part._replace(blocks=(*late, *part.blocks))


def _unknown(board: Board, areas: Iterable[str]) -> list[str]:
    """The areas in which no place is."""
    known = {row.place.area for row in board.rows if row.place is not None}
    return [harmless(area, 60) for area in areas if area not in known]


def _late(late: Late, here: Here) -> str:
    """How late a list is, and which ones before it nobody got."""
    said = f"This list is {duration(here.now - late.at)} late: it was for {here.local(late.at)}."
    missed = [here.local(at) for at in late.missed]
    if not missed:
        return said
    if len(missed) > _NAMED:
        return f"{said} {len(missed)} before it were never sent, the first for {missed[0]}."
    return f"{said} Never sent: {'that' if len(missed) == 1 else 'those'} for {listed(missed)}."


class _There:
    """A board looked at for some areas; for all of them where none is named. What stands nowhere
    that the book knows belongs to every list: somebody must look for it."""

    def __init__(self, board: Board, areas: tuple[str, ...]) -> None:
        rows = [
            row for row in board.rows if not areas or row.place is None or row.place.area in areas
        ]
        self._places = {row.place.place for row in rows if row.place is not None}
        self._all = not areas
        self.machines = {m.machine.machine: m.machine for row in rows for m in row.machines}
        self.fleet = plural(len(self.machines), "machine")

    def has(self, task: Task) -> bool:
        """Whether a task is one of these areas; one about the whole fleet is of each."""
        return self._all or not task.place or task.place in self._places

    def owns(self, machine: MachineStanding) -> bool:
        """Whether a machine stands there."""
        return machine.machine in self.machines


def _of_work(board: Board, there: _There, here: Here) -> Part:
    """What is owed as an order of work."""
    work = [task for task in tasks(board) if there.has(task)]
    elsewhere = _elsewhere(board, there, work)
    written = _written(board.newest, here)
    rest = [*_rest(there, elsewhere)]
    if not work:
        what = f"nothing owed on {there.fleet}"
        if elsewhere:
            what = f"nothing owed where work is near; {len(elsewhere)} of {there.fleet} elsewhere"
        return Part(f"{what}; {written}", tuple(rest) or (_BY_WHAT_IS_WRITTEN,))
    items = [_of_task(task, here) for task in work]
    after = [*_in_all(work), *rest]
    return Part(_how_many(work, board, there), (f"In this order; {written}.", *items, *after))


def _written(newest: Instant | None, here: Here) -> str:
    return f"book last written {here.local(newest)}" if newest else "nothing is written in the book"


def _how_many(work: Sequence[Task], board: Board, there: _There) -> str:
    """How many machines a list is about, and how long it takes. All that are unknown are one
    task."""
    tags = {task.machine for task in work} & there.machines.keys()
    tags |= {machine.machine for machine in board.overdue.unknown if there.owns(machine)}
    lacking = len({task.place for task in work if not task.machine})
    total = _total(work)
    more = " or more" if any(task.minutes is None for task in work) else ""
    minutes = f", {total:g} min{more}" if total else ""
    said = [f"{len(tags)} of {there.fleet} to see to{minutes}"] if tags else []
    if lacking:
        said.append(f"{plural(lacking, 'place')} {'lacks' if lacking == 1 else 'lack'} a machine")
    return "; ".join(said)


def _total(work: Iterable[Task]) -> Number:
    return sum(task.minutes or 0 for task in work)


def _in_all(work: Sequence[Task]) -> Iterator[str]:
    total = _total(work)
    if total:
        yield f"In all {total:g} attended minutes{_unmeasured(work)}."


def _unmeasured(work: Iterable[Task]) -> str:
    """Of what the rulebook gives no minutes."""
    names = [task.machine or task.place for task in work if task.minutes is None]
    return f", and those of {listed(names)}, which the rules do not give" if names else ""


def _elsewhere(board: Board, there: _There, work: Iterable[Task]) -> list[str]:
    """The machines that owe something and are no task."""
    named = {task.machine for task in work}
    owed = (*board.overdue.overdue, *board.overdue.owed)
    return sorted({one.machine.machine for one in owed if there.owns(one.machine)} - named)


def _rest(there: _There, elsewhere: Sequence[str]) -> Iterator[str]:
    """What is no work now, and must not be forgotten."""
    if elsewhere:
        yield f"Owed where nobody works soon: {listed(elsewhere)}."
    resting = [tag for tag, one in there.machines.items() if one.standing is Standing.WITHDRAWN]
    if resting:
        yield f"Withdrawn: {listed(resting)}."
    for tag, one in there.machines.items():
        if one.limits:
            limits = "; ".join(harmless(limit) for limit in one.limits)
            yield f"Limits of {_named(one.log.place, tag)}: {limits}."


def _named(place: str, tag: str) -> str:
    return ", ".join(harmless(name) for name in (place, tag) if name)


def _of_task(task: Task, here: Here) -> Item:
    lines = [task.what]
    if task.excused_until is not None:
        lines.append(f"in use by exception until {here.local(task.excused_until)}")
    if task.since is not None:
        lines.append(f"owed since {here.local(task.since)}")
    if task.begins is not None:
        lines.append(f"work begins {here.local(task.begins)}")
    if task.minutes is None:
        lines.append("minutes not given")
    elif task.minutes:
        lines.append(f"{task.minutes:g} min")
    return Item(_named(task.place, task.machine), tuple(lines))


def _of_risks(risks: Risks, there: _There, here: Here) -> Part:
    """First what cannot be used already, then limits, then what lapses: checks of a few machines
    one by one, those that most machines owe every day together."""
    items = [*_as_they_are((*risks.unusable, *risks.limited), there)]
    lapsing: dict[str, list[Lapse]] = defaultdict(list)
    for lapse in risks.lapsing:
        if there.owns(lapse.machine):
            lapsing[inside(lapse.state.check.title)].append(lapse)
    rare_first = sorted(lapsing.items(), key=lambda one: (len(one[1]) > _NAMED, one[1][0].until))
    items += [_of_lapsing(title, lapses, here) for title, lapses in rare_first]
    if not items:
        heading = f"tomorrow: nothing lapses where people work; {_written(risks.newest, here)}"
        return Part(heading, (_BY_WHAT_IS_WRITTEN,))
    sentence = (
        f"Until {here.local(risks.until)}, where people work, if nothing more is written. Checks "
        "that lapse are to be done before."
    )
    return Part(f"tomorrow: {_summary(risks, there)}", (sentence, *items))


def _summary(risks: Risks, there: _There) -> str:
    """The numbers that matter, of as many machines."""
    lapsing = {one.machine.machine for one in risks.lapsing if there.owns(one.machine)}
    counts = [
        (sum(map(there.owns, risks.unusable)), "not ready now"),
        (sum(map(there.owns, risks.limited)), "limited"),
        (len(lapsing), "with checks that lapse"),
    ]
    return ", ".join(f"{n} {what}" for n, what in counts if n) + f", of {there.fleet}"


def _as_they_are(machines: Iterable[MachineStanding], there: _There) -> Iterator[Item]:
    """Machines that are not as they should be, by how they stand, with their limits."""
    by_standing: dict[Standing, list[str]] = defaultdict(list)
    for one in filter(there.owns, machines):
        limits = "; ".join(harmless(limit) for limit in one.limits)
        said = f"{_named(one.log.place, one.machine)}{': ' if limits else ''}{limits}"
        by_standing[one.standing].append(said)
    for standing, lines in by_standing.items():
        yield Item(f"{LOOKS[standing].word} now", tuple(lines))


def _of_lapsing(title: str, lapses: Sequence[Lapse], here: Here) -> Item:
    if len(lapses) > _NAMED:
        first = f"the first until {here.local(lapses[0].until)}"
        return Item(title, (f"of {len(lapses)} machines, {first}",))
    return Item(
        title,
        tuple(
            f"{_named(one.machine.log.place, one.machine.machine)} until {here.local(one.until)}"
            for one in lapses
        ),
    )
