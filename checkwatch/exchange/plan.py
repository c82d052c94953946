"""What an import would do, found out in the memory of a few rows before anything is written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field, replace
from itertools import islice

from checkwatch.answers.acceptance import Target, mistakes_about, same_content
from checkwatch.core.entry import Entry, FaultClosed, Struck
from checkwatch.core.instant import BEGINNING
from checkwatch.core.mistake import quoted
from checkwatch.errors import Problem
from checkwatch.exchange.logbook import BadRow, Row
from checkwatch.exchange.seen import REFUSED, Seen

#: From refs to the entries of the book that carry them; unknown refs are left out.
KnownRefs = Callable[[list[str]], Mapping[str, Entry]]

_BATCH = 400


class Lines:
    """A set of line numbers: a million of them take a megabyte."""

    def __init__(self) -> None:
        self._marks = bytearray()

    def add(self, line: int) -> None:
        """Puts a line into the set."""
        self._marks.extend(bytes(max(0, line + 1 - len(self._marks))))
        self._marks[line] = 1

    def __contains__(self, line: int) -> bool:
        return line < len(self._marks) and self._marks[line] == 1


@dataclass
class Plan:
    """What the rows of a file came to.

    `mistakes` are the rows that read well and cannot be written all the same; `problems` has
    these and all others, in the order of the file. `doubtful` are the machines that have a bad
    row; `skip` the lines of rows that are in the book already. `stops_at` is the first line of
    which nobody can say whose row it is, and so whose rows are missing: then nothing may be
    written. It is 0 where there is none.
    """

    problems: list[Problem] = field(default_factory=list)
    mistakes: dict[int, tuple[Problem, ...]] = field(default_factory=dict)
    doubtful: set[str] = field(default_factory=set)
    skip: Lines = field(default_factory=Lines)
    stops_at: int = 0

    def bad(self, line: int, machine: str, problems: tuple[Problem, ...]) -> None:
        """Notes a bad row, and that its machine is not known for sure without it."""
        self.problems += problems
        if machine:
            self.doubtful.add(machine)
        else:
            self.stops_at = self.stops_at or line


def plan(rows: Iterable[Row | BadRow], known_refs: KnownRefs, where: str) -> Plan:
    """Looks at every row of a file against the others and against the book.

    `where` is the file's name; `known_refs` is asked for some hundred refs at a time.
    """
    made = Plan()
    with closing(Seen()) as seen:
        for batch in _batches(rows):
            good = [row for row in batch if isinstance(row, Row)]
            refs = {ref for row in good for ref in (row.entry.ref, row.of_ref) if ref}
            known = known_refs(sorted(refs)) if refs else {}
            for row in batch:
                if isinstance(row, BadRow):
                    _note(row, made, seen)
                else:
                    _look_at(row, made, seen, known, where)
    return made


def _note(row: BadRow, made: Plan, seen: Seen) -> None:
    """A row that says nothing sure."""
    made.bad(row.line, row.machine, row.problems)
    if row.ref:
        seen.add(row.ref, Target(row.machine, REFUSED, row.at or BEGINNING))


def _look_at(row: Row, made: Plan, seen: Seen, known: Mapping[str, Entry], where: str) -> None:
    entry = row.entry
    target = seen.get(row.of_ref) if row.of_ref else None
    is_new = not entry.ref or seen.add(entry.ref, Target(entry.machine, type(entry), entry.at))
    if is_new and not row.of_ref and not row.denied and entry.ref not in known:
        return  # It says nothing about others, as nearly every row.
    meant = target or known.get(row.of_ref)
    wrong = tuple(_wrong(row, is_new, meant, known, f"{where}: line {row.line}"))
    if entry.ref not in known:
        wrong += row.denied
    if wrong:
        made.mistakes[row.line] = wrong
        # A row that names an entry of another machine may be about either.
        machine = "" if meant and meant.machine != entry.machine else entry.machine
        made.bad(row.line, machine, wrong)
        if is_new and entry.ref:
            seen.refuse(entry.ref)
    elif entry.ref in known:
        made.skip.add(row.line)


def _wrong(
    row: Row, is_new: bool, target: Entry | Target | None, known: Mapping[str, Entry], spot: str
) -> Iterator[Problem]:
    """What the row says against other rows and against the book."""
    ref = row.entry.ref
    if not is_new:
        what = f"{quoted(ref)} stands on an earlier line already"
        yield Problem(f"{spot}: ref", what, "give each row a ref of its own")
    elif ref in known and not _same(row, known):
        what = f"{quoted(ref)} is that of entry {known[ref].seq}, which says something else"
        yield Problem(f"{spot}: ref", what, "strike that entry, and give this row a new ref")
    if not row.of_ref:
        return
    if target is None:
        what = f"no earlier row and no entry of the book has the ref {quoted(row.of_ref)}"
        yield Problem(f"{spot}: of", what, "give the ref of the entry that is meant")
    elif isinstance(target, Target) and target.kind is REFUSED:
        yield Problem(f"{spot}: of", "names a row with mistakes", "correct that row first")
    else:
        yield from mistakes_about(row.entry, target, f"{spot}: of")


def _same(row: Row, known: Mapping[str, Entry]) -> bool:
    """Whether the row says what the entry of its ref says, and means the same entry by `of`."""
    entry = known[row.entry.ref]
    draft = replace(row.entry, ref=entry.ref)
    if row.of_ref and isinstance(draft, Struck | FaultClosed):
        draft = replace(draft, of=known[row.of_ref].seq if row.of_ref in known else 0)
    return same_content(draft, entry)


def _batches(rows: Iterable[Row | BadRow]) -> Iterator[list[Row | BadRow]]:
    waiting = iter(rows)
    while batch := list(islice(waiting, _BATCH)):
        yield batch
