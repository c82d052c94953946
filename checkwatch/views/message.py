"""A message: its title with the number that matters, plain text for 40 columns, and HTML.

It stands for itself: who reads it may have nothing else at hand, and may read it late.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

from checkwatch.answers.notice.kinds import MANNERS, Kind
from checkwatch.views.answer import CAUTION_NO
from checkwatch.views.message_list import of_list
from checkwatch.views.message_part import Block, Item, Part, of_lapses, of_matter
from checkwatch.views.message_part import Known as Known
from checkwatch.views.message_part import Told as Told
from checkwatch.views.paper import day_and_time, text
from checkwatch.views.report import LONGEST, Command
from checkwatch.views.words import Here, columns, harmless

#: Columns of the plain text: a telephone's.
COLUMNS = 40

_CAUTION = (
    "A recorded check is not proof that a machine is safe. Who uses it checks it and decides; the "
    "maker's instructions and local policy come first."
)

#: Commands are never broken: they are small, and move under the finger where they are still wider.
_STYLE = """
body { font: 16px/1.4 sans-serif; max-width: 40em; margin: 1em; }
h2 { font-size: 1.15em; margin: 1.4em 0 0.4em; overflow-wrap: anywhere; }
p, ol { margin: 0.4em 0; overflow-wrap: anywhere; }
li { margin: 0 0 0.6em; }
pre { font-size: 14px; margin: 0.2em 0 0.8em; overflow-x: auto; }
"""


class Composed(NamedTuple):
    """A message without its address."""

    title: str
    body: str
    html: str


def compose(told: Sequence[Told], known: Known | None, here: Here, suite: str) -> Composed:
    """One message that tells all of it, what is most urgent first. `suite` is the rulebook's title,
    `known` what lists are made from, None where there are none."""
    ranks = {kind: rank for rank, kind in enumerate(MANNERS)}
    in_order = sorted(told, key=lambda one: (ranks[one.kind], one.number))
    parts = [*_parts(in_order, known, here)]
    title = harmless(_title(in_order, parts))
    heading = f"{suite}, as of {day_and_time(here.now, here)}"
    end = [*_end(in_order)]
    return Composed(title, _plain(heading, parts, end), _html(title, heading, parts, end))


def _title(told: Sequence[Told], parts: Sequence[Part]) -> str:
    first = parts[0].heading
    late = "late: " if any(one.late for one in told) else ""
    if len(parts) == 1:
        return f"{late}{first}"
    more = f"; and {len(parts) - 2} more" if len(parts) > 2 else ""
    matters = sum(one.matter is not None for one in told)
    head = f"{matters} to act on: " if matters > 1 else ""
    return f"{late}{head}{first}; {parts[1].heading}{more}"


def _end(told: Sequence[Told]) -> Iterator[str]:
    if any(one.matter is not None for one in told):
        yield "Hearing a notice stops its repeats, never what is owed."
    urgent = any(MANNERS[one.kind].urgent for one in told)
    yield CAUTION_NO if urgent else _CAUTION


def _parts(told: Sequence[Told], known: Known | None, here: Here) -> Iterator[Part]:
    """One for each notice, but one for all lapses."""
    lapses = [
        (one.number, one.matter) for one in told if one.kind is Kind.LAPSE_SOON and one.matter
    ]
    for one in told:
        if one.matter is None:
            assert known is not None, "a list is made from a board"
            yield of_list(one, known, here)
        elif one.kind is not Kind.LAPSE_SOON or len(lapses) == 1:
            yield of_matter(one.matter, one.number, here, one.why)
        elif one.number == lapses[0][0]:
            yield of_lapses(lapses, here)


def _plain(heading: str, parts: Iterable[Part], end: Iterable[str]) -> str:
    lines = [*_wrapped(heading)]
    for part in parts:
        lines += ["", *_wrapped(part.heading)]
        for items, group in groupby(part.blocks, key=lambda one: isinstance(one, Item)):
            blocks = [*group]
            lines += ["", *_plain_items(blocks), ""] if items else _plain_blocks(blocks)
    for said in end:
        lines += ["", *_wrapped(said)]
    single = (line for line, below in pairwise([*lines, ""]) if line or below)
    return "\n".join(single) + "\n"


def _plain_items(items: Iterable[Block]) -> Iterator[str]:
    for number, item in enumerate(items, 1):
        assert isinstance(item, Item)
        yield from _wrapped(f"{number}. {item.head}")
        yield from (line for said in item.lines for line in _wrapped(said, "   "))
        yield ""


def _plain_blocks(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        if isinstance(block, Command):
            yield f"  {harmless(block.text, LONGEST)}"
        elif isinstance(block, str):
            yield from _wrapped(block)


def _wrapped(said: str, indent: str = "") -> list[str]:
    """Lines of at most 40 columns; a word that is longer is broken, so that no line is."""
    lines, line = list[str](), indent
    for word in harmless(said, LONGEST).split():
        while word:
            gap = "" if line == indent else " "
            if columns(line + gap + word) <= COLUMNS:
                line, word = line + gap + word, ""
            elif gap:
                lines, line = [*lines, line], indent
            else:
                fits = _fitting(word, COLUMNS - len(indent))
                lines, word = [*lines, indent + word[:fits]], word[fits:]
    return [*lines, line] if line != indent or not lines else lines


def _fitting(word: str, room: int) -> int:
    """How many characters of a word fit, at least one."""
    return max(1, next(n for n in range(len(word), -1, -1) if columns(word[:n]) <= room))


def _html(title: str, heading: str, parts: Iterable[Part], end: Iterable[str]) -> str:
    body = "".join(_html_part(part) for part in parts)
    last = "".join(f"<p><small>{text(said)}</small></p>\n" for said in end)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{text(title)}</title>\n<style>{_STYLE}</style></head>\n"
        f"<body>\n<p>{text(heading)}</p>\n{body}{last}</body></html>\n"
    )


def _html_part(part: Part) -> str:
    found = [f"<h2>{text(part.heading)}</h2>\n"]
    for items, group in groupby(part.blocks, key=lambda one: isinstance(one, Item)):
        blocks = "".join(map(_html_block, group))
        found.append(f"<ol>\n{blocks}</ol>\n" if items else blocks)
    return "".join(found)


def _html_block(block: Block) -> str:
    if isinstance(block, Item):
        lines = "".join(f"<br>{text(said)}" for said in block.lines)
        return f"<li><strong>{text(block.head)}</strong>{lines}</li>\n"
    if isinstance(block, Command):
        return f"<pre>{text(block.text)}</pre>\n"
    return f"<p>{text(block)}</p>\n"
