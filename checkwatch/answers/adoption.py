"""What adopting a version of the rulebook would change, before anyone adopts it."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Happening, Result
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import ORDER
from checkwatch.core.versions import Version, Versions


class Change(NamedTuple):
    """One machine that would stand differently."""

    before: MachineStanding
    after: MachineStanding

    @property
    def better(self) -> bool:
        """Whether it would stand better: the direction that wants a second look."""
        return ORDER[self.after.standing] < ORDER[self.before.standing]


class Adoption(NamedTuple):
    """From `start` on: the machines that change, and the book's codes that are no longer known."""

    start: Instant
    changes: tuple[Change, ...]
    lost_checks: tuple[str, ...]
    lost_happenings: tuple[str, ...]


def adoption(book: Book, question: Question, rulebook: Rulebook, start: Instant) -> Adoption:
    """Compares the standings at `start` under the rules in force and under the new ones."""
    latest = max((version.seq for version in book.versions.adopted), default=0)
    version = Version(start, latest + 1, question.now, rulebook)
    new = Book(Versions.of(*book.versions.adopted, version), book.places, book.entries)
    then = Question(start, question.now)
    fleet = {machine.machine: machine for machine in book.fleet(then)}
    changes = [
        Change(fleet[after.machine], after)
        for after in new.fleet(then)
        if after.standing is not fleet[after.machine].standing
    ]
    entries = [entry for known in book.entries.values() for entry in known]
    checks = {entry.check for entry in entries if isinstance(entry, Result)}
    happenings = {entry.code for entry in entries if isinstance(entry, Happening)}
    return Adoption(
        start,
        tuple(sorted(changes, key=lambda change: (not change.better, change.after.machine))),
        tuple(sorted(checks.difference(rulebook.checks))),
        tuple(sorted(happenings.difference(rulebook.happenings))),
    )
