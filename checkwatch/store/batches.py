"""Many keys asked for a few hundred at a time: a database takes only so many values at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

T = TypeVar("T")

#: How many keys one statement asks for.
SIZE = 500


def batches(keys: Iterable[T]) -> Iterator[list[T]]:
    """The keys in their order, so many at a time as one statement asks for."""
    rest = iter(keys)
    while batch := list(islice(rest, SIZE)):
        yield batch
