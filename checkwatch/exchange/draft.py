"""A row of the logbook file as an entry: which cells each kind has, and what may stand in them.

Whether the entry may be written is not decided here, but in answers/acceptance.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from difflib import get_close_matches
from typing import Any

from checkwatch.answers.acceptance import measures_taken
from checkwatch.core.entry import (
    RESERVED,
    EmergencyUse,
    Enrolled,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Moved,
    Outcome,
    Reading,
    Result,
    Severity,
    Struck,
)
from checkwatch.core.instant import Instant, parse_instant
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.measured import read_measures

#: The cells that each kind has beside machine, what, at, by, note and ref.
OWN_CELLS: dict[type[Entry], tuple[str, ...]] = {
    Result: ("started", "outcome", "measures", "limits"),
    Fault: ("outcome",),
    FaultClosed: ("of",),
    Struck: ("of", "outcome"),
    EmergencyUse: ("until", "decided"),
    Moved: ("place",),
    Reading: ("measures",),
}

_OWNED = tuple(dict.fromkeys(name for names in OWN_CELLS.values() for name in names))
_NO_CELLS: dict[type[Entry], tuple[str, ...]] = {
    kind: tuple(name for name in _OWNED if name not in OWN_CELLS.get(kind, ()))
    for kind in (Happening, Result, *RESERVED.values())
}

#: Between the texts of the cell `limits`.
BETWEEN_LIMITS = " | "

_IMPOSSIBLE = {
    EmergencyUse: ("until", "give the time at which it ends"),
    Result: ("started", "give the time at which it began"),
    Struck: ("note", "say in a note why it cost nothing"),
}


@dataclass(slots=True)
class RowReader:
    """Reads the cells of one row, and notes every mistake in them.

    `of` is the number of the entry that the cell `of` names, 0 where it has none yet.
    """

    cells: Mapping[str, str]
    where: str
    zone: tzinfo
    of: int = 0
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, column: str, what: str, remedy: str) -> None:
        """Notes a mistake in a cell."""
        self.problems.append(Problem(f"{self.where}: {column}", what, remedy))

    def instant(self, column: str) -> Instant | None:
        """The instant in a cell, None for one that is empty or cannot be read."""
        text = self.cells[column]
        if not text.strip():
            return None
        try:
            return parse_instant(text, self.zone, f"{self.where}: {column}")
        except WrongUse as refusal:
            self.problems += refusal.problems
            return None

    def needed_instant(self, column: str) -> Instant | None:
        """As `instant`; an empty cell is a mistake."""
        if not self.cells[column].strip():
            self.wrong(column, "is empty", "give a time like 2026-03-29T06:50")
        return self.instant(column)

    def one_of(self, column: str, known: tuple[str, ...]) -> str:
        """One of the words that may stand in a cell, empty for a mistake."""
        text = self.cells[column].strip()
        if text in known:
            return text
        what = f"{_shown(text)} cannot stand here" if text else "is empty"
        self.wrong(column, what, f"write one of {', '.join(filter(None, known))}")
        return ""


def kind_of(reader: RowReader, rulebook: Rulebook) -> type[Entry] | None:
    """The kind that the cell `what` names; None, with a mistake noted, if there is none."""
    what = reader.cells["what"].strip()
    if what in rulebook.checks:
        return Result
    if what in rulebook.happenings:
        return Happening
    if what == Enrolled.what:
        reader.wrong("what", "machines are not enrolled here", "put it into a fleet file")
        return None
    if what in RESERVED:
        return RESERVED[what]
    known = [*rulebook.checks, *rulebook.happenings, *RESERVED]
    close = get_close_matches(what[:60], known, n=1)
    said = f"{_shown(what)} is no check, happening or reserved word" if what else "is empty"
    reader.wrong("what", said, f'did you mean "{close[0]}"?' if close else "see `rules show`")
    return None


def read_draft(
    reader: RowReader, kind: type[Entry], at: Instant, rulebook: Rulebook
) -> Entry | None:
    """The entry of a row, with `seq` and `recorded` 0; None if a cell has a mistake."""
    cells = reader.cells
    for column in _NO_CELLS[kind]:
        if cells[column] and cells[column].strip():
            what = f"means nothing for {cells['what'].strip()}"
            reader.wrong(column, what, "leave the cell empty")
    own = _OWN[kind](reader, rulebook) if kind in _OWN else {}
    if reader.problems:
        return None
    try:
        return kind(
            seq=0,
            machine=cells["machine"].strip(),
            at=at,
            recorded=Instant(0),
            by=cells["by"],
            note=cells["note"],
            ref=cells["ref"],
            **own,
        )
    except ValueError as error:
        column, remedy = _IMPOSSIBLE[kind]
        reader.wrong(column, str(error), remedy)
        return None


def _result(reader: RowReader, rulebook: Rulebook) -> dict[str, Any]:
    check, limits = reader.cells["what"].strip(), reader.cells["limits"]
    outcome = reader.one_of("outcome", tuple(Outcome))
    return {
        "check": check,
        "outcome": Outcome(outcome) if outcome else None,
        "started": reader.instant("started"),
        "measures": _measures(reader, rulebook, check),
        "limits": tuple(map(str.strip, limits.split(BETWEEN_LIMITS))) if limits.strip() else (),
    }


def _happening(reader: RowReader, _: Rulebook) -> dict[str, Any]:
    return {"code": reader.cells["what"].strip()}


def _measures(reader: RowReader, rulebook: Rulebook, check: str) -> Any:
    text = reader.cells["measures"]
    if not text:
        return ()
    takes = measures_taken(rulebook, check) if check else {}
    try:
        return read_measures(text, takes, f"{reader.where}: measures")
    except WrongUse as refusal:
        reader.problems += refusal.problems
        return ()


def _reading(reader: RowReader, rulebook: Rulebook) -> dict[str, Any]:
    found = _measures(reader, rulebook, "")
    if len(found) == 1:
        return {"meter": found[0][0], "value": found[0][1]}
    if not reader.problems:
        reader.wrong("measures", "a reading is of one meter", "write it like hours=4120")
    return {}


def _fault(reader: RowReader, _: Rulebook) -> dict[str, Any]:
    severity = reader.one_of("outcome", tuple(Severity))
    return {"severity": Severity(severity) if severity else None}


def _struck(reader: RowReader, _: Rulebook) -> dict[str, Any]:
    if not reader.cells["of"]:
        reader.wrong("of", "is empty", "give the ref of the entry that is struck")
    return {"of": reader.of, "restores": reader.one_of("outcome", ("", "restores")) != ""}


def _closed(reader: RowReader, _: Rulebook) -> dict[str, Any]:
    return {"of": reader.of if reader.cells["of"] else None}


def _exception(reader: RowReader, _: Rulebook) -> dict[str, Any]:
    return {"until": reader.needed_instant("until"), "decided": reader.cells["decided"]}


def _moved(reader: RowReader, _: Rulebook) -> dict[str, Any]:
    place = reader.cells["place"].strip()
    if not place:
        reader.wrong("place", "is empty", "say where it stands now")
    return {"place": place}


_OWN: dict[type[Entry], Callable[[RowReader, Rulebook], dict[str, Any]]] = {
    Result: _result,
    Happening: _happening,
    Reading: _reading,
    Fault: _fault,
    Struck: _struck,
    FaultClosed: _closed,
    EmergencyUse: _exception,
    Moved: _moved,
}


def _shown(text: str) -> str:
    return repr(text if len(text) <= 60 else f"{text[:59]}…")
