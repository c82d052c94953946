"""Half-open spans of time and sets of them, always simplified: in order, apart, none empty.

So two sets that hold the same instants are equal, and the length of a set is exact.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from checkwatch.core.instant import BEGINNING, FOREVER, Instant

#: [from, until): at its `until` it is over.
Span = tuple[Instant, Instant]


@dataclass(frozen=True)
class Spans:
    """A set of instants. Make one with `of`; the empty set is `Spans.of()`."""

    spans: tuple[Span, ...]

    @classmethod
    def of(cls, *spans: Span) -> Spans:
        """The union of spans in any order; empty and backward ones hold nothing."""
        found: list[Span] = []
        for start, until in sorted(span for span in spans if span[0] < span[1]):
            if found and start <= found[-1][1]:
                found[-1] = (found[-1][0], max(found[-1][1], until))
            else:
                found.append((start, until))
        return cls(tuple(found))

    def __iter__(self) -> Iterator[Span]:
        return iter(self.spans)

    def __bool__(self) -> bool:
        return bool(self.spans)

    def __contains__(self, at: Instant) -> bool:
        index = bisect_right(self.spans, at, key=_start)
        return index > 0 and at < self.spans[index - 1][1]

    def cut(self, other: Iterable[Span]) -> Spans:
        """What both hold; `other` must be simplified. It looks only at what can meet."""
        found: list[Span] = []
        for start, until in other:
            first = max(bisect_right(self.spans, start, key=_start) - 1, 0)
            for index in range(first, len(self.spans)):
                begin, end = self.spans[index]
                if begin >= until:
                    break
                found.append((max(begin, start), min(end, until)))
        return Spans.of(*found)

    def gaps(self) -> Spans:
        """All of time that it does not hold."""
        edges = [BEGINNING, *(edge for span in self.spans for edge in span), FOREVER]
        return Spans.of(*list(pairwise(edges))[::2])

    @property
    def total(self) -> int:
        """Its length in microseconds."""
        return sum(until - start for start, until in self.spans)


def _start(span: Span) -> Instant:
    return span[0]
