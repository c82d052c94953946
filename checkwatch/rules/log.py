"""The log of a worked case: its lines as entries, and nothing among them that no book accepts.

A line is put into the columns of the logbook file and read as a row of it is.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from checkwatch.answers.acceptance import (
    Facts,
    Target,
    mistakes_about,
    mistakes_in,
)
from checkwatch.answers.draft import BETWEEN_LIMITS, OWN, Given, kind_of, read_draft
from checkwatch.core.entry import Enrolled, Entry, Reading, Result
from checkwatch.core.instant import BEGINNING, FOREVER
from checkwatch.core.logbook import as_of
from checkwatch.core.mistake import cut, nearest, quoted
from checkwatch.errors import Problem
from checkwatch.rules.log_line import Line, Scene, read_time

#: What every line may say beside its kind's own columns.
_COMMON = ("by", "note", "recorded")

#: The columns that are no word of a line: it says them in its own way.
_UNSPOKEN = frozenset({"outcome", "measures", "limits"})


class Log:
    """Takes the lines in the order in which they were written down; `entries` are those without
    a mistake, numbered like the lines."""

    def __init__(self, scene: Scene) -> None:
        self.entries: list[Entry] = []
        self._scene = scene
        self._above: dict[int, Target] = {}

    def add(self, number: int, line: Line, where: str) -> list[Problem]:
        """Every mistake in a line; without one its entry is taken. `where` names the line."""
        rulebook = self._scene.rulebook
        head = {"machine": line.machine, "what": line.what, "outcome": line.outcome}
        given = Given(head, where, lambda text: read_time(text, self._scene, line.at))
        kind = kind_of(given, rulebook)
        if kind is None:
            return given.problems
        given.texts = head | self._columns(line.pairs, kind, given)
        target = self._named(given)
        self._above[number] = Target(line.machine, kind, line.at)
        draft = read_draft(given, kind, line.at, rulebook)
        if draft is None:
            return given.problems
        entry = replace(draft, seq=number, recorded=draft.recorded or line.at)
        if entry.recorded < entry.at:
            given.wrong("recorded", "it was written before it happened", "correct one of the times")
        now = max(entry.at, entry.recorded)
        facts, anywhere = self._facts(line.machine), {given.text("place")}
        given.problems += mistakes_in(entry, rulebook, facts, anywhere, now, where)
        given.problems += mistakes_about(entry, target, where)
        self.entries += [] if given.problems else [entry]
        return given.problems

    def _columns(
        self, pairs: Iterable[tuple[str, str]], kind: type[Entry], given: Given
    ) -> dict[str, str]:
        """The pairs of a line by column: those that are no words of its kind are its numbers."""
        takes = self._scene.rulebook.taking[given.text("what")] if kind is Result else {}
        known = [*_COMMON, *(column for column in OWN.get(kind, ()) if column not in _UNSPOKEN)]
        known += ["limit"] if kind is Result else []
        found: dict[str, list[str]] = defaultdict(list)
        for key, value in pairs:
            if key in known:
                found[key].append(value)
            elif key in takes or kind is Reading:
                found["measures"].append(f"{key}={value}")
            else:
                remedy = nearest(key, [*known, *takes], "leave it out")
                given.wrong(cut(key), f"means nothing for {given.text('what')}", remedy)
        columns = {
            "measures": ";".join(found.pop("measures", ())),
            "limits": BETWEEN_LIMITS.join(found.pop("limit", ())),
        }
        for key, (value, *more) in found.items():
            columns[key] = value
            if more:
                given.wrong(key, "stands there twice", "keep one of them")
        return columns

    def _named(self, given: Given) -> Target | None:
        """The line above that `of=` names."""
        text = given.text("of")
        given.of = int(text) if re.fullmatch(r"\d{1,9}", text, re.ASCII) else 0
        if text and given.of not in self._above:
            what = f"{quoted(text)} names no line above"
            given.wrong("of", what, "count the log's lines from 1")
        return self._above.get(given.of)

    def _facts(self, machine: str) -> Facts:
        """What the lines above say of a machine."""
        kind = self._scene.machines[machine]
        enrolled = Enrolled(seq=0, machine=machine, at=BEGINNING, recorded=BEGINNING, kind=kind)
        told = (entry for entry in self.entries if entry.machine == machine)
        retired = as_of(told, FOREVER, FOREVER).retired
        return Facts(enrolled, retired.at if retired else None)
