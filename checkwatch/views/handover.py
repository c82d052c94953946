"""The page for the next shift in words; of long lists it names the first and counts the rest."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from checkwatch.answers.handover import Change, Handover, Mended, Taken
from checkwatch.answers.open_matters import What
from checkwatch.answers.overdue import Owed
from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, Instant, iso
from checkwatch.core.states import ORDER, Standing
from checkwatch.views.answer import CAUTION_YES
from checkwatch.views.document import Document
from checkwatch.views.entry import closing
from checkwatch.views.open_matters import document as open_document
from checkwatch.views.open_matters import put_back, put_back_document, said, where
from checkwatch.views.reason import said as noted
from checkwatch.views.report import Report, Table
from checkwatch.views.unpaid import nth
from checkwatch.views.why import described
from checkwatch.views.words import LOOKS, Here, duration, harmless, inside, listed, plural

#: So many names stand in a list, so many matters and late entries are told; the rest is counted.
_NAMES = 12
_MATTERS = 15
_LATE = 5

#: How standings are counted: what needs somebody first.
_COUNTED = (
    Standing.NOT_CLEARED,
    Standing.UNKNOWN,
    Standing.BY_EXCEPTION,
    Standing.LIMITED,
    Standing.CLEARED,
    Standing.WITHDRAWN,
)

#: The kinds of entries as they are counted; what is in none of them is a happening.
_KINDS: dict[type[e.Entry], tuple[str, str]] = {
    e.Result: ("result", "results"),
    e.EmergencyUse: ("exception", "exceptions"),
    e.Fault: ("fault", "faults"),
    e.FaultClosed: ("fault closed", "faults closed"),
    e.Withdrawn: ("withdrawal", "withdrawals"),
    e.Returned: ("return", "returns"),
    e.Moved: ("move", "moves"),
    e.CaseStart: ("case begun", "cases begun"),
    e.CaseEnd: ("case ended", "cases ended"),
    e.Reading: ("reading", "readings"),
    e.Struck: ("striking", "strikings"),
    e.Note: ("note", "notes"),
    e.Enrolled: ("enrolment", "enrolments"),
    e.Retired: ("retirement", "retirements"),
    e.Restored: ("record that the book was put back", "records that the book was put back"),
    e.Happening: ("happening", "happenings"),
}


def handover(page: Handover, here: Here) -> Report:
    """What changed, what was written, what is open, what will lapse."""
    if page.doubts:
        return [f"Nothing can be handed over: the book is not believed: {listed(page.doubts)}."]
    report: Report = [_heading(page, here)]
    if page.open.put_back is not None:
        report += ["", put_back(page.open.put_back, here)]
    report += _changes("places", page.places, here, page.since)
    report += _changes("machines", page.machines, here, page.since)
    if page.moves:
        moves = [f"{one.machine} to {harmless(one.place, 40)}" for one in page.moves]
        report += ["", f"Moved: {_some(moves)}."]
    report += ["", *_written(page, here)]
    report += _exceptions(page, here)
    if page.faults:
        report += ["", "Faults closed", *(f"  {_mended(one, here)}" for one in page.faults)]
    report += _open(page, here)
    report += _soon(page, here)
    return [*report, "", "What is owed now: `checkwatch overdue`.", CAUTION_YES]


def _heading(page: Handover, here: Here) -> str:
    span = f"from {here.local(page.since)} to {here.local(page.question.at)}"
    counts = ", ".join(
        f"{count} {LOOKS[one].word}" for one in _COUNTED if (count := page.standings[one])
    )
    machines = plural(sum(page.standings.values()), "machine")
    length = duration(page.question.at - page.since)
    asked_now = page.question.at == page.question.now and page.question.known_at is None
    newest = ""
    if asked_now and page.newest is not None:
        newest = f" Newest entry written {here.dated(page.newest)}."
    return f"Handover, {span} ({length}). {machines}: {counts}.{newest}"


def _some(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    more = len(names) - _NAMES
    return listed(names) if more <= 0 else f"{', '.join(names[:_NAMES])} and {more} more"


def _changes(called: str, changes: Iterable[Change], here: Here, since: Instant) -> Report:
    """Those that stand otherwise, with those that changed alike in one row; the worst first."""
    alike: dict[tuple[Standing | None, Standing | None], list[str]] = defaultdict(list)
    for change in changes:
        alike[change.now, change.then].append(harmless(change.name, 40))
    if not alike:
        return ["", f"No {called[:-1]} stands otherwise than {here.moment(since)}."]
    rows = tuple(
        (then or "not there", now or "not there", _some(names))
        for (now, then), names in sorted(alike.items(), key=lambda item: _badness(*item[0]))
    )
    return ["", Table((f"at {here.local(since)}", "now", called), rows)]


def _badness(now: Standing | None, then: Standing | None) -> tuple[int, int]:
    return (-ORDER[now] if now else 1, ORDER[then] if then else -1)


def _written(page: Handover, here: Here) -> Report:
    kinds = Counter(type(entry) for entry in page.written)
    parts = []
    for kind, (one, several) in _KINDS.items():
        if count := kinds[kind]:
            parts.append(plural(count, one, several))
    outcomes = Counter(entry.outcome for entry in page.written if isinstance(entry, e.Result))
    if outcomes:
        each = ", ".join(f"{n} {one.value}" for one in e.Outcome if (n := outcomes[one]))
        parts[0] += f" ({each})"
    head = plural(len(page.written), "entry was written", "entries were written")
    report: Report = [f"{head}: {', '.join(parts)}." if parts else "Nothing was written."]
    for version in page.adopted:
        start, title = here.local(version.start), harmless(version.rulebook.title, 60)
        report.append(f"A rulebook was adopted, in force from {start}: {title}.")
    if page.late:
        report.append(f"{len(page.late)} of them late:")
        report += [f"  {described(one.entry, one.machine, here)}" for one in page.late[:_LATE]]
    if more := len(page.late[_LATE:]):
        report.append(f"  and {more} more")
    return report


def _exceptions(page: Handover, here: Here) -> Report:
    lines = [f"  {_taken(one, here)}" for one in page.exceptions]
    return ["", "Exceptions", *lines] if lines else []


def _taken(one: Taken, here: Here) -> str:
    entry = one.exception
    by = f", decided by {harmless(entry.decided, 40)}" if entry.decided else ""
    why = f": {harmless(entry.note, 120)}" if entry.note else ""
    span = f"{here.local(entry.at)} to {here.local(entry.until)}"
    return f"{one.machine}, {span}{by}{why}, entry {entry.seq}; {_paid(one)}."


def _paid(one: Taken) -> str:
    """What of an exception is owed still, and the how manieth in a row it is."""
    if one.debt is None:
        return "paid"
    number = one.debt.exceptions.index(one.exception) + 1
    row = f", the {nth(number)} in a row" if number > 1 else ""
    gates = listed(inside(harmless(gate.check.title, 60)) for gate in one.debt.gates)
    return f"unpaid{row}: {gates}"


def _mended(one: Mended, here: Here) -> str:
    fault, end = one.fault, one.closing
    what = "stop-use" if fault.severity is e.Severity.STOP_USE else "limiting"
    span = f"{here.local(fault.at)} to {here.local(end.at)}"
    how = closing(end).removeprefix("Fault ")
    by = f", by {harmless(end.by, 40)}" if end.by else ""
    return f"{fault.machine}, {span}, {what} fault{noted(fault)}: {how}{by}, entry {end.seq}."


def _open(page: Handover, here: Here) -> Report:
    """One line for each matter; the exceptions stand above."""
    matters = [one for one in page.open.matters if one.what is not What.EXCEPTION]
    if not matters:
        else_ = "else " if page.exceptions or page.open.put_back else ""
        return ["", f"Nothing {else_}is open."]
    report: Report = ["", "Open, and what to do: `checkwatch open`"]
    report += [f"  {where(matter)}: {said(matter, here)}." for matter in matters[:_MATTERS]]
    more = len(matters[_MATTERS:])
    return [*report, f"  and {more} more"] if more else report


def _soon(page: Handover, here: Here) -> Report:
    """The gates first, each with its machines, those that lapse first in front."""
    groups: dict[tuple[bool, str], list[Owed]] = defaultdict(list)
    for one in page.soon:
        check = one.state.check
        groups[not check.gate, check.title].append(one)
    head = f"Lapses before {here.local(page.within)}, if nothing more is written"
    if not groups:
        return ["", f"{head}: nothing."]
    rows = tuple(
        (
            inside(harmless(title, 30)) + (" (advisory)" if advisory else ""),
            here.local(owed[0].until or FOREVER),
            _some([one.machine.machine for one in owed]),
        )
        for (advisory, title), owed in sorted(groups.items(), key=lambda item: item[0][0])
    )
    return ["", head, Table(("check", "first at", "machines, the first in front"), rows)]


def document(page: Handover) -> Document:
    """Of `handover --json`."""
    known_at = page.question.known_at
    made: Document = {
        "at": iso(page.question.at),
        "known_at": None if known_at is None else iso(known_at),
        "since": iso(page.since),
        "standings": {one.value: count for one, count in page.standings.items()},
        "places": [{"place": one.name, **_change(one)} for one in page.places],
        "machines": [{"machine": one.name, **_change(one)} for one in page.machines],
        "moves": [
            {"machine": one.machine, "place": one.place, "at": iso(one.at), "entry": one.seq}
            for one in page.moves
        ],
        "written": dict(Counter(entry.what for entry in page.written)),
        "late": [one.entry.seq for one in page.late],
        "adopted": [one.seq for one in page.adopted],
        "exceptions": [_exception(one) for one in page.exceptions],
        "faults_closed": [_closed(one) for one in page.faults],
        "put_back": put_back_document(page.open.put_back),
        "open": open_document(page.open)["matters"],
        "soon": [_lapse(one) for one in page.soon],
    }
    return {**made, "doubts": list(page.doubts)} if page.doubts else made


def _change(one: Change) -> Document:
    return {
        "then": one.then.value if one.then else None,
        "now": one.now.value if one.now else None,
    }


def _exception(one: Taken) -> Document:
    owed = one.debt.gates if one.debt else ()
    return {
        "machine": one.machine,
        "entry": one.exception.seq,
        "at": iso(one.exception.at),
        "until": iso(one.exception.until),
        "decided": one.exception.decided,
        "note": one.exception.note,
        "owed": [gate.check.code for gate in owed],
    }


def _closed(one: Mended) -> Document:
    end = one.closing
    return {
        "machine": end.machine,
        "fault": one.fault.seq,
        "since": iso(one.fault.at),
        "severity": one.fault.severity.value,
        "entry": end.seq,
        "at": iso(end.at),
        "how": end.how.value if end.how else None,
        "ref": end.ref,
    }


def _lapse(one: Owed) -> Document:
    return {
        "machine": one.machine.machine,
        "place": one.machine.log.place,
        "check": one.state.check.code,
        "gate": one.state.check.gate,
        "until": None if one.until is None else iso(one.until),
    }
