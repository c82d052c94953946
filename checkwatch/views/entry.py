"""An entry in words: what it says, and what is odd about it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import tzinfo
from typing import Any

from checkwatch.answers.log import Line, Log
from checkwatch.core import entry as e
from checkwatch.core.attempt import plain
from checkwatch.core.instant import MINUTE
from checkwatch.core.rulebook import Rulebook
from checkwatch.views.report import LONGEST
from checkwatch.views.words import Here, duration, harmless, inside, listed, spoken, with_article
from checkwatch.views.writer import oddities as of_writer

#: No word that somebody wrote is longer here; their sentences are shown whole.
_WORD = 60


def saying(line: Line, log: Log, zone: tzinfo) -> str:
    """What an entry says, its note included."""
    entry = line.entry
    said = _said(entry, log, zone)
    return f"{said}: {harmless(entry.note, LONGEST)}" if entry.note else said


def oddities(line: Line, rulebook: Rulebook | None) -> Iterator[str]:
    """What became of it, how late it was written, what it counts as; `rulebook` is the one in
    force."""
    for striking in line.strikings:
        cost = ", with all that it cost" if striking.restores else ""
        yield f"struck by entry {striking.seq}{cost}: {harmless(striking.note, LONGEST)}"
    if line.after is not None:
        yield f"after the fail of entry {line.after}"
    if line.counts is not None:
        yield f"counts as {line.counts.value}"
    if line.idle:
        titles = listed(inside(harmless(title, _WORD)) for title in line.idle)
        yield f"counts for nothing as {titles}"
    if line.late >= MINUTE:
        yield f"written {duration(line.late)} later"
    if line.entry.clock_offset:
        yield f"the machine's clock was {_offset(line.entry.clock_offset)}"
    yield from of_writer(line.entry, rulebook)


def _offset(seconds: int) -> str:
    amount = f"{abs(seconds)} s" if abs(seconds) < 60 else duration(abs(seconds) * 1_000_000)
    return f"{amount} {'ahead' if seconds > 0 else 'behind'}"


def _said(entry: e.Entry, log: Log, zone: tzinfo) -> str:
    # Beside an entry of the same day a time needs no date.
    here = Here(zone, entry.at)
    if isinstance(entry, e.Result):
        return _result(entry, log.rulebook, here)
    if isinstance(entry, e.Happening):
        return _happening(entry, log.rulebook)
    if isinstance(entry, e.Adopted):
        later = (
            f", in force from {Here(zone, entry.recorded).local(entry.at)}"
            if entry.at > entry.recorded
            else ""
        )
        return f"Rulebook adopted, {harmless(log.titles.get(entry.seq, ''), _WORD)}{later}"
    if isinstance(entry, e.EmergencyUse):
        decided = f", decided by {harmless(entry.decided, _WORD)}" if entry.decided else ""
        return f"Exception until {here.local(entry.until)}{decided}"
    return _SAYS.get(type(entry), _by_its_word)(entry)


def _result(entry: e.Result, rulebook: Rulebook | None, here: Here) -> str:
    check = rulebook.checks.get(entry.check) if rulebook else None
    title = check.title if check else entry.check
    taken = rulebook.taking[check.code] if rulebook and check else {}
    parts = [f"{harmless(title, _WORD)} {entry.outcome.value}"]
    for code, value in entry.measures:
        unit = f" {taken[code].unit}" if code in taken else ""
        parts.append(f"{harmless(code, _WORD)} {plain(value)}{unit}")
    parts += [harmless(limit, LONGEST) for limit in entry.limits]
    if entry.started is not None and entry.started < entry.at:
        parts.append(f"begun {here.local(entry.started)}")
    return ", ".join(parts)


def _happening(entry: e.Happening, rulebook: Rulebook | None) -> str:
    code = harmless(entry.code, _WORD)
    known = rulebook.happenings if rulebook else {}
    title = known.get(entry.code)
    said = (
        f'"{code}", which the rulebook does not know' if title is None else harmless(title, _WORD)
    )
    label = {
        "lot": entry.lot,
        "serial": entry.serial,
        "good until": str(entry.expiry or ""),
        "GTIN": entry.gtin,
    }
    found = [f"{word} {harmless(text, _WORD)}" for word, text in label.items() if text]
    return ", ".join([said, *found])


def _enrolled(entry: Any) -> str:
    parts = [f"Enrolled, {harmless(spoken(entry.kind), _WORD)}"]
    parts += [f"in {harmless(entry.place, _WORD)}"] if entry.place else []
    more = {"model": entry.model, "serial": entry.serial}
    return ", ".join(parts + [f"{word} {harmless(t, _WORD)}" for word, t in more.items() if t])


def closing(entry: e.FaultClosed) -> str:
    """Which fault, how it came to its end, and the writer's own key for that, as a job's number."""
    how = {
        None: "closed",
        e.Closing.REPAIRED: "closed, repaired",
        e.Closing.NO_FAULT_FOUND: "closed, no fault found",
        e.Closing.ACCEPTED: "closed, accepted with a limit",
    }[entry.how]
    which = "Fault" if entry.of is None else f"Fault {entry.of}"
    ref = f", {harmless(entry.ref, _WORD)}" if entry.ref else ""
    return f"{which} {how}{ref}"


def _place(entry: Any) -> str:
    kind = with_article(harmless(spoken(entry.place_kind), _WORD))
    parts = [f"Place {harmless(entry.place, _WORD)}, {kind}"]
    parts += [f"in {harmless(entry.area, _WORD)}"] if entry.area else []
    parts += [f"with {harmless(entry.belongs, _WORD)}"] if entry.belongs else []
    return ", ".join(parts)


def _by_its_word(entry: e.Entry) -> str:
    word = harmless(spoken(entry.what), _WORD)
    return word[:1].upper() + word[1:]


_FORBIDS = {e.Severity.STOP_USE: "forbids", e.Severity.LIMIT: "limits"}
_COST = {True: ", with all that it cost", False: ""}

_SAYS: dict[type[e.Entry], Callable[[Any], str]] = {
    e.Enrolled: _enrolled,
    e.Retired: lambda _: "Retired from the fleet",
    e.Moved: lambda entry: f"Moved to {harmless(entry.place, _WORD)}",
    e.Withdrawn: lambda _: "Withdrawn from use",
    e.Returned: lambda _: "Returned to use",
    e.Fault: lambda entry: f"Fault that {_FORBIDS[entry.severity]} use",
    e.FaultClosed: closing,
    e.Reading: lambda entry: f"Reading of {harmless(entry.meter, _WORD)}, {plain(entry.value)}",
    e.CaseStart: lambda _: "A case began",
    e.CaseEnd: lambda _: "A case ended",
    e.Struck: lambda entry: f"Entry {entry.of} struck{_COST[entry.restores]}",
    e.Restored: lambda _: "The book was put back from a backup, every gate void",
    e.PlaceKnown: _place,
}
