"""How the lines of a page share a wall: letters as large as may be, every place in sight at once.

Widths and heights are estimated, since only a browser knows them; what does not fit is written
small and can be scrolled. Lengths are in hundredths of the wall's height, or in letters.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from math import ceil, inf
from typing import NamedTuple

from checkwatch.core.instant import Instant
from checkwatch.core.states import Standing
from checkwatch.views.todo import Task

#: So many tasks stand above the places, so that those stay in sight; the others stand below.
FIRST = 8

#: A wall of 16 to 9 less its margins, and its height less what head and foot take.
_WIDTH, _HEIGHT = 173.0, 75.0

#: What is left free between two parts.
_BETWEEN = 3.9

#: What stands above a book that is not believed.
_DOUBT = 15.0

#: In sizes of a letter: the width of one, a line's height, and what a row has besides its lines.
_LETTER, _LINE, _PADDING = 0.55, 1.3, 0.4

#: In letters: the column of standings, those of a task but the last, and the narrowest column in
#: which limits can be read.
_STANDING, _OF_TASK, _NARROWEST = 18, 40, 24

#: Sizes that are tried; the last is taken where nothing fits.
_SIZES = tuple(size / 10 for size in range(32, 11, -1))

#: More lines than these are too many for any wall.
_MOST = 240


class Line(NamedTuple):
    """Machines of a place that stand alike, or, without machines, the place itself; `said` is
    until when, limits, and what is owed."""

    place: str
    machines: tuple[str, ...]
    standing: Standing | None
    until: Instant
    said: str


class Fit(NamedTuple):
    """The size of letters, how many parts stand side by side, and the widths of two columns."""

    size: float = 3.0
    parts: int = 1
    place: int = 12
    machine: int = 12

    @property
    def letters(self) -> float:
        """How many letters are across the wall."""
        return _WIDTH / self.size / _LETTER

    @property
    def for_said(self) -> float:
        """How many letters a part has for limits and what is owed."""
        between = _BETWEEN / self.size / _LETTER * (self.parts - 1)
        part = (self.letters - between) / self.parts
        return part - 1.1 * (self.place + self.machine) - _STANDING


def fitting(found: Sequence[Line], tasks: Sequence[Task], doubted: bool) -> Fit:
    """The largest letters with which all lines, and the first tasks, are on a wall at once; with
    room for a doubt above them."""
    most = _HEIGHT - _DOUBT if doubted else _HEIGHT
    place = _widest([line.place for line in found], 22)
    machine = max(_widest([" ".join(line.machines) for line in found], 22), len("machines"))
    if len(found) <= _MOST:
        for size in _SIZES:
            for parts in (1, 2, 3):
                fit = Fit(size, parts, place, machine)
                if _height(found, tasks[:FIRST], fit) <= most:
                    return fit
    return Fit(_SIZES[-1], 3, place, machine)


def fitting_areas(areas: Sequence[str]) -> Fit:
    """The letters of the page that leads to all areas, each of which takes about three lines."""
    size = _HEIGHT / max(len(areas), 1) / (3 * _LINE + _PADDING)
    return Fit(min(max(size, _SIZES[-1]), 3.0), place=_widest(areas, 22))


def _widest(texts: Sequence[str], most: int) -> int:
    return min(max(map(len, texts), default=0), most)


def split(found: Sequence[Line], fit: Fit) -> list[list[Line]]:
    """The lines in parts that are about as high as each other; no place is torn apart."""
    places = [list(lines) for _, lines in groupby(found, key=lambda line: line.place)]
    heights = [_high_place(lines, fit) for lines in places]
    highest = max(sum(heights) / fit.parts, *heights, 0.0) if heights else 0.0
    while len(list(_filled(heights, highest))) > fit.parts:
        highest *= 1.02
    parts = [places[start:end] for start, end in _filled(heights, highest)]
    return [[line for place in part for line in place] for part in parts]


def _filled(heights: Sequence[float], highest: float) -> Iterator[tuple[int, int]]:
    """From where to where each part goes if none is higher than that."""
    start, filled = 0, 0.0
    for position, height in enumerate(heights):
        if filled + height > highest and position > start:
            yield start, position
            start, filled = position, 0.0
        filled += height
    if heights:
        yield start, len(heights)


def _height(found: Sequence[Line], tasks: Sequence[Task], fit: Fit) -> float:
    """How high the page is; endless where its columns are too narrow, or one line each is too
    much already."""
    at_least = (len(found) / fit.parts + len(tasks)) * (_LINE + _PADDING)
    if fit.for_said < _NARROWEST or fit.size * at_least > _HEIGHT:
        return inf
    below = max((_sum(part, fit) for part in split(found, fit)), default=0)
    above = sum(_high(len(task.what), fit.letters - _OF_TASK - fit.place) for task in tasks)
    return fit.size * (below + above + 5 * _LINE)


def _sum(part: Iterable[Line], fit: Fit) -> float:
    places = groupby(part, key=lambda line: line.place)
    return sum(_high_place(list(lines), fit) for _, lines in places)


def _high_place(lines: Sequence[Line], fit: Fit) -> float:
    rows = sum(
        max(
            _high(len(line.said), fit.for_said),
            _high(len(" ".join(line.machines)), fit.machine + 1),
        )
        for line in lines
    )
    return max(rows, _high(len(lines[0].place), fit.place + 1))


def _high(letters: int, room: float) -> float:
    # Words do not fill a line to its end.
    return _PADDING + _LINE * max(ceil(letters / max(room * 0.96, 1)), 1)
