"""A report for a terminal: the same blocks as in plain text, with the looks of the standings.

User text goes into `Text` only, never through markup.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.table import Table as RichTable
from rich.text import Text

from checkwatch.core.states import Standing
from checkwatch.views.report import (
    LONGEST,
    WIDTH,
    Block,
    Command,
    Sentence,
    Table,
    cell_text,
    command,
    paragraph,
)
from checkwatch.views.words import LOOKS, harmless


def rendered(report: Sequence[Block], columns: int = WIDTH) -> RenderableType:
    """The report as rich prints it on so many columns; without colour it reads as the plain text
    does."""
    return Group(*(_rendered(block, min(columns, WIDTH)) for block in report))


def _rendered(block: Block, width: int) -> RenderableType:
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Command):
        lines = "\n".join(command(block.text, width))
        return Text(lines, style="bold", no_wrap=True, overflow="ignore")
    if isinstance(block, str):
        return Text("\n".join(paragraph(block, width)))
    return _sentence(block)


def _sentence(block: Sentence) -> Text:
    text = Text(harmless(block.before, LONGEST))
    text.append(LOOKS[block.standing].word, style=LOOKS[block.standing].style)
    return text.append(harmless(block.after, LONGEST))


def _table(block: Table) -> RichTable:
    table = RichTable(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
    for heading in block.heading:
        table.add_column(Text(heading), overflow="fold")
    for row in block.rows:
        table.add_row(*(_cell(cell) for cell in row))
    return table


def _cell(cell: str | Standing) -> Text:
    style = LOOKS[cell].style if isinstance(cell, Standing) else ""
    return Text(cell_text(cell), style=style)
