"""What others published, beside what checkwatch computes: the rows of docs/evidence.md.

Each module named in `MODULES` has a `TITLE` and a function `rows()`.
`python -m tests.outside.evidence` writes the page anew; a test holds that it is current.
"""

from __future__ import annotations

import importlib
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import NamedTuple

PAGE = Path(__file__).parents[2] / "docs" / "evidence.md"
SURVIVORS = tomllib.loads(Path(__file__).with_name("survivors.toml").read_text(encoding="utf-8"))

MODULES: tuple[str, ...] = (
    *("bridges", "calendar_rules", "dams", "guidance", "intervals", "voiding", "trade"),
)

#: The clauses and modifiers of docs/meaning.md part 5, and the voiding rules of part 4.
SUBJECTS = {
    "valid-for": "5: `valid_for`",
    "valid-until-next": "5: `valid_until_next`",
    "counted-from": "5: `counted_from`",
    "once-each": "5: `once_each`",
    "valid-for-use": "5: `valid_for_use`",
    "reading-within": "5: `reading_within`",
    "from-due": '5: `next_due = "from-due"`',
    "early": "5: `early`",
    "late": "5: `late`",
    "warn-before": "5: `warn_before`",
    "round-up-to": "5: `round_up_to`",
    "several": "5: several clauses, the earliest counts",
    "endless": "5: no clause, no end by time",
    "voided-by": "4: `voided_by`",
    "under-test": "4: voided after the attempt began",
    "unasked": "4: a return, a move, a closed stop-use fault void every gate",
    "unknown": "4: an unknown happening voids",
    "next-attempt": "4: the next attempt ends the window",
}


class Mark(StrEnum):
    """How sure a published value is."""

    READ = "read"
    SECOND = "read where somebody quotes it"
    COMPUTED = "computed from its definition"
    MEMORY = "from memory"
    LIBRARY = "reference library"
    DATA = "open data"
    PRACTICE = "common practice, no source"


class Source(NamedTuple):
    """Publication, section and year; how sure it is."""

    name: str
    mark: Mark


class Row(NamedTuple):
    """One outside value: the case, what the source says of it, what we compute.

    `differs` says why the two are not the same; it is empty where they are.
    """

    source: Source
    about: tuple[str, ...]
    case: str
    says: str
    ours: str
    differs: str = ""

    @property
    def agrees(self) -> bool:
        """Whether we compute what the source says."""
        return self.says == self.ours


@cache
def sections() -> tuple[tuple[str, tuple[Row, ...]], ...]:
    """The rows of every module under its title."""
    modules = [importlib.import_module(f"tests.outside.{name}") for name in MODULES]
    return tuple((module.TITLE, tuple(module.rows())) for module in modules)


def all_rows() -> list[Row]:
    """The rows of all modules."""
    return [row for _, rows in sections() for row in rows]


def page() -> str:
    """docs/evidence.md."""
    rows = all_rows()
    differ = sum(not row.agrees for row in rows)
    tables = (line for title, found in sections() for line in _table(title, found))
    head = HEAD.format(rows=len(rows), differ=differ)
    return "\n".join((head, *_subjects(rows), *tables, *_mutants()))


HEAD = """\
# Evidence

What checkwatch computes, beside what others published. Nobody should have to take our word for
the rules engine. Made by `python -m tests.outside.evidence` from the tests in tests/outside; a test
holds that it is current. {rows} values, {differ} of which differ, with the reason.

How sure a value is stands beside its source: *read* is the primary text; *read where somebody
quotes it* is a secondary page; *computed from its definition* is a number that the source's own
rule gives; *from memory* was not looked up; *common practice* has no source at all.
"""


def _subjects(rows: Iterable[Row]) -> Iterator[str]:
    sources: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        for subject in row.about:
            sources[subject].add(row.source.name)
    yield "## What is held by whom"
    yield ""
    yield "Clauses, modifiers and voiding rules of [meaning.md](meaning.md), and what they are"
    yield "measured against."
    yield ""
    yield "| part | sources |"
    yield "| --- | --- |"
    for key, words in SUBJECTS.items():
        found = sorted(sources[key])
        few = ("none exists that we know", f"{'; '.join(found)}; we know no second one")
        yield f"| {words} | {few[len(found)] if len(found) < 2 else '; '.join(found)} |"
    yield ""


def _table(title: str, rows: Iterable[Row]) -> Iterator[str]:
    yield f"## {title}"
    yield ""
    yield "| source | how sure | case | it says | checkwatch | |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for row in rows:
        verdict = "agrees" if row.agrees else f"differs: {row.differs}"
        cells = (row.source.name, row.source.mark, row.case, row.says, row.ours, verdict)
        yield f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"
    yield ""


MUTANTS = """\
## Mutants

What the tests notice. `python -m tests.mutants` makes one change at a time to a file of the engine
(a comparison, a number, `and`, `or`, `not`, a condition that always or never holds) and runs the
tests on it. Counted in the last whole run, on {date}. A change that no test notices is here with
the reason why no book could tell it apart.

| file | changes | noticed | not noticed |
| --- | --- | --- | --- |"""


def _mutants() -> Iterator[str]:
    lasting = SURVIVORS["survivor"]
    left = Counter(one["file"] for one in lasting)
    yield MUTANTS.format(date=SURVIVORS["date"])
    for name, made in SURVIVORS["made"].items():
        yield f"| {name} | {made} | {made - left[name]} | {left[name]} |"
    yield ""
    yield "| where | change | why nothing tells it apart |"
    yield "| --- | --- | --- |"
    for one in lasting:
        cells = (f"{one['file']}: {one['where']}", f"`{one['change']}`", one["reason"])
        yield f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"
    yield ""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
