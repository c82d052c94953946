"""A message: its title with the number that matters, plain text for 40 columns, and HTML.

It stands for itself: who reads it may have nothing else at hand, and may read it late.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from checkwatch.answers.board import Board
from checkwatch.answers.notice.kinds import MANNERS, Kind
from checkwatch.answers.notice.matter import Matter
from checkwatch.answers.risks import Lapse, Risks
from checkwatch.core.standing import MachineStanding
from checkwatch.views.answer import CAUTION_NO
from checkwatch.views.paper import day_and_time, text
from checkwatch.views.report import paragraph
from checkwatch.views.todo import Task, tasks
from checkwatch.views.words import LOOKS, Here, harmless, inside, listed, plural

#: Columns of the plain text: a telephone's.
COLUMNS = 40

_CAUTION = (
    "A recorded check is not proof that a machine is safe. Who uses it checks it and decides; the "
    "maker's instructions and local policy come first."
)


class Told(NamedTuple):
    """A notice as a message tells it: `matter` for what came about, `areas` and `late` for a list
    (all areas where empty)."""

    number: int
    kind: Kind
    matter: Matter | None = None
    areas: tuple[str, ...] = ()
    late: bool = False


class Item(NamedTuple):
    """One thing of a list: what it is about, then a line each."""

    head: str
    lines: tuple[str, ...]


class Part(NamedTuple):
    """A heading, a sentence, and the things that it is about."""

    heading: str
    sentence: str
    items: tuple[Item, ...] = ()


class Composed(NamedTuple):
    """A message without its address."""

    title: str
    body: str
    html: str


class Known(NamedTuple):
    """What lists are made from; `risks` only where one tells of them."""

    board: Board
    risks: Risks | None = None


def compose(told: Sequence[Told], known: Known | None, here: Here, suite: str) -> Composed:
    """One message that tells all of it, what is most urgent first. `suite` is the rulebook's title,
    `known` what lists are made from, None where there are none."""
    ranks = {kind: rank for rank, kind in enumerate(MANNERS)}
    in_order = sorted(told, key=lambda one: (ranks[one.kind], one.number))
    parts = [_part(one, known, here) for one in in_order]
    title = _title(in_order, parts)
    heading = f"{suite}, {day_and_time(here.now, here)}"
    end = [_how_to_hear(in_order), CAUTION_NO if _urgent(in_order) else _CAUTION]
    return Composed(title, _plain(heading, parts, end), _html(title, heading, parts, end))


def _title(told: Sequence[Told], parts: Sequence[Part]) -> str:
    first = parts[0].heading
    late = "late: " if any(one.late for one in told) else ""
    if len(parts) == 1:
        return f"{late}{first}"
    return f"{late}{len(parts)} to act on: {first}; {parts[1].heading}" + (
        f"; and {len(parts) - 2} more" if len(parts) > 2 else ""
    )


def _urgent(told: Iterable[Told]) -> bool:
    return any(MANNERS[one.kind].urgent for one in told)


def _how_to_hear(told: Iterable[Told]) -> str:
    numbers = [one.number for one in told if one.matter is not None]
    if not numbers:
        return ""
    return (
        f"Whoever sees to it types: checkwatch heard {numbers[0]} --by YOUR-CODE. "
        "That stops the repeats, not what is owed."
    )


def _part(one: Told, known: Known | None, here: Here) -> Part:
    if one.matter is not None:
        return _of_matter(one.matter, one.number, here)
    assert known is not None, "a list is made from a board"
    late = "This list comes late. " if one.late else ""
    if one.kind is Kind.TOMORROWS_RISKS and known.risks is not None:
        return _of_risks(known.risks, one.areas, known.board, late, here)
    return _of_list(known.board, one.areas, late, here)


def _of_matter(matter: Matter, number: int, here: Here) -> Part:
    who = ", ".join(filter(None, [matter.machine, matter.place]))
    title = matter.title
    heads = {
        Kind.GATE_FAILED: f"{who}: {title} failed",
        Kind.STOP_USE_FAULT: f"{who}: fault, not to be used",
        Kind.EXCEPTION_TAKEN: f"{who}: used by exception",
        Kind.EXCEPTION_UNPAID: f"{who}: used by exception, still owed",
        Kind.LAPSE_SOON: f"{who}: {title} until {here.local(matter.until)}",
        Kind.WATCHER_BACK: "the watcher was away",
        Kind.CANNOT_TELL: "what is cleared is not known",
    }
    return Part(heads[matter.kind], f"Notice {number}. {_sentence(matter, here)}")


def _sentence(matter: Matter, here: Here) -> str:
    said = f' "{harmless(matter.words, 300)}"' if matter.words else ""
    since, title = here.moment(matter.since), matter.title
    match matter.kind:
        case Kind.GATE_FAILED:
            return f"The {title} failed {since}.{said} The machine is not cleared."
        case Kind.STOP_USE_FAULT:
            return f"Written {since}:{said or ' no words'}. The machine is not cleared."
        case Kind.EXCEPTION_TAKEN:
            until = here.moment(matter.until)
            return f"Taken {since}, ends {until}.{said} The checks stay owed."
        case Kind.EXCEPTION_UNPAID:
            return f"The use by exception was over {since}. Still owed: {title}."
        case Kind.LAPSE_SOON if matter.in_use:
            return f"In use: owed at the end of this case. It lapses {here.dated(matter.until)}."
        case Kind.LAPSE_SOON:
            return f"It lapses {here.dated(matter.until)} and is owed from then on."
        case Kind.CANNOT_TELL:
            return f"The book is not believed: {matter.words}. No machine is cleared by it."
        case _:
            return f"Nobody looked between {here.local(matter.since)} and now. {matter.words}"


def _of_list(board: Board, areas: tuple[str, ...], late: str, here: Here) -> Part:
    """What is owed as an order of work."""
    if board.doubts:
        heading = "cannot tell what is owed"
        return Part(heading, f"{late}The book is not believed: {listed(board.doubts)}.")
    inside_areas = _InAreas(board, areas)
    work = [task for task in tasks(board) if inside_areas.task(task)]
    elsewhere = inside_areas.owed_elsewhere(work)
    written = f"Book last written {here.local(board.newest)}." if board.newest else ""
    fleet = plural(inside_areas.machines, "machine")
    if not work and not elsewhere:
        return Part(f"nothing owed on {fleet}", f"{late}Nothing is owed on {fleet}. {written}")
    machines = len({task.machine or task.place for task in work})
    heading = f"{machines} of {fleet} to see to"
    rest = f" Also owed, where nobody works soon: {listed(elsewhere)}." if elsewhere else ""
    sentence = f"{late}In this order.{rest} {written}"
    return Part(heading, sentence, tuple(_of_task(task, here) for task in work))


def _of_task(task: Task, here: Here) -> Item:
    head = ", ".join(filter(None, [task.place, task.machine]))
    lines = [task.what]
    if task.excused_until is not None:
        lines.append(f"in use by exception until {here.local(task.excused_until)}")
    if task.since is not None:
        lines.append(f"owed since {here.local(task.since)}")
    if task.begins is not None:
        lines.append(f"work begins {here.local(task.begins)}")
    if task.minutes:
        lines.append(f"{task.minutes:g} min")
    return Item(head, tuple(lines))


class _InAreas:
    """A board looked at for some areas; for all of them where none is named. What stands nowhere
    that the book knows belongs to every list: somebody must look for it."""

    def __init__(self, board: Board, areas: tuple[str, ...]) -> None:
        rows = [
            row for row in board.rows if not areas or row.place is None or row.place.area in areas
        ]
        self._places = {row.place.place for row in rows if row.place is not None}
        self._all = not areas
        self._tags = {placed.machine.machine for row in rows for placed in row.machines}
        self._board = board

    @property
    def machines(self) -> int:
        """How many machines stand there."""
        return len(self._tags)

    def task(self, task: Task) -> bool:
        """Whether a task is one of these areas; one about the whole fleet is of each."""
        return self._all or not task.place or task.place in self._places

    def owns(self, machine: MachineStanding) -> bool:
        """Whether a machine stands there."""
        return machine.machine in self._tags

    def owed_elsewhere(self, work: Iterable[Task]) -> list[str]:
        """The machines that owe something and are no task."""
        named = {task.machine for task in work}
        owed = (*self._board.overdue.overdue, *self._board.overdue.owed)
        tags = {one.machine.machine for one in owed if self.owns(one.machine)}
        return sorted(tags - named)


def _of_risks(risks: Risks, areas: tuple[str, ...], board: Board, late: str, here: Here) -> Part:
    if risks.doubts:
        return Part("cannot tell what tomorrow brings", f"{late}The book is not believed.")
    there = _InAreas(board, areas)
    lapsing: dict[str, list[Lapse]] = defaultdict(list)
    for one in risks.lapsing:
        if there.owns(one.machine):
            lapsing[one.machine.machine].append(one)
    items = [
        Item(
            f"{owed[0].machine.log.place}, {tag}",
            tuple(f"{inside(o.state.check.title)} until {here.local(o.until)}" for o in owed),
        )
        for tag, owed in lapsing.items()
    ]
    for machine in (*risks.unusable, *risks.limited):
        if there.owns(machine):
            word = LOOKS[machine.standing].word
            head = f"{machine.log.place}, {machine.machine}"
            limits = (harmless(limit, 200) for limit in machine.limits)
            items.append(Item(head, (f"{word} now", *limits)))
    fleet = plural(there.machines, "machine")
    if not items:
        return Part(f"tomorrow: nothing lapses on {fleet}", f"{late}Nothing lapses on {fleet}.")
    heading = f"tomorrow: {len(items)} of {fleet} to see to"
    sentence = f"{late}What lapses before tomorrow's work is over, if nothing is written."
    return Part(heading, sentence, tuple(items))


def _plain(heading: str, parts: Iterable[Part], end: Iterable[str]) -> str:
    lines = [*_wrapped(heading)]
    for part in parts:
        lines += ["", *_wrapped(part.heading)]
        lines += _wrapped(part.sentence)
        for number, item in enumerate(part.items, 1):
            lines += ["", *_wrapped(f"{number}. {item.head}")]
            lines += [line for said in item.lines for line in _wrapped(f"   {said}")]
    for said in filter(None, end):
        lines += ["", *_wrapped(said)]
    return "\n".join(lines) + "\n"


def _wrapped(said: str) -> list[str]:
    return paragraph(said, COLUMNS)


def _html(title: str, heading: str, parts: Iterable[Part], end: Iterable[str]) -> str:
    body = "".join(_html_part(part) for part in parts)
    last = "".join(f"<p><small>{text(said)}</small></p>\n" for said in filter(None, end))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{text(title)}</title></head>\n"
        '<body style="font:16px/1.4 sans-serif;max-width:40em;margin:1em">\n'
        f"<p>{text(heading)}</p>\n{body}{last}</body></html>\n"
    )


def _html_part(part: Part) -> str:
    items = "".join(_html_item(item) for item in part.items)
    rows = f"<ol>\n{items}</ol>\n" if items else ""
    return f"<h2>{text(part.heading)}</h2>\n<p>{text(part.sentence)}</p>\n{rows}"


def _html_item(item: Item) -> str:
    return f"<li><strong>{text(item.head)}</strong>{''.join(_br(s) for s in item.lines)}</li>\n"


def _br(said: str) -> str:
    return f"<br>{text(said)}"
