"""A CSV file under a heading, row by row, whatever its bytes are: nothing here raises for them.

Cells come through exactly as they stand. A text such as `=1+1`, which a spreadsheet would
calculate, is data like any other, here and in what is written: a sign put before it would change
what somebody wrote. Memory stays that of one row. What cells mean is not known here.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple, TextIO

from checkwatch.core.mistake import nearest, quoted
from checkwatch.errors import Problem

#: Longer than any row that people write, and short enough to be held in memory.
_LONGEST_LINE = 1_000_000

_NOT_UTF8 = "save it as CSV in UTF-8"

#: What other programs put between cells instead of a comma.
_OTHER_SEPARATORS = {";": "semicolons", "\t": "tabs"}


class Columns(NamedTuple):
    """The columns of a kind of file, in the order in which they are written; `optional` are those
    that a file may leave out, `ignored` those that are read by nobody."""

    names: tuple[str, ...]
    optional: tuple[str, ...] = ()
    ignored: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        """Every column that a file may have."""
        return (*self.names, *self.ignored)


class SheetRow(NamedTuple):
    """A row with the number of the line on which it begins, and its cells by column, but for the
    ignored ones.

    A row that could not be taken apart has no cells, but a problem; the last row of a file that
    was cut off within it has those before the cut, too.
    """

    line: int
    cells: dict[str, str]
    problem: Problem | None = None


def rows(stream: TextIO, where: str, columns: Columns) -> Iterator[SheetRow]:
    """The rows of a file under its heading; empty ones are left out.

    After a mistake in the heading, and after one that leaves open where the next row begins,
    nothing more is read. Columns that a file leaves out are empty cells.
    """
    records = _records(stream, where)
    heading = next(records, None)
    if heading is None:
        remedy = f"begin it with the heading {','.join(columns.names)}"
        yield SheetRow(1, {}, Problem(where, "is empty", remedy))
        return
    if heading.problem:
        yield SheetRow(heading.line, {}, heading.problem)
        return
    names = [cell.strip() for cell in heading.cells]
    problems = list(_wrong_heading(names, columns, f"{where}: line {heading.line}"))
    yield from (SheetRow(heading.line, {}, problem) for problem in problems)
    if not problems:
        yield from _under(names, records, where, columns)


class _Record(NamedTuple):
    line: int
    cells: list[str]
    problem: Problem | None = None
    is_ended: bool = True


def _records(stream: TextIO, where: str) -> Iterator[_Record]:
    """The records of the file as csv takes them apart, until one where it cannot go on."""
    lines = _Lines(stream)
    reader = csv.reader(lines, strict=True)
    begins = 1
    while True:
        try:
            cells = next(reader, None)
        except (csv.Error, UnicodeDecodeError) as error:
            yield _Record(begins, [], _unparted(error, f"{where}: line {begins}"))
            return
        if cells is None:
            return
        text = "".join(cells)
        # What is printable, as nearly every row is, needs no closer look.
        problem = None if text.isprintable() else _unreadable(text, f"{where}: line {begins}")
        if text.strip():
            yield _Record(begins, cells, problem, lines.last.endswith(("\n", "\r")))
        begins = reader.line_num + 1


class _Lines:
    """The lines of the file without its byte order mark, the last one read at hand; csv.Error for
    one without an end."""

    def __init__(self, stream: TextIO) -> None:
        self.last = ""
        self._lines = self._read(stream)

    def __iter__(self) -> Iterator[str]:
        return self._lines

    def _read(self, stream: TextIO) -> Iterator[str]:
        self.last = stream.readline(_LONGEST_LINE).removeprefix("\ufeff")
        while self.last:
            if len(self.last) >= _LONGEST_LINE:
                raise csv.Error("field larger than field limit")
            yield self.last
            # What was read last stays, also at the end.
            line = stream.readline(_LONGEST_LINE)
            if not line:
                return
            self.last = line


def _unparted(error: Exception, where: str) -> Problem:
    if isinstance(error, UnicodeDecodeError):
        return Problem(where, "holds bytes that are not UTF-8", _NOT_UTF8)
    said = str(error)
    if "field limit" in said:
        what = f"a cell is longer than {csv.field_size_limit()} characters"
        return Problem(where, what, 'shorten it, or close its quotation mark with "')
    if "end of data" in said:
        return Problem(where, "a quotation mark is never closed", 'close it with "')
    if "new-line" in said:
        return Problem(where, "a line ends within a cell", "let every line end in the same way")
    what = "a quotation mark stands where no cell ends"
    return Problem(where, what, 'write a quotation mark inside a cell as ""')


def _unreadable(text: str, where: str) -> Problem | None:
    if any("\ud800" <= character <= "\udfff" for character in text):
        return Problem(where, "holds bytes that are not UTF-8", _NOT_UTF8)
    if "\0" in text:
        return Problem(where, "holds a NUL character", f"take it out, or {_NOT_UTF8}")
    return None


def _under(
    names: list[str], records: Iterable[_Record], where: str, columns: Columns
) -> Iterator[SheetRow]:
    absent = dict.fromkeys((name for name in columns.names if name not in names), "")
    ignored = [name for name in columns.ignored if name in names]
    for line, cells, problem, is_ended in records:
        whole: dict[str, str] = {}
        if problem is None and len(cells) < len(names) and not is_ended:
            whole = dict(zip(names, cells[:-1], strict=False))
            what = f"the file ends within this row, of {len(names)} cells"
            problem = Problem(f"{where}: line {line}", what, "have it sent again, whole")
        elif problem is None and len(cells) != len(names):
            counted = "1 cell" if len(cells) == 1 else f"{len(cells)} cells"
            what = f"has {counted}, the heading {len(names)}"
            remedy = 'put a text with a comma between quotation marks, "like, this"'
            problem = Problem(f"{where}: line {line}", what, remedy)
        if problem:
            yield SheetRow(line, whole, problem)
            continue
        row = dict(zip(names, cells, strict=True), **absent)
        for name in ignored:
            del row[name]
        yield SheetRow(line, row)


def _wrong_heading(names: list[str], columns: Columns, where: str) -> Iterator[Problem]:
    if len(names) == 1 and names[0] not in columns.all:
        for mark, called in _OTHER_SEPARATORS.items():
            if mark in names[0]:
                yield Problem(where, f"its cells are parted by {called}", "part them by commas")
                return
    lacking = [n for n in columns.names if n not in names and n not in columns.optional]
    for name in dict.fromkeys(names):
        if name not in columns.all:
            instead = nearest(name, lacking or columns.all, "take it out")
            yield Problem(where, f"unknown column {quoted(name)}", instead)
        elif names.count(name) > 1:
            yield Problem(where, f"the column {name} stands there twice", "keep one of them")
    if lacking:
        what = f"lacks the column{'s' if len(lacking) > 1 else ''} {', '.join(lacking)}"
        yield Problem(where, what, f"the heading is {','.join(columns.names)}")


def write(rows_: Iterable[Mapping[str, str]], stream: TextIO, columns: Columns) -> None:
    """Writes a file that `rows` reads back cell by cell; lines end as RFC 4180 has it.

    The stream must be one that translates no line ends (`newline=""`).
    """
    writer = csv.DictWriter(stream, columns.names, restval="")
    writer.writeheader()
    writer.writerows(rows_)
