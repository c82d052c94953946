"""The logbook file: each row becomes an entry to be written, or all that is wrong with it."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple, TextIO

from checkwatch.answers.acceptance import Facts, mistakes_in
from checkwatch.answers.draft import Given, kind_of, read_draft
from checkwatch.answers.people import asking, flagged, mistakes_of, unsigned, without_pin
from checkwatch.core.entry import Entry, Flag, Result
from checkwatch.core.instant import Instant, parse_instant
from checkwatch.core.mistake import quoted
from checkwatch.core.person import People
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.spelling import nearest_names
from checkwatch.core.versions import Versions
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.sheet import Columns, rows

COLUMNS = Columns(
    (
        "machine",
        "what",
        "at",
        "started",
        "outcome",
        "measures",
        "limits",
        "until",
        "place",
        "of",
        "by",
        "decided",
        "note",
        "ref",
        "clock_offset",
        "gtin",
        "lot",
        "serial",
        "expiry",
        "flag",
        "signed",
    ),
    optional=("decided", "clock_offset", "gtin", "lot", "serial", "expiry", "flag", "signed"),
    # What an import that left rows out says of each; a file put right may keep it.
    ignored=("reason",),
)

#: What another book's PIN stood for. It is written for people, and no signature here: whoever can
#: write a file could forge one.
_SIGNED = "signed"


class Row(NamedTuple):
    """A row that may become an entry; its `seq` and `recorded` are 0.

    `of_ref` is the ref of the entry that a striking or a closed fault means; the entry's own `of`
    is then no number yet. `cells` are those of the file. `denied` says why its writer may not write
    it, which counts for what the book does not have yet.
    """

    line: int
    entry: Entry
    of_ref: str = ""
    cells: Mapping[str, str] = {}
    denied: tuple[Problem, ...] = ()

    @property
    def machine(self) -> str:
        """The tag of the machine that it is about."""
        return self.entry.machine

    @property
    def is_flagged(self) -> bool:
        """Whether something is doubtful about its writer."""
        return isinstance(self.entry, Result) and self.entry.flag not in (None, Flag.UNSIGNED)

    @property
    def is_unsigned(self) -> bool:
        """Whether it came without the PIN that is asked for it."""
        return isinstance(self.entry, Result) and self.entry.flag is Flag.UNSIGNED


class BadRow(NamedTuple):
    """A row with mistakes, or what is wrong with the file itself.

    `machine` is empty where the row does not say it, or says one that the book does not know;
    `at` is None where it cannot be read. `cells` are those of the file.
    """

    line: int
    problems: tuple[Problem, ...]
    machine: str = ""
    at: Instant | None = None
    cells: Mapping[str, str] = {}

    @property
    def ref(self) -> str:
        """The sender's own key, empty where there is none."""
        return self.cells.get("ref", "")


@dataclass(frozen=True)
class _Known:
    """What the book knows while a file is read."""

    versions: Versions
    facts: Mapping[str, Facts]
    places: Container[str]
    now: Instant
    people: People

    def in_force(self, at: Instant) -> Rulebook:
        version = self.versions.in_force(at)
        if version is None:
            raise ValueError("a logbook is read by an adopted rulebook")
        return version.rulebook


def read_logbook(
    stream: TextIO,
    where: str,
    versions: Versions,
    facts: Mapping[str, Facts],
    places: Container[str],
    now: Instant,
    people: People,
) -> Iterator[Row | BadRow]:
    """The rows of a logbook file in its order, in the memory of one.

    `versions` has at least one. What `of` and `ref` say against other entries is looked at in
    plan.py.
    """
    known = _Known(versions, facts, places, now, people)
    for line, cells, problem in rows(stream, where, COLUMNS):
        if problem:
            tag = cells.get("machine", "").strip()
            yield BadRow(line, (problem,), tag if tag in facts else "", cells=cells)
        else:
            yield _row(line, cells, f"{where}: line {line}", known)


def _row(line: int, cells: dict[str, str], spot: str, known: _Known) -> Row | BadRow:
    machine = cells["machine"].strip()
    facts = known.facts.get(machine)
    problems = [] if facts else [_unknown_machine(machine, known.facts, spot)]
    at, entry = None, None
    denied: tuple[Problem, ...] = ()
    rules: list[Rulebook] = []
    try:
        at, rulebook = _in_force(cells["at"], known, spot)
    except WrongUse as refusal:
        problems += refusal.problems
    else:
        rules = asking(known.versions, at, known.now)
        filled = {column: cell for column, cell in cells.items() if cell and column != _SIGNED}
        given = Given(filled, spot, partial(parse_instant, zone=rulebook.zone))
        kind = kind_of(given, rulebook)
        entry = read_draft(given, kind, at, rulebook) if kind else None
        problems += given.problems
    if entry and facts:
        problems += mistakes_in(entry, rulebook, facts, known.places, known.now, spot)
        denied = _denied(entry, rules, facts.enrolled.kind, known.people, spot)
    if not entry or not facts or problems:
        return BadRow(line, (*problems, *denied), machine if facts else "", at, cells)
    entry = unsigned(flagged(entry, rules, facts.enrolled.kind, known.people), rules)
    return Row(line, entry, cells["of"], cells, denied)


def _denied(
    entry: Entry, rules: Iterable[Rulebook], kind: str, people: People, spot: str
) -> tuple[Problem, ...]:
    """Why who wrote it may not, by each of the rules that ask."""
    found: dict[Problem, None] = {}
    for rulebook in rules:
        found |= dict.fromkeys(mistakes_of(entry, rulebook, kind, people, spot))
        found |= dict.fromkeys(without_pin(entry, rulebook, spot))
    return tuple(found)


def _unknown_machine(tag: str, tags: Iterable[str], spot: str) -> Problem:
    if not tag:
        return Problem(f"{spot}: machine", "is empty", "fill in the tag of the machine")
    what = f"the book knows no machine {quoted(tag)}"
    near = nearest_names(tag, tags)
    remedy = f"did you mean {' or '.join(near)}?" if near else "enrol it first"
    return Problem(f"{spot}: machine", what, remedy)


def _in_force(text: str, known: _Known, spot: str) -> tuple[Instant, Rulebook]:
    """The instant of a row, and the rulebook that judges it.

    A local time is one of the zone of the rulebook in force, which is known only with the time:
    it is read in the newest zone, and again where another one proves to be in force then. Raises
    WrongUse for what is no time.
    """
    if not text.strip():
        raise WrongUse(Problem(f"{spot}: at", "is empty", "give a time like 2026-03-29T06:50"))
    zone = known.versions.adopted[-1].rulebook.zone
    at = parse_instant(text, zone, f"{spot}: at")
    rulebook = known.in_force(at)
    if rulebook.zone is not zone:
        at = parse_instant(text, rulebook.zone, f"{spot}: at")
        rulebook = known.in_force(at)
    return at, rulebook
