"""What others published, beside what checkwatch computes: the rows of docs/evidence.md.

Each module named in `MODULES` has a `TITLE`, an `INTRO` and a function `rows()`.
`python -m tests.outside.evidence` writes the page anew; a test holds that it is current.
"""

from __future__ import annotations

import importlib
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import NamedTuple

PAGE = Path(__file__).parents[2] / "docs" / "evidence.md"
SURVIVORS = tomllib.loads(Path(__file__).with_name("survivors.toml").read_text(encoding="utf-8"))

MODULES: tuple[str, ...] = (
    *("bridges", "calendar_rules", "dams", "guidance", "intervals", "voiding", "trade", "test_gs1"),
)

#: Of which no source is known.
NONE_KNOWN = {"restored"}
#: The clauses and modifiers of docs/meaning.md part 5, and the voiding rules of part 4.
SUBJECTS = {
    "valid-for": "5: `valid_for`",
    "valid-until-next": "5: `valid_until_next`",
    "counted-from": "5: `counted_from`",
    "once-each": "5: `once_each`",
    "valid-for-use": "5: `valid_for_use`",
    "reading-within": "5: `reading_within`",
    "until-expiry": "5: `valid_until_expiry`",
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
    "restored": "4: a book put back from a backup voids every gate",
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


MEANS = {
    Mark.READ: "the primary text or a faithful copy was read",
    Mark.SECOND: "only a page that quotes or retells it was read",
    Mark.COMPUTED: "a value that the source's own rule gives, worked out by hand",
    Mark.MEMORY: "not looked up",
    Mark.LIBRARY: "what another program computes",
    Mark.DATA: "published data, as counted by somebody else",
    Mark.PRACTICE: "done so in many places; no text was found",
}


class Source(NamedTuple):
    """Publication, section and year; how sure it is."""

    name: str
    mark: Mark


#: How the reason of a difference begins that is not neutral.
LAX, SAFE = "less strict: ", "on the safe side: "


class Row(NamedTuple):
    """One outside value: the case, what the source says of it, what we compute.

    `differs` says why the two are not the same; it is empty where they are. `rule` is what the
    source asks for in all of its cases, where it asks for one thing.
    """

    source: Source
    about: tuple[str, ...]
    case: str
    says: str
    ours: str
    differs: str = ""
    rule: str = ""

    @property
    def agrees(self) -> bool:
        """Whether we compute what the source says."""
        return self.says == self.ours


class Section(NamedTuple):
    """The rows of a module; `intro` says how to read them."""

    title: str
    intro: str
    rows: tuple[Row, ...]


@cache
def sections() -> tuple[Section, ...]:
    """One for every module."""
    modules = [importlib.import_module(f"tests.outside.{name}") for name in MODULES]
    return tuple(Section(module.TITLE, module.INTRO, tuple(module.rows())) for module in modules)


def all_rows() -> list[Row]:
    """The rows of all modules."""
    return [row for section in sections() for row in section.rows]


def page() -> str:
    """docs/evidence.md."""
    rows = all_rows()
    tables = (line for section in sections() for line in _table(section))
    return "\n".join(
        (*_head(rows), *_contents(), *_subjects(rows), *_differences(rows), *tables, *_mutants())
    )


HEAD = """\
# Evidence

What checkwatch computes, beside what others published. Nobody should have to take our word for
the rules engine.

**{rows} values of {sources} sources: {agree} agree; {differ} differ, each with its reason.**

Every value goes through a rulebook as a department would write it, and through the engine; those of
labels go through their reader. None of ours was adjusted to fit; where an outside rule cannot be
said, it stands here as a difference. Most sources are of other trades, for few publish how long a
check of an anaesthetic machine lasts. What they ask for is in our words: it is no advice on how to
follow them.

Made by `python -m tests.outside.evidence` from the tests in tests/outside; a test holds that it is
current.

| how sure | which means | values |
| --- | --- | --- |"""


def _head(rows: Sequence[Row]) -> Iterator[str]:
    agree = sum(row.agrees for row in rows)
    yield HEAD.format(
        sources=len({row.source.name for row in rows}),
        rows=len(rows),
        agree=agree,
        differ=len(rows) - agree,
    )
    values = Counter(row.source.mark for row in rows)
    for mark, meaning in MEANS.items():
        yield f"| {mark} | {meaning} | {values[mark]} |"
    yield ""


def _contents() -> Iterator[str]:
    yield "## What is here"
    yield ""
    for title in ("What is held by whom", "Where checkwatch differs"):
        yield f"- {_link(title)}"
    for title, _, rows in sections():
        differ = sum(not row.agrees for row in rows)
        yield f"- {_link(title)}: {len(rows)} values, {differ or 'none'} differing"
    yield f"- {_link('Mutants')}"
    yield ""


def _link(title: str) -> str:
    """A link to the heading, by the name that renderers of Markdown give it."""
    kept = "".join(c for c in title.lower() if c.isalnum() or c in " -")
    return f"[{title}](#{kept.replace(' ', '-')})"


#: So many sources are named; of more, those with the most values.
NAMED = 5


def _subjects(rows: Sequence[Row]) -> Iterator[str]:
    yield "## What is held by whom"
    yield ""
    yield "Clauses, modifiers and voiding rules of [meaning.md](meaning.md), and what they are"
    yield "measured against."
    yield ""
    yield "| part | sources | values | differing | by whom |"
    yield "| --- | --- | --- | --- | --- |"
    for subject, words in SUBJECTS.items():
        found = [row for row in rows if subject in row.about]
        sources = Counter(row.source.name for row in found)
        named = "; ".join(name for name, _ in sources.most_common(NAMED)) or "none that we know"
        more = f"; and {len(sources) - NAMED} more" if len(sources) > NAMED else ""
        differ = sum(not row.agrees for row in found)
        yield f"| {words} | {len(sources)} | {len(found)} | {differ} | {named}{more} |"
    yield ""


DIFFERENCES = """\
## Where checkwatch differs

First where it is less strict than the source: a pass lasts longer, or less is owed. Then where a
rule cannot be said or is read otherwise. Last where it is on the safe side.

| why | source | values |
| --- | --- | --- |"""


def _differences(rows: Sequence[Row]) -> Iterator[str]:
    sources: dict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        if not row.agrees:
            sources[row.differs][row.source.name] += 1
    yield DIFFERENCES
    for why in sorted(sources, key=_safety):
        yield f"| {why} | {'; '.join(sources[why])} | {sources[why].total()} |"
    yield ""


def _safety(why: str) -> int:
    """How a difference comes to stand where DIFFERENCES says."""
    return 0 if why.startswith(LAX) else 2 if why.startswith(SAFE) else 1


def _table(section: Section) -> Iterator[str]:
    yield f"## {section.title}"
    yield ""
    yield section.intro
    yield ""
    yield "| source, and what it asks for | how sure | case | it says | checkwatch |"
    yield "| --- | --- | --- | --- | --- |"
    above = ""
    for row in section.rows:
        source = f"{row.source.name}: {row.rule}" if row.rule else row.source.name
        ours = "agrees" if row.agrees else f"**differs:** {row.ours} ({row.differs})"
        cells = ("" if source == above else source, row.source.mark, row.case, row.says, ours)
        yield f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"
        above = source
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
