"""The rows that an import left out, as they stood in the file, each with its reason."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import TextIO

from checkwatch.errors import CannotTell, Problem
from checkwatch.exchange.logbook import COLUMNS

#: Behind the columns of a logbook file; a file that was put right may keep it.
REASON = "reason"


#: Takes the cells of a row that is left out, and why it is.
Refuse = Callable[[Mapping[str, str], str], None]


@contextmanager
def rejecting(stream: TextIO) -> Iterator[Refuse]:
    """Writes the rows that it is given; all are in the file when the block is left.

    A row that could not be taken apart has only its reason: its cells are not known. Raises
    CannotTell where the file cannot be written.
    """
    writer = csv.DictWriter(stream, (*COLUMNS.names, REASON), restval="")

    def refuse(cells: Mapping[str, str], reason: str) -> None:
        with _room(stream):
            writer.writerow({**cells, REASON: reason})

    with _room(stream):
        writer.writeheader()
    yield refuse
    with _room(stream):
        stream.flush()


@contextmanager
def _room(stream: TextIO) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        # Closing writes once more what found no room.
        with suppress(OSError):
            stream.close()
        what = f"cannot be written: {(error.strerror or str(error)).lower()}"
        remedy = "nothing is written into the book; make room, or name another file"
        raise CannotTell(Problem(str(stream.name), what, remedy)) from None
