"""What a page says of one area: what to do now, then all places in their fixed order.

Every time in it is a wall's time and none is relative, so that it stays true while nothing happens.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from checkwatch.answers.board import Board, Row
from checkwatch.core.attempt import plain as number
from checkwatch.core.instant import FOREVER, SECOND, Instant, iso
from checkwatch.core.states import Standing, State
from checkwatch.views.board import cost
from checkwatch.views.fleet import COUNTED, Fleet, notes_of, of_row, usable
from checkwatch.views.page_fit import FIRST, Fit, Line, split
from checkwatch.views.page_look import shown
from checkwatch.views.paper import text
from checkwatch.views.todo import Task
from checkwatch.views.words import Here, listed, plural

#: The state of a check that must be seen from afar.
_TOLD = (State.FAILED,)

#: Letters of what somebody wrote that a page shows in one place.
_LONGEST = 400


class Fixed(Here):
    """A place to read from where time stands still: no time is told as from now."""

    def when(self, instant: Instant) -> str:
        """The local time alone."""
        return self.local(instant)


def lines(board: Board, here: Here) -> list[Line]:
    """All places of a board; machines of a place of which the same is said share a line."""
    fleet = Fleet(board, Fixed(*here))
    return [line for row in board.rows for line in _of_place(row, fleet)]


def _until(line: Line, here: Here) -> str:
    if line.until < FOREVER:
        return f"until {here.local(line.until)}"
    if line.machines and line.standing is not None and usable(line.standing):
        return "an entry ends it"
    return ""


def _of_place(row: Row, fleet: Fleet) -> list[Line]:
    found: dict[tuple[bool, Standing, str], Line] = {}
    for item in of_row(row, fleet):
        notes = "; ".join(notes_of(item, fleet, _TOLD))
        tags = tuple(placed.machine.machine for placed in item.machines)
        until = min((placed.until for placed in item.machines), default=FOREVER)
        before = found.get((not tags, item.standing, notes))
        if before is not None:
            tags, until = (*before.machines, *tags), min(before.until, until)
        line = Line(item.place, tags, item.standing, until, notes)
        found[not tags, item.standing, notes] = line
    if not found and row.place:
        standing = Standing.UNKNOWN if fleet.board.doubts else None
        return [Line(row.place.place, (), standing, FOREVER, "no machine is here")]
    return [_with_end(line, fleet.here) for line in found.values()]


def _with_end(line: Line, here: Here) -> Line:
    return line._replace(said="; ".join(filter(None, [_until(line, here), line.said])))


def counted(standings: Iterable[Standing]) -> str:
    """How many stand how, what needs somebody first."""
    all_of_them = list(standings)
    numbers = ((standing, all_of_them.count(standing)) for standing in COUNTED)
    return ", ".join(shown(standing, str(many)) for standing, many in numbers if many)


def places(found: Sequence[Line], fit: Fit) -> str:
    """All places as tables side by side, each of which begins with a place."""
    parts = "".join(_table(part) for part in split(found, fit))
    return f'<section class="parts" aria-label="all places">\n{parts}</section>\n'


def _table(part: Sequence[Line]) -> str:
    head = (
        '<th class="place">place</th><th class="machine">machine</th>'
        '<th class="stand">standing</th><th>until; limits; what is owed</th>'
    )
    bodies = (_place(list(group)) for _, group in groupby(part, lambda line: line.place))
    return f"<table>\n<thead><tr>{head}</tr></thead>\n{''.join(bodies)}</table>\n"


def _place(of_it: Sequence[Line]) -> str:
    span = f' rowspan="{len(of_it)}"' if len(of_it) > 1 else ""
    name = text(of_it[0].place, 80)
    first = f'<th class="place" scope="rowgroup"{span}>{name}</th>'
    rows = (_row(line, first if line is of_it[0] else "") for line in of_it)
    return f"<tbody>\n{''.join(rows)}</tbody>\n"


def _row(line: Line, first: str) -> str:
    ends = (
        f' data-until="{iso(Instant(line.until - line.until % SECOND))}"'
        if line.until < FOREVER
        else ""
    )
    tags = " ".join(f'<span class="tag">{text(tag, 80)}</span>' for tag in line.machines)
    if not tags and line.standing is not None:
        tags = "place"
    standing = shown(line.standing) if line.standing is not None else ""
    quiet = " quiet" if line.standing in (None, Standing.WITHDRAWN) else ""
    return (
        f'<tr{ends}>{first}<td class="machine">{tags}</td><td class="stand">{standing}</td>'
        f'<td class="fades{quiet}">{text(line.said, 2 * _LONGEST)}</td></tr>\n'
    )


def todo(tasks: Sequence[Task], here: Here, doubted: bool) -> str:
    """The block on top: the first tasks, and what all of them cost."""
    if doubted or not tasks:
        said = "nobody can tell" if doubted else "nothing"
        return f'<section class="fades">\n<h2>to do now: {said}</h2>\n</section>\n'
    hidden = max(len(tasks) - FIRST, 0)
    told = text(cost(tasks, hidden))
    if hidden:
        told += ' (<a href="#more">below all places</a>)'
    return (
        '<section class="fades">\n<h2>to do now</h2>\n'
        f"{_tasks(tasks[:FIRST], here)}<p>{told}</p>\n</section>\n"
    )


def rest(tasks: Sequence[Task], here: Here) -> str:
    """The tasks for which the top has no room."""
    if len(tasks) <= FIRST:
        return ""
    table = _tasks(tasks[FIRST:], here)
    return f'<section class="fades" id="more">\n<h2>also to do now</h2>\n{table}</section>\n'


def _tasks(tasks: Sequence[Task], here: Here) -> str:
    head = "<th>place</th><th>machine</th><th>work</th><th>owed</th><th>what</th>"
    parts = groupby(tasks, key=lambda task: task.begins)
    bodies = (_begins(begins, list(some), here) for begins, some in parts)
    return f'<table class="tasks">\n<thead><tr>{head}</tr></thead>\n{"".join(bodies)}</table>\n'


def _begins(begins: Instant | None, tasks: Sequence[Task], here: Here) -> str:
    rows = "".join(_task(task, here) for task in tasks)
    if begins is None:
        return f"<tbody>\n{rows}</tbody>\n"
    said = f"before work begins {text(here.moment(begins))}"
    return f'<tbody>\n<tr><th class="place" colspan="5">{said}</th></tr>\n{rows}</tbody>\n'


def _task(task: Task, here: Here) -> str:
    what = task.what
    if task.excused_until is not None:
        what += f" (in use by exception until {here.local(task.excused_until)})"
    since = "" if task.since is None or task.begins else f"since {here.local(task.since)}"
    minutes = f"{number(task.minutes)} min" if task.minutes else ""
    return (
        f'<tr><td class="place">{text(task.place, 80)}</td>'
        f'<td class="machine">{text(task.machine, 80)}</td><td class="minutes">{minutes}</td>'
        f'<td class="since">{text(since)}</td><td>{text(what, _LONGEST)}</td></tr>\n'
    )


def doubt(doubts: Sequence[str], since: Instant | None, here: Here) -> str:
    """Why nothing is known, and since when; empty while the book is believed."""
    if not doubts:
        return ""
    began = f" {'since ' + here.local(since) if since is not None else ''}".rstrip()
    said = f"The book is not believed{began}, so every standing is unknown: {listed(doubts)}"
    return f'<p class="doubt">{text(said, 2 * _LONGEST)}</p>\n'


def count_of(board: Board) -> str:
    """How many machines stand how."""
    standings = [placed.machine.standing for placed in board.machines]
    return f"{plural(len(standings), 'machine')}: {counted(standings)}"
