"""The adopted versions of the rulebook: which one judges at an instant, as known at another."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Rulebook


class Version(NamedTuple):
    """One adoption: in force from `start`, written down at `recorded`."""

    start: Instant
    seq: int
    recorded: Instant
    rulebook: Rulebook


class Versions(NamedTuple):
    """The adoptions known at some instant, in order of (start, seq)."""

    adopted: tuple[Version, ...]

    @classmethod
    def of(cls, *versions: Version) -> Versions:
        """In the order in which they judge."""
        return cls(tuple(sorted(versions, key=lambda version: version[:2])))

    def known_at(self, known_at: Instant) -> Versions:
        """Without the adoptions that were recorded later."""
        return Versions(tuple(v for v in self.adopted if v.recorded <= known_at))

    @property
    def invented(self) -> bool:
        """Whether any version says that everything in the book is invented: adopting another one
        makes nothing of it true."""
        return any(version.rulebook.title.startswith("EXAMPLE") for version in self.adopted)

    def in_force(self, at: Instant) -> Version | None:
        """The version that judges at an instant; the first is in force for all earlier time."""
        if not self.adopted:
            return None
        started = [version for version in self.adopted if version.start <= at]
        return started[-1] if started else self.adopted[0]
