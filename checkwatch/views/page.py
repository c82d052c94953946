"""The board as pages for a wall or a phone: one for each area, and one that leads to them.

A page is made when something on it changes and rendered anew, with the time alone, while nothing
does. What cannot be refreshed forgets by itself what it knew (page_look.py).
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from hashlib import sha256

from checkwatch.answers.board import Board, Row
from checkwatch.answers.overdue import Owed
from checkwatch.core.instant import (
    CLOCK_TOLERANCE,
    MINUTE,
    SECOND,
    Instant,
    iso,
    to_datetime,
)
from checkwatch.core.period import end_of
from checkwatch.core.place import PlaceStanding
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing
from checkwatch.core.wording import MONTHS, WEEKDAYS
from checkwatch.views.answer import CAUTION_NO, CAUTION_YES
from checkwatch.views.fleet import next_change
from checkwatch.views.page_area import (
    count_of,
    counted,
    doubt,
    lines,
    places,
    rest,
    todo,
)
from checkwatch.views.page_fit import Fit, fitting, fitting_areas
from checkwatch.views.page_look import Frame, framed
from checkwatch.views.paper import text
from checkwatch.views.todo import Duty, Task, tasks
from checkwatch.views.words import Here, plural

INDEX = "index.html"

#: What a page says counts for so long after it was refreshed.
COUNTS_FOR = 2 * MINUTE

_CAUTIONS = (CAUTION_YES, CAUTION_NO)


@dataclass(frozen=True)
class Page:
    """A page without the time of its refresh.

    `area` is empty for the index and for machines without one. What it says is known to hold from
    `start` to `until` if nothing more is written.
    """

    name: str
    area: str
    start: Instant
    until: Instant
    zone: tzinfo
    parts: tuple[str, str]

    def holds(self, at: Instant) -> bool:
        """Whether the page may be refreshed at an instant; if not, it must be made anew."""
        return self.start <= at < self.until

    def render(self, refreshed: Instant) -> str:
        """The whole page, refreshed at an instant; ValueError where it does not hold then."""
        if not self.holds(refreshed):
            raise ValueError(f"{self.name} does not hold at {iso(refreshed)}")
        before, after = self.parts
        return f"{before}{_as_of(refreshed, self.zone)}{after}"


def pages(
    board: Board, here: Here, title: str, banner: str, doubted_since: Instant | None = None
) -> dict[str, Page]:
    """The pages of a board by their names; `doubted_since` is when the book was not believed
    for the first time, if it is not."""
    duty = Duty(board)
    areas = _areas(board)
    names = _names(areas)
    start = Instant(min(here.now, board.question.now) - CLOCK_TOLERANCE)
    until = _steady_until(board, here, duty)
    told = doubt(board.doubts, doubted_since, here)
    to_do = {area: tasks(part, duty) for area, part in areas.items()}
    rows = "".join(
        _indexed(area, names[area], part, len(to_do[area]), duty.has_rules)
        for area, part in areas.items()
    )
    found = [
        _index(
            rows, fitting_areas(list(areas)), board, here, Frame("all areas", title, banner), told
        )
    ]
    found += [
        _area(part, here, Frame(area or "no area", title, banner), told, to_do[area])
        for area, part in areas.items()
    ]
    named = zip([INDEX, *names.values()], ["", *areas], found, strict=True)
    return {n: Page(n, area, start, until, here.zone, parts) for n, area, parts in named}


def dead(
    names: Mapping[str, str],
    why: str,
    since: Instant | None,
    here: Here,
    title: str,
    banner: str,
) -> dict[str, Page]:
    """The pages of a book that cannot be read: no standing, why, and since when.

    `names` are the pages to write over, each with its area, empty where that is not known.
    """
    said = "The book cannot be read: standings are not known."
    if since is not None:
        said = f"The book has not been readable since {here.local(since)}: standings are not known."
    below = f'<p class="doubt">{text(said)}</p>\n<p>{text(why)}</p>\n'
    body = "<p>No standing is shown: from here nobody can tell what is cleared.</p>\n"
    body += _foot(CAUTION_NO)
    start, until = Instant(here.now - CLOCK_TOLERANCE), _midnight(here)
    every = {INDEX: "", **names}
    return {
        name: Page(
            name,
            area,
            start,
            until,
            here.zone,
            framed(Frame(area or "all areas", title, banner), below, body, Fit()),
        )
        for name, area in every.items()
    }


def _as_of(refreshed: Instant, zone: tzinfo) -> str:
    moment = to_datetime(refreshed, zone)
    clock = f"{moment:%H:%M:%S}"
    whole = Instant(refreshed - refreshed % SECOND)
    day = f"{WEEKDAYS[moment.weekday()][:3]} {moment.day} {MONTHS[moment.month - 1][:3]}"
    last = to_datetime(Instant(refreshed + COUNTS_FOR), zone)
    return (
        f'<div class="asof"><time datetime="{iso(whole)}" data-clock="{clock}">'
        f"as of <b>{clock} {text(moment.tzname() or '')}</b>, {day}</time>\n"
        f"<p>does not count after {last:%H:%M:%S}</p></div>\n"
    )


def _steady_until(board: Board, here: Here, duty: Duty) -> Instant:
    """The first instant at which a page would say something else."""
    if board.doubts:
        return _midnight(here)
    at = board.question.at
    ends = (end for m in board.machines for end in _ends(m.machine) if end > at)
    return min(next_change(board, at), _midnight(here), duty.steady_until(board.rows), *ends)


def _midnight(here: Here) -> Instant:
    """The end of the day: times of today are written without it."""
    return end_of(here.now, "day", here.zone)


def _ends(machine: MachineStanding) -> Iterator[Instant]:
    """When something that a page says of a machine ends by time, though it may stand as before."""
    yield from (s.window.expiry for s in machine.checks if s.ready and s.window is not None)
    yield from machine.excused.values()


def _areas(board: Board) -> dict[str, Board]:
    """The board of each area, in the order of their first places."""
    rows: dict[str, list[Row]] = defaultdict(list)
    area_of: dict[str, str] = {}
    for row in board.rows:
        area = row.place.area if row.place else ""
        rows[area].append(row)
        area_of.update((placed.machine.machine, area) for placed in row.machines)
    overdue, owed, unknown = (
        _sorted_out(board.overdue.overdue, area_of),
        _sorted_out(board.overdue.owed, area_of),
        defaultdict[str, list[MachineStanding]](list),
    )
    for machine in board.overdue.unknown:
        unknown[area_of[machine.machine]].append(machine)
    return {
        area: board._replace(
            rows=tuple(of_it),
            overdue=board.overdue._replace(
                overdue=tuple(overdue[area]),
                owed=tuple(owed[area]),
                unknown=tuple(unknown[area]),
            ),
            counts=dict(Counter(p.machine.standing for row in of_it for p in row.machines)),
        )
        for area, of_it in rows.items()
    }


def _sorted_out(owed: Iterable[Owed], area_of: Mapping[str, str]) -> dict[str, list[Owed]]:
    found: dict[str, list[Owed]] = defaultdict(list)
    for one in owed:
        found[area_of[one.machine.machine]].append(one)
    return found


def _names(areas: Iterable[str]) -> dict[str, str]:
    """The file of each area, from its name alone; areas whose names come to the same tell
    themselves apart, all of them, so that no page takes the place of another's."""
    short = {area: _short(area) for area in areas}
    shared = Counter(short.values())
    return {
        area: f"area-{name}{f'.{_mark(area)}' if shared[name] > 1 else ''}.html"
        for area, name in short.items()
    }


def _short(area: str) -> str:
    """Letters, digits and hyphens; what they cannot tell of a name, a mark tells."""
    plain = unicodedata.normalize("NFKD", area or "no area").casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    name = re.sub("[^a-z0-9]+", "-", plain).strip("-")
    if len(name) <= 60 and all(c.isascii() for c in plain if c.isalnum()) and name:
        return name
    return f"{name[:60]}.{_mark(area)}".lstrip(".")


def _mark(area: str) -> str:
    return sha256(area.encode("utf-8", "surrogatepass")).hexdigest()[:10]


def _area(
    part: Board, here: Here, frame: Frame, told: str, to_do: tuple[Task, ...]
) -> tuple[str, str]:
    found = lines(part, here)
    fit = fitting(found, to_do, bool(part.doubts))
    count = f'<p class="fades counts">{count_of(part)}</p>\n'
    body = (
        todo(to_do, here, bool(part.doubts))
        + places(found, fit)
        + rest(to_do, here)
        + _foot(*_CAUTIONS, _written(part, here), f'<a href="{INDEX}">all areas</a>')
    )
    return framed(frame, told + count, body, fit)


def _index(
    rows: str, fit: Fit, board: Board, here: Here, frame: Frame, told: str
) -> tuple[str, str]:
    head = "<th>area</th><th>places</th><th>machines</th><th>to do now</th>"
    table = (
        f'<table class="areas">\n<thead><tr>{head}</tr></thead>\n'
        f"<tbody>\n{rows}</tbody>\n</table>\n"
    )
    return framed(frame, told, table + _foot(*_CAUTIONS, _written(board, here)), fit)


def _indexed(area: str, name: str, part: Board, to_do: int, has_rules: bool) -> str:
    """How many places and machines of an area stand how, and how much there is to do."""
    number = "nobody can tell" if part.doubts else f"{to_do or 'nothing'}"
    cells = (_places(part, has_rules), count_of(part), number)
    link = f'<a href="{name}">{text(area or "no area", 120)}</a>'
    shown = "".join(f'<td class="fades">{cell}</td>' for cell in cells)
    return f'<tr><th class="place" scope="row">{link}</th>{shown}</tr>\n'


def _places(part: Board, has_rules: bool) -> str:
    standings = [row.standing for row in part.rows if row.standing is not None]
    needless = [one for one in standings if has_rules and not part.doubts and _needs_nothing(one)]
    judged = [one.standing for one in standings if one not in needless]
    said = [f"{plural(len(judged), 'place')}: {counted(judged)}"] if judged else []
    if needless:
        said.append(f"{plural(len(needless), 'place')} without needs")
    return "; ".join(said) or "no place"


def _needs_nothing(place: PlaceStanding) -> bool:
    """Whether a place is unknown only since the rules ask for no machine there."""
    told = place.machines or place.missing or place.untold
    return place.standing is Standing.UNKNOWN and not told


def _written(board: Board, here: Here) -> str:
    if board.newest is None:
        return "Nothing is written in the book yet."
    return f"The book was last written {text(here.moment(board.newest))}."


def _foot(*sentences: str) -> str:
    return f"<footer><p>{' '.join(sentences)}</p></footer>\n"
