"""The fleet on a board: all places by area in their fixed order, each with its machines.

What does not fit is counted, never left out in silence. Places keep their order so that eyes find
them; where one machine a line does not fit, what is cleared in one place shares a line.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby, zip_longest
from typing import NamedTuple

from rich.text import Text

from checkwatch.answers.board import Board, Placed, Row
from checkwatch.core.entry import Severity
from checkwatch.core.instant import FOREVER, HOUR, Instant
from checkwatch.core.place import PlaceStanding
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import ORDER, Standing, State
from checkwatch.views.grid import Cell, cell, cut, line, lines, widths
from checkwatch.views.reason import lacks, said, untold
from checkwatch.views.report import LONGEST, cell_text
from checkwatch.views.words import LOOKS, STATE_WORDS, Here, inside, listed, plural

#: From so many columns on a board has a column of its own for the end of a standing.
WIDE = 120

#: A part of a split screen has at least so many columns, and so many are between two parts.
_PART = 96
_BETWEEN = 4

_NARROW_HEADING = ("place", "machine", "standing", "until; limits; what is owed")
_WIDE_HEADING = ("place", "machine", "standing", "until", "limits; what is owed")

#: How standings are counted: what needs somebody first.
COUNTED = (
    Standing.NOT_CLEARED,
    Standing.UNKNOWN,
    Standing.BY_EXCEPTION,
    Standing.LIMITED,
    Standing.CLEARED,
    Standing.WITHDRAWN,
)


@dataclass(frozen=True)
class Fleet:
    """A board as it is read at `here`: what has changed since it was computed is unknown."""

    board: Board
    here: Here

    def passed(self, placed: Placed) -> bool:
        """Whether the standing has ended meanwhile; a board of another instant does not age."""
        question = self.board.question
        return question.at == question.now and placed.until <= self.here.now

    def standing(self, placed: Placed) -> Standing:
        """The standing as it may be shown."""
        return Standing.UNKNOWN if self.passed(placed) else placed.machine.standing

    def ended(self, place: PlaceStanding) -> list[str]:
        """The machines that decide for a place, and whose standing has ended meanwhile."""
        deciding = {machine.machine for machine in place.machines}
        return [machine for machine in self._ended if machine in deciding]

    @cached_property
    def _ended(self) -> list[str]:
        return [placed.machine.machine for placed in self.board.machines if self.passed(placed)]


class Item(NamedTuple):
    """What one line shows: a machine, several cleared ones of a place, or (without machines)
    what a place's standing says beyond those of its machines.

    `beside` are cleared machines of the place that share the line of another.
    """

    area: str
    place: str
    standing: Standing
    machines: tuple[Placed, ...] = ()
    about: PlaceStanding | None = None
    beside: tuple[Placed, ...] = ()


def counts(fleet: Fleet, machines: Iterable[Placed], places: Iterable[Item] = ()) -> list[Text]:
    """How many stand where: "1 not cleared, ", "9 cleared"; only what there is. `places` are lines
    of places, counted beside the machines."""
    number = Counter(fleet.standing(placed) for placed in machines)
    of_places = Counter(item.standing for item in places)
    found = []
    for standing in COUNTED:
        word, style = LOOKS[standing].word, LOOKS[standing].style
        if number[standing]:
            found.append(Text.assemble((f"{number[standing]} {word}", style)))
        if of_places[standing]:
            found.append(Text.assemble((f"{plural(of_places[standing], 'place')} {word}", style)))
    return [*(piece.append(", ") for piece in found[:-1]), *found[-1:]]


def items(fleet: Fleet, fold: bool = False) -> list[Item]:
    """What there is to show, by area; with `fold` what is cleared shares a line of its place."""
    areas: dict[str, list[Item]] = {}
    for row in fleet.board.rows:
        area = row.place.area if row.place else ""
        found = list(of_row(row, fleet))
        areas.setdefault(area, []).extend(_folded(found) if fold else found)
    return [item for found in areas.values() for item in found]


def of_row(row: Row, fleet: Fleet) -> Iterator[Item]:
    """The lines of one place, each machine for itself."""
    area, name = (row.place.area, row.place.place) if row.place else ("", "no known place")
    if row.standing is not None and _says_more(row.standing) and not fleet.board.doubts:
        ended = fleet.ended(row.standing)
        standing = Standing.UNKNOWN if ended else row.standing.standing
        yield Item(area, name, standing, about=row.standing)
    for placed in row.machines:
        yield Item(area, name, fleet.standing(placed), (placed,))


def _folded(found: list[Item]) -> list[Item]:
    quiet = [item for item in found if item.standing is Standing.CLEARED and item.machines]
    cleared = tuple(placed for item in quiet for placed in item.machines)
    loud = [item for item in found if item not in quiet]
    if loud:
        return [loud[0]._replace(beside=cleared), *loud[1:]]
    return [quiet[0]._replace(machines=cleared)] if quiet else []


def _says_more(place: PlaceStanding) -> bool:
    """Whether a place stands otherwise than the worst machine of its own that decides."""
    if place.missing or place.only or place.untold:
        return True
    own = [m.standing for m in place.machines if m.log.place == place.place]
    return bool(own) and max(own, key=ORDER.__getitem__) is not place.standing


def full(fleet: Fleet) -> list[Text]:
    """Every machine on a line of its own, nothing cut, with the place's name on each."""
    found = items(fleet)
    rows = [_heading(_WIDE_HEADING), *(_cells(item, fleet, LONGEST, wide=True) for item in found)]
    across = widths(rows, None)
    return [line(row, across) for row in rows]


def fitted(fleet: Fleet, width: int, room: int | None) -> list[Text]:
    """As much as fits into `room` lines of `width` columns, and what does not in numbers.

    Without a `room` everything is shown, and as many lines are taken as limits need.
    """
    every = items(fleet)
    if not every:
        return []
    if room is None or _count(every) + 1 <= room:
        return _side_by_side([every], fleet, width, room)
    number = max((width + _BETWEEN) // (_PART + _BETWEEN), 1)
    for found in (every, items(fleet, fold=True)):
        if parts := _balanced(found, number, room):
            return _side_by_side(parts, fleet, width, room)
    parts = _taken(found, number, room - 1)
    hidden = found[sum(map(len, parts)) :]
    return [*_side_by_side(parts, fleet, width, room - 1), hidden_in_numbers(hidden, fleet, width)]


def _count(found: Sequence[Item]) -> int:
    """How many lines they take at most, with one above each area."""
    return sum(map(_height, found)) + len(_areas(found))


def _height(item: Item) -> int:
    """A limit is worth a second line; whatever else is cut can be asked for."""
    return 2 if item.standing is Standing.LIMITED else 1


def _areas(found: Sequence[Item]) -> list[str]:
    areas = [area for area, _ in groupby(item.area for item in found)]
    return areas if any(areas) else []


def _balanced(found: list[Item], number: int, room: int) -> list[list[Item]]:
    """All items in parts that are as low as can be; nothing if they do not fit."""
    for height in range(_count(found) // number, room + 1):
        parts = _taken(found, number, height)
        if sum(map(len, parts)) == len(found):
            return parts
    return []


def _taken(found: list[Item], number: int, room: int) -> list[list[Item]]:
    """The items in parts that each fit into the room, with a heading."""
    taken: list[list[Item]] = []
    rest = found
    for _ in range(number):
        fits = (n for n in range(min(len(rest), room), 0, -1) if _count(rest[:n]) + 1 <= room)
        end = next(fits, 0)
        taken.append(rest[:end])
        rest = rest[end:]
    return [part for part in taken if part]


def _side_by_side(
    parts: list[list[Item]], fleet: Fleet, width: int, room: int | None
) -> list[Text]:
    """The parts of a split screen, with every word of them if there is room for it."""
    each = (width - _BETWEEN * (len(parts) - 1)) // max(len(parts), 1)
    columns = [_part(part, fleet, each, broken=True) for part in parts]
    if room is not None and max(map(len, columns), default=0) > room:
        columns = [_part(part, fleet, each, broken=False) for part in parts]
    return columns[0] if len(columns) == 1 else _joined(columns, each + _BETWEEN)


def _joined(columns: Sequence[Sequence[Text]], step: int) -> list[Text]:
    found = []
    for across in zip_longest(*columns, fillvalue=Text()):
        whole = Text(no_wrap=True, overflow="crop")
        for position, text in enumerate(across):
            whole.pad_right(max(position * step - whole.cell_len, 0))
            whole.append_text(text)
        found.append(whole)
    return found


def _part(found: Sequence[Item], fleet: Fleet, width: int, broken: bool) -> list[Text]:
    """A heading, then each area with its places; a place is named where it begins."""
    wide = width >= WIDE
    heading = _heading(_WIDE_HEADING if wide else _NARROW_HEADING)
    cells = [_cells(item, fleet, width // 4, wide) for item in found]
    across = widths([heading, *cells], width)
    shown = [line(heading, across)]
    area = place = ""
    for item, row in zip(found, cells, strict=True):
        if item.area != area:
            area, place = item.area, ""
            shown.append(Text(cut(cell(area or "no area").text, width), "bold"))
        if item.place == place:
            row[0] = Cell("")
        place = item.place
        shown += lines(row, across, None if broken else _height(item))
    return shown


def _heading(words: Iterable[str]) -> list[Cell]:
    return [Cell(word, "underline") for word in words]


def _cells(item: Item, fleet: Fleet, limit: int, wide: bool) -> list[Cell]:
    style = LOOKS[item.standing].style
    until, notes = _until(item, fleet), "; ".join(notes_of(item, fleet, (*State,) if wide else ()))
    start = [
        cell(item.place, limit=limit),
        cell(_tags(item), limit=limit),
        Cell(cell_text(item.standing), style),
    ]
    quiet = style if item.standing is Standing.WITHDRAWN else ""
    if wide:
        return [*start, Cell(until), cell(notes, quiet)]
    return [*start, cell("; ".join(filter(None, [until, notes])), quiet)]


def _tags(item: Item) -> str:
    tags = [placed.machine.machine for placed in item.machines]
    return " ".join(tags) if len(tags) <= 2 else plural(len(tags), "machine")


def _until(item: Item, fleet: Fleet) -> str:
    """The end of a standing; nothing where somebody must act to end it."""
    if not item.machines or any(fleet.passed(placed) for placed in item.machines):
        return ""
    first = min(placed.until for placed in item.machines)
    if first < FOREVER:
        little = usable(item.standing) and first - fleet.here.asked < HOUR
        return f"{'only ' if little else ''}{fleet.here.when(first)}"
    return "an entry ends it" if usable(item.standing) else ""


def usable(standing: Standing) -> bool:
    """Whether a machine that stands so may be in use."""
    return standing in (Standing.CLEARED, Standing.LIMITED, Standing.BY_EXCEPTION)


def notes_of(item: Item, fleet: Fleet, told: Container[State]) -> Iterator[str]:
    """Limits and what is owed; a check that is owed in one of the states `told` is so called."""
    if fleet.board.doubts:
        return
    if item.about is not None and (ended := fleet.ended(item.about)):
        yield f"it rests on {listed(ended)}, of which nothing newer is known"
    elif item.about is not None:
        yield from _about_place(item.about)
    for placed in item.machines:
        if fleet.passed(placed):
            yield f"{LOOKS[placed.machine.standing].word} until {fleet.here.when(placed.until)}"
        else:
            yield from _about_machine(placed.machine, fleet.here, told)
    if item.beside:
        yield f"{listed(placed.machine.machine for placed in item.beside)} cleared"


def _about_place(place: PlaceStanding) -> Iterator[str]:
    yield from (untold(one, place.place) for one in place.untold)
    yield from (lacks(missing, place.place).removeprefix("it ") for missing in place.missing)
    yield from place.only
    if place.untold or place.missing or place.only or not place.machines:
        return
    worst = max((m.standing for m in place.machines), key=ORDER.__getitem__)
    blamed = [m for m in place.machines if m.standing is worst]
    yield listed(_blamed(machine, place.place) for machine in blamed)


def _blamed(machine: MachineStanding, place: str) -> str:
    where = "" if machine.log.place == place else f" in {machine.log.place}"
    return f"{machine.machine}{where} is {LOOKS[machine.standing].word}"


def _about_machine(machine: MachineStanding, here: Here, told: Container[State]) -> Iterator[str]:
    if machine.standing is Standing.UNKNOWN:
        yield "no gate applies to it" if machine.rulebook else "no rulebook was in force"
    if withdrawn := machine.log.withdrawn:
        yield f"taken out of use {here.when(withdrawn.at)}{said(withdrawn)}"
        return
    for fault in machine.log.open_faults:
        if fault.severity is Severity.STOP_USE:
            yield f"fault {fault.seq} forbids use{said(fault)}"
    if machine.limits:
        yield f"{'limit' if len(machine.limits) == 1 else 'limits'}: {'; '.join(machine.limits)}"
    owed = [state for state in machine.checks if not state.ready]
    if owed:
        states = (f" ({STATE_WORDS[s.state]})" if s.state in told else "" for s in owed)
        named = (inside(s.check.title) + state for s, state in zip(owed, states, strict=True))
        yield f"owes {', '.join(named)}"


def hidden_in_numbers(hidden: Sequence[Item], fleet: Fleet, width: int) -> Text:
    """What is cut, in numbers: the machines, and the places that say more, the worst first."""
    machines = [placed for item in hidden for placed in (*item.machines, *item.beside)]
    places = [item for item in hidden if item.about is not None]
    text = Text(f"and {len(machines)} more: ", no_wrap=True)
    text.append_text(Text().join(counts(fleet, machines, places)))
    text.truncate(width, overflow="ellipsis")
    return text


def next_change(board: Board, after: Instant) -> Instant:
    """When the next standing on the board ends; FOREVER if none does."""
    return min((p.until for p in board.machines if p.until > after), default=FOREVER)
