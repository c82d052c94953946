"""A report whose times are put into words later: as text that can be kept, and back.

What a sentence calls "07:10 GMT, in 2 h" depends on when it is read. A report written with `Later`
holds marks instead, which `unpacked` replaces by the words of that moment.
"""

from __future__ import annotations

import re

from checkwatch.core.instant import BEGINNING, Instant
from checkwatch.core.states import Standing
from checkwatch.views.report import Command, Report, Sentence, Table
from checkwatch.views.words import Here

#: Stands for the instant at which the newest entry of the book was written.
NEWEST = BEGINNING

#: Two characters for private use: what people wrote shows them as escapes.
_MARK = "\ue000([wd])(-?[0-9]+)\ue001"

#: What ASCII has for it: between blocks, between the rows of a table, between fields.
_BLOCK, _ROW, _FIELD = "\x1e", "\x1d", "\x1f"


class Later(Here):
    """Where an answer will be read, at an instant that is not known yet."""

    def local(self, instant: Instant) -> str:
        """Not said: a mark stands for the relative time, too."""
        raise NotImplementedError

    def when(self, instant: Instant) -> str:
        """A mark for the local and the relative time."""
        return f"\ue000w{instant:d}\ue001"

    def moment(self, instant: Instant) -> str:
        """Not said, as `local`."""
        raise NotImplementedError

    def dated(self, instant: Instant) -> str:
        """A mark for the same with its preposition."""
        return f"\ue000d{instant:d}\ue001"


def packed(report: Report) -> str:
    """The report as one text."""
    return _BLOCK.join(_packed(block) for block in report)


def _packed(block: str | Sentence | Table | Command) -> str:
    if isinstance(block, Table):
        rows = (_FIELD.join(row) for row in (block.heading, *block.rows))
        return f"table{_FIELD}{_ROW.join(rows)}"
    if isinstance(block, Sentence):
        return _FIELD.join(("sentence", *block))
    if isinstance(block, Command):
        return _FIELD.join(("command", *block))
    return _FIELD.join(("text", block))


def unpacked(text: str, here: Here, newest: Instant) -> Report:
    """The report as it is read here."""

    def when(mark: re.Match[str]) -> str:
        said = here.dated if mark[1] == "d" else here.when
        instant = Instant(int(mark[2]))
        return said(newest if instant == NEWEST else instant)

    return [_unpacked(block) for block in re.sub(_MARK, when, text).split(_BLOCK)]


def _unpacked(block: str) -> str | Sentence | Table | Command:
    form, _, held = block.partition(_FIELD)
    if form == "table":
        heading, *rows = (tuple(row.split(_FIELD)) for row in held.split(_ROW))
        return Table(heading, tuple(rows))
    if form == "sentence":
        before, standing, after = held.split(_FIELD)
        return Sentence(before, Standing(standing), after)
    return Command(held) if form == "command" else held
