"""Aligned lines of cells for a screen, each built alone so that only what is seen is built.

User text goes into `Text` only, never through markup, and is made harmless in `cell`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from rich.cells import cell_len, chop_cells, set_cell_size
from rich.text import Text

from checkwatch.views.report import LONGEST
from checkwatch.views.words import harmless

_GAP = 2
_NARROWEST = 10


class Cell(NamedTuple):
    """Harmless text with its style of rich."""

    text: str
    style: str = ""


def cell(text: str, style: str = "", limit: int = LONGEST) -> Cell:
    """A cell of at most `limit` characters; what is longer ends in "…"."""
    return Cell(harmless(text, limit), style)


def widths(rows: Iterable[Sequence[Cell]], width: int | None) -> list[int]:
    """The columns' widths; the last gives way, or takes the rest, where `width` is set."""
    columns = zip(*rows, strict=True)
    natural = [max(cell_len(one.text) for one in column) for column in columns]
    if width is not None:
        others = sum(natural[:-1]) + _GAP * (len(natural) - 1)
        natural[-1] = max(width - others, _NARROWEST)
    return natural


def line(cells: Sequence[Cell], across: Sequence[int]) -> Text:
    """One line; a cell that is too long for its column ends in "…"."""
    text = Text(no_wrap=True, overflow="crop")
    for one, width in zip(cells, across, strict=True):
        shown = cut(one.text, width)
        text.append(shown, one.style)
        text.append(" " * (width - cell_len(shown) + _GAP))
    text.rstrip()
    return text


def lines(cells: Sequence[Cell], across: Sequence[int], most: int | None = None) -> list[Text]:
    """As many lines as the last cell needs, at most `most`; the others stand in the first."""
    *others, last = cells
    pieces = broken(last.text, across[-1])
    if most is not None and len(pieces) > most:
        rest = " ".join(pieces[most - 1 :]) if most > 1 else last.text
        pieces[most - 1 :] = [cut(rest, across[-1])]
    first, *more = pieces
    blank = [Cell("")] * len(others)
    return [
        line([*others, Cell(first, last.style)], across),
        *(line([*blank, Cell(piece, last.style)], across) for piece in more),
    ]


def packed(pieces: Iterable[Text], width: int | None) -> list[Text]:
    """Pieces one after another, each whole, in lines of at most `width` columns."""
    found = [Text()]
    for piece in pieces:
        if width is not None and found[-1] and found[-1].cell_len + piece.cell_len > width:
            found[-1].rstrip()
            found.append(Text())
        found[-1].append_text(piece)
    return found


def cut(text: str, width: int) -> str:
    """The text, or its beginning and "…", in at most `width` columns."""
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, max(width - 1, 0)).rstrip() + "…"


def broken(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` columns; text with wide letters breaks anywhere."""
    if cell_len(text) == len(text):
        return textwrap.wrap(text, width, break_on_hyphens=False) or [""]
    return chop_cells(text, width)
