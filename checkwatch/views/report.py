"""A report: blocks of sentences, tables and commands, and how they become plain text.

A terminal shows the same blocks with colour (terminal.py). Whatever a block holds is made
harmless where it is shown, so that no view can forget it.
"""

import re
import textwrap
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from checkwatch.core.states import Standing
from checkwatch.views.words import LOOKS, columns, harmless

WIDTH = 80

#: Stands above everything that is said of a book whose entries are invented.
EXAMPLE = "EXAMPLE: everything in this book is invented."

#: No text that people wrote is longer in any report.
LONGEST = 100_000


class Sentence(NamedTuple):
    """A paragraph around the word of a standing."""

    before: str
    standing: Standing
    after: str

    @property
    def text(self) -> str:
        """The paragraph as it is read."""
        return f"{self.before}{LOOKS[self.standing].word}{self.after}"


class Table(NamedTuple):
    """Rows under a heading row; a standing as a cell is shown by its mark and its word."""

    heading: tuple[str, ...]
    rows: tuple[tuple[str | Standing, ...], ...]


class Command(NamedTuple):
    """A line to type, which is never broken."""

    text: str


#: What is to be typed, within a sentence.
_TYPED = re.compile(r",? ?`(checkwatch [^`]*)`")

#: A word as a shell reads it: what is quoted belongs together.
_WORD = re.compile(r"""(?:'[^']*'|"[^"]*"|\\.|[^\s'"\\])+""")

Block = str | Sentence | Table | Command
Report = list[Block]


def plain(report: Sequence[Block]) -> str:
    """The report as text of at most 80 columns where words and commands allow it."""
    return "\n".join(line for block in report for line in _lines(block))


def command(text: str, width: int) -> list[str]:
    """A command on lines that a shell takes as one when they are copied: broken between words
    only, with a backslash. A word that is wider stays whole."""
    whole = harmless(text, LONGEST)
    words = _WORD.findall(whole)
    if " ".join(words) != whole:
        return [f"  {whole}"]
    lines = [f"  {words[0]}"]
    for word in words[1:]:
        if len(lines[-1]) + len(f" {word} \\") <= width:
            lines[-1] += f" {word}"
        else:
            lines[-1] += " \\"
            lines.append(f"    {word}")
    return lines


def message(text: str, width: int, label: str = "", breaks: bool = True) -> list[str]:
    """A paragraph behind a label, for a screen of any width. Where it is longer than a line, what
    is to be typed stands on lines of its own, which are broken only if the screen `breaks`."""
    text, label = harmless(text, LONGEST), harmless(label)
    if len(label) + len(text) <= width:
        return [f"{label}{text}"]
    words, *more = _TYPED.split(text)
    lines = _behind(label, words, width)
    for typed, rest in zip(more[::2], more[1::2], strict=True):
        lines += command(typed, width if breaks else LONGEST)
        lines += _behind("", rest.strip(" .,;"), width) if rest.strip(" .,;") else []
    return lines


def _behind(label: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=label,
        subsequent_indent=" " * min(len(label), 4),
        break_on_hyphens=False,
    )


def cell_text(cell: str | Standing) -> str:
    """What stands in a cell."""
    if isinstance(cell, Standing):
        return f"{LOOKS[cell].mark} {LOOKS[cell].word}"
    return harmless(cell, LONGEST)


def paragraph(text: str, width: int = WIDTH) -> list[str]:
    """A paragraph broken into lines that keep its indentation; an empty one is an empty line."""
    indent = " " * (len(text) - len(text.lstrip(" ")))
    return _wrapped(harmless(text, LONGEST).lstrip(" "), width, indent) or [""]


def _lines(block: Block) -> list[str]:
    if isinstance(block, Table):
        return list(_rows(block))
    if isinstance(block, Command):
        return [f"  {harmless(block.text, LONGEST)}"]
    return paragraph(block.text if isinstance(block, Sentence) else block)


def _rows(table: Table) -> Iterator[str]:
    rows = [table.heading, *(tuple(cell_text(cell) for cell in row) for row in table.rows)]
    widths = [max(columns(cell) for cell in column) for column in zip(*rows, strict=True)]
    start = sum(width + 2 for width in widths[:-1])
    for *cells, last in rows:
        padded = (c + " " * (w - columns(c) + 2) for c, w in zip(cells, widths, strict=False))
        head, tail, *more = "".join(padded), *(_wrapped(last, max(WIDTH - start, 20)) or [""])
        yield (head + tail).rstrip()
        yield from (" " * start + line for line in more)


def _wrapped(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
