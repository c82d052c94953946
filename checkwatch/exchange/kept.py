"""The rows of a file between its reading and its writing, on disk: a million need no memory.

So what is written is what was looked at, even where the file changes meanwhile. The scratch file
has no name (`TemporaryFile`): nobody else writes in it, and it goes by itself.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import IO, Any, TypeVar

from checkwatch.errors import CannotTell, Problem

_TOGETHER = 400

Row = TypeVar("Row")


def keep(rows: Iterable[Row], scratch: IO[bytes], brief: Callable[[Row], object]) -> Iterator[Row]:
    """The same rows; what `brief` makes of each is kept on its way.

    Raises CannotTell where the disk has no room for them.
    """
    waiting = iter(rows)
    while some := list(islice(waiting, _TOGETHER)):
        briefs = [brief(row) for row in some]
        with _room():
            pickle.dump(briefs, scratch, pickle.HIGHEST_PROTOCOL)
        yield from some


def kept(scratch: IO[bytes]) -> Iterator[Any]:
    """All that was kept, in its order."""
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
