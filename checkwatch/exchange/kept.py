"""The rows of a file between its reading and its writing, on disk: a million need no memory.

So what is written is what was looked at, even where the file changes meanwhile. The scratch file
has no name (`TemporaryFile`): nobody else writes in it, and it goes by itself.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import IO

from checkwatch.errors import CannotTell, Problem
from checkwatch.exchange.logbook import BadRow, Row

_TOGETHER = 400


def keep(rows: Iterable[Row | BadRow], scratch: IO[bytes]) -> Iterator[Row | BadRow]:
    """The same rows, each kept on its way; CannotTell where the disk has no room for them."""
    waiting = iter(rows)
    while some := list(islice(waiting, _TOGETHER)):
        with _room():
            pickle.dump(some, scratch, pickle.HIGHEST_PROTOCOL)
        yield from some


def kept(scratch: IO[bytes]) -> Iterator[Row | BadRow]:
    """All rows that were kept, in their order."""
    with _room():
        end = scratch.tell()
        scratch.seek(0)
    while scratch.tell() < end:
        yield from pickle.load(scratch)


@contextmanager
def _room() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        what = f"cannot hold the rows of the file: {(error.strerror or str(error)).lower()}"
        remedy = "make room there, or name another folder in TMPDIR"
        raise CannotTell(Problem("the folder for temporary files", what, remedy)) from None
