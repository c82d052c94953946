"""The board: a short block "to do now", then all places with their machines.

One value becomes a screen of any size (`Screen`) or plain text (`plain`). Nothing here knows the
time: `now` is given, and what the book said is never shown as if it were newer than it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import NamedTuple

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from checkwatch.answers.board import Board
from checkwatch.answers.notice.watching import is_watching
from checkwatch.core.attempt import plain as number
from checkwatch.core.instant import MINUTE, SECOND, Instant, to_datetime
from checkwatch.views.fleet import WIDE, Fleet, counts, fitted, full
from checkwatch.views.grid import Cell, broken, cell, cut, line, lines, packed, widths
from checkwatch.views.narrow import NARROW, stacked
from checkwatch.views.report import LONGEST
from checkwatch.views.todo import Task
from checkwatch.views.watching import sentence
from checkwatch.views.words import Here, duration, harmless, listed, plural, relative

CAUTION = "A recorded check proves no machine safe; its user checks and decides."

#: On a screen the block "to do now" takes no more than this part of the room.
_TODO_PART = 3


class Frame(NamedTuple):
    """What stands around a board: the rulebook's title and zone; whether its data is invented; when
    a watcher last looked, None where none ever did."""

    title: str
    zone: tzinfo
    example: bool = False
    looked: Instant | None = None


class Late(NamedTuple):
    """Data that could not be read anew: as of when it is, and why, empty where none is known."""

    read: Instant
    why: str = ""


@dataclass(frozen=True)
class Screen:
    """A board as rich prints it: fitted to a screen of `height` lines, whole where it has none.

    `now` is what the clock shows; `late` is set while the book cannot be read.
    """

    board: Board
    tasks: Sequence[Task]
    frame: Frame
    now: Instant
    height: int | None = None
    late: Late | None = None

    def __rich_console__(self, _: Console, options: ConsoleOptions) -> RenderResult:
        # Rich tells the width to whatever it renders, but the height not inside of a live screen.
        width, height = options.max_width, self.height
        fleet = _fleet(self.board, self.frame, self.now)
        head = _head(fleet, self, width)
        if height is None:
            todo, body = _todo(self, fleet, width, None), _body(fleet, width, None)
            return [*head, Text(), *todo, Text(), *body, Text(), *_texts(CAUTION, width)]
        foot = _foot(width)
        room = max(height - len(head) - len(foot), 0)
        todo = _todo(self, fleet, width, room // _TODO_PART)
        body = _body(fleet, width, max(room - len(todo), 0))
        spare = room - len(todo) - len(body)
        gap = [Text()] if spare >= 2 else []
        below = [Text()] * (spare - 2 * len(gap))
        found = [*head, *gap, *todo, *gap, *body, *below, *foot][:height]
        for text in found:
            text.no_wrap, text.overflow = True, "ellipsis"
        return found


@dataclass(frozen=True)
class Blind:
    """What is shown when the book could not be read for too long: no standing at all."""

    frame: Frame
    now: Instant
    late: Late

    def __rich_console__(self, _: Console, options: ConsoleOptions) -> RenderResult:
        width = options.max_width
        since = clock(self.late.read, self.frame.zone)
        ago = relative(self.late.read, self.now)
        told = f"The book has not been readable since {since}, {ago}."
        return [
            _title(self.frame, self.now, width),
            Text(),
            *_texts(told, width, "bold"),
            *_texts(self.late.why, width),
            Text(),
            *_texts("No standing is shown: from here nobody can tell what is cleared.", width),
        ]


def plain(board: Board, tasks: Sequence[Task], frame: Frame) -> str:
    """The board as text: one machine a line, aligned, nothing cut or broken into lines."""
    whole = Screen(board, tasks, frame, board.question.now)
    fleet = _fleet(board, frame, board.question.now)
    found = [
        *_head(fleet, whole, None),
        Text(),
        *_todo(whole, fleet, None, None),
        Text(),
        *full(fleet),
        Text(),
        Text(CAUTION),
    ]
    return "\n".join(text.plain.rstrip() for text in found)


def clock(now: Instant, zone: tzinfo) -> str:
    """What a clock on a wall of the zone shows: "Thu 12 Mar 06:50:07 GMT"."""
    moment = to_datetime(now, zone)
    return f"{moment:%a} {moment.day} {moment:%b %H:%M:%S} {moment.tzname()}"


def _fleet(board: Board, frame: Frame, now: Instant) -> Fleet:
    # Another computer's clock may be a little ahead: what it wrote has happened.
    question = board.question
    at = None if question.at == question.now else question.at
    return Fleet(board, Here(frame.zone, max(now, question.now), at))


def _head(fleet: Fleet, shown: Screen, width: int | None) -> list[Text]:
    """The title with the clock, the counts, when the book was written, and every doubt."""
    board, here = fleet.board, fleet.here
    title = _title(shown.frame, shown.now, width)
    number_of = Text(f"{plural(len(board.machines), 'machine')}: ")
    *more, counted = packed([number_of, *counts(fleet, board.machines)], width)
    if not board.machines:
        counted = Text("no machine is in the book")
    written = "nothing is written yet"
    if board.newest is not None:
        written = f"last written {here.real.when(board.newest)}"
    looked = shown.frame.looked
    if looked is not None and is_watching(looked, shown.now):
        written += f"; watched {to_datetime(looked, here.zone):%H:%M:%S}"
    found = [title, *more, *_spread(counted, written, width)]
    found += [text for told in _reservations(fleet, shown) for text in _texts(told, width, "bold")]
    return found


def _title(frame: Frame, now: Instant, width: int | None) -> Text:
    title = harmless(frame.title, LONGEST if width is None else max(width, 1))
    shown = clock(now, frame.zone)
    text = Text("EXAMPLE  " if frame.example else "", "bold", no_wrap=True, overflow="crop")
    if width is None:
        return text.append(f"{title}  {shown}")
    room = max(width - len(shown) - 2 - cell_len(text.plain), 1)
    title = cut(title, room)
    return text.append(title + " " * (room - cell_len(title)) + f"  {shown}")


def _spread(left: Text, right: str, width: int | None) -> list[Text]:
    """Two texts on one line if they fit, the second at its end; else on two."""
    if width is None:
        return [left, Text(right)]
    space = width - cell_len(left.plain) - len(right)
    if space < 2:
        return [left, Text(right)]
    return [left.copy().append(" " * space + right)]


def _reservations(fleet: Fleet, shown: Screen) -> list[str]:
    """What to know before believing the rest."""
    board, here = fleet.board, fleet.here
    question, found = board.question, []
    if question.at != question.now:
        found.append(f"As of {here.real.when(question.at)}.")
    if question.known_at is not None:
        found.append(f"As the book was known {here.real.dated(question.known_at)}.")
    if board.doubts:
        doubts = listed(board.doubts)
        found.append(f"The book is not believed, so every standing is unknown: {doubts}")
    if shown.frame.looked is not None and not is_watching(shown.frame.looked, shown.now):
        found.append(sentence(shown.frame.looked, here.real, watches=False))
    if shown.late is not None:
        since = clock(shown.late.read, here.zone)
        age = _age(shown.now - shown.late.read)
        why = f": {shown.late.why}" if shown.late.why else ""
        found.append(f"This is {age} old, as of {since}; the book cannot be read now{why}")
    return found


def _body(fleet: Fleet, width: int, room: int | None) -> list[Text]:
    return (stacked if width < NARROW else fitted)(fleet, width, room)


def _foot(width: int) -> list[Text]:
    """The caution, on two lines where it would be cut; how to leave, where there is room."""
    if width < NARROW:
        return _texts(CAUTION, width)
    return _spread(Text(CAUTION), "q quits", width)[:1]


def _age(micros: int) -> str:
    return f"{micros // SECOND} s" if micros < MINUTE else duration(micros)


def _todo(shown: Screen, fleet: Fleet, width: int | None, room: int | None) -> list[Text]:
    """The tasks as a table, then what is left out and what all of it costs."""
    tasks = shown.tasks
    if fleet.board.doubts:
        return [Text("to do now: nobody can tell")]
    if not tasks:
        return [Text("to do now: nothing")]
    whole = _tasks(tasks, fleet.here, width, broken=width is not None)
    most = len(tasks)
    if room is not None and len(whole) >= room:
        while most > 1 and 2 + most + len(_beginnings(tasks[:most])) > room:
            most -= 1
        whole = _tasks(tasks[:most], fleet.here, width, broken=False)
    return [*whole, Text(cost(tasks, len(tasks) - most))]


def _beginnings(tasks: Sequence[Task]) -> set[Instant]:
    return {task.begins for task in tasks if task.begins is not None}


def _tasks(tasks: Sequence[Task], here: Here, width: int | None, broken: bool) -> list[Text]:
    """A heading, the tasks of now, then those of each time at which places begin to work."""
    wide = width is None or width >= WIDE
    words = ("to do now", "machine", "work", *(("owed", "what") if wide else ("what",)))
    heading = [Cell(word, "underline") for word in words]
    rows = [_task(task, here, width, wide) for task in tasks]
    across = widths([heading, *rows], width)
    found, begins = [line(heading, across)], None
    for task, row in zip(tasks, rows, strict=True):
        if task.begins is not None and task.begins != begins:
            begins = task.begins
            found.append(Text(f"before work begins {here.dated(begins)}", "bold"))
        found += lines(row, across, None if broken else 1)
    return found


def _task(task: Task, here: Here, width: int | None, wide: bool) -> list[Cell]:
    limit = LONGEST if width is None else width // 4
    what = task.what
    if task.excused_until is not None:
        what += f" (in use by exception until {here.local(task.excused_until)})"
    since = "" if task.since is None or task.begins else f"since {here.when(task.since)}"
    minutes = f"{number(task.minutes)} min" if task.minutes else ""
    start = [cell(task.place, limit=limit), cell(task.machine, limit=limit), Cell(minutes)]
    if wide:
        return [*start, Cell(since), cell(what)]
    return [*start, cell("; ".join(filter(None, [what, since])))]


def cost(tasks: Sequence[Task], hidden: int) -> str:
    """How much there is to do in all."""
    more = f"and {hidden} more; " if hidden else ""
    minutes = sum(task.minutes for task in tasks if task.minutes is not None)
    total = f", about {number(minutes)} attended minutes" if minutes else ""
    all_known = all(task.minutes is not None for task in tasks)
    part = "" if all_known or not minutes else " where the rulebook says"
    return f"{more}{len(tasks)} to do in all{total}{part}"


def _texts(told: str, width: int | None, style: str = "") -> list[Text]:
    """A sentence in lines of the screen's width."""
    shown = harmless(told, LONGEST)
    return [Text(piece, style) for piece in (broken(shown, width) if width else [shown])]
