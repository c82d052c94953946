"""The JSON documents that other people's scripts rely on (docs/reference): they change only by
adding keys.

Each function turns one answer into plain dictionaries and lists, keys in the order of the
contract. Instants are UTC; what never ends is null.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from checkwatch.answers.board import Board, Placed
from checkwatch.answers.cause import cause
from checkwatch.answers.cleared import Because, Cleared
from checkwatch.answers.effect import Effect, PlaceEffect
from checkwatch.answers.fitted import Lot, Stay
from checkwatch.answers.least_work import Work
from checkwatch.answers.overdue import Overdue, Owed
from checkwatch.answers.remark import Repeated
from checkwatch.answers.which import Which
from checkwatch.answers.windows import Windows
from checkwatch.core.entry import Entry, Result, Withdrawn
from checkwatch.core.instant import FOREVER, Instant, iso
from checkwatch.core.rulebook import Check, Number
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.window import Ending, Window

Document = dict[str, Any]


def to_text(document: Document | list[Document]) -> str:
    """One line of JSON. A lone surrogate, which UTF-8 cannot carry, becomes its JSON escape."""
    text = json.dumps(document, ensure_ascii=False)
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def cleared(answer: Cleared) -> Document:
    """Of `cleared --json`. `missing` and `gap` are there only where there are any."""
    document: Document = {
        "asked": answer.asked,
        "at": _instant(answer.question.at),
        "known_at": _instant(answer.question.known_at),
        "standing": answer.standing.value,
        "until": _instant(answer.until),
        "limits": [text for _, text in answer.limits],
        "cleared_throughout": answer.throughout,
        "because": [_because(reason, answer.machines) for reason in answer.because],
        "to_clear": _work(answer.to_clear),
        "machines": [machine.machine for machine in answer.machines],
        "entries": len(answer.entries),
        "newest": _instant(max((entry.recorded for entry in answer.entries), default=None)),
    }
    if answer.missing:
        document["missing"] = [missing._asdict() for missing in answer.missing]
    if answer.gap:
        standing = answer.gap.standing.value
        document["gap"] = {"at": _instant(answer.gap.at), "standing": standing}
    return _doubted(document, answer.doubts)


def which(answer: Which) -> Document:
    """Of `which --json`: the answers of `cleared`, best first."""
    return {
        "at": _instant(answer.question.at),
        "known_at": _instant(answer.question.known_at),
        "kind": answer.kind,
        "answers": [cleared(one) for one in answer.answers],
    }


def board(answer: Board, looked: Instant | None = None) -> Document:
    """Of `board --once --json`; `looked` is when a watcher last did."""
    document: Document = {
        "at": _instant(answer.question.at),
        "known_at": _instant(answer.question.known_at),
        "machines": [_placed(placed) for placed in answer.machines],
        "watcher_looked": _instant(looked),
    }
    return _doubted(document, answer.doubts)


def overdue(answer: Overdue) -> Document:
    """Of `overdue --json`."""
    document: Document = {
        "at": _instant(answer.question.at),
        "overdue": [_owed(one) for one in answer.overdue],
        "owed": [_owed(one) for one in answer.owed],
        "soon": [{**_owed(one), "until": _instant(one.until)} for one in answer.soon],
        "unknown": [machine.machine for machine in answer.unknown],
    }
    return _doubted(document, answer.doubts)


def windows(answer: Windows) -> Document:
    """Of `windows --json`; windows that never lasted are listed, too."""
    document: Document = {
        "machine": answer.machine,
        "windows": [_window(check, window) for check, window in answer.windows],
    }
    return _doubted(document, answer.doubts)


def lot(answer: Lot) -> Document:
    """Of `lot --json`; `until` is null for what is still there."""
    document: Document = {
        "lot": answer.lot,
        "at": _instant(answer.question.at),
        "known_at": _instant(answer.question.known_at),
        "fitted": [_fitted(stay, answer) for stay in answer.stays],
        "not_known": [
            {**_stay(stay), "entries": [one.seq for one in stay.fittings]}
            for stay in answer.unknown
        ],
        "did_you_mean": list(answer.others),
    }
    return _doubted(document, answer.doubts)


def _fitted(stay: Stay, answer: Lot) -> Document:
    fitted = stay.fittings[0]
    item = answer.rulebook.item_of(fitted.gtin) if answer.rulebook else None
    return {
        **_stay(stay),
        "item": item.title if item else None,
        "gtin": fitted.gtin or None,
        "serial": fitted.serial or None,
        "expiry": fitted.expiry.isoformat() if fitted.expiry else None,
        "entry": fitted.seq,
        "struck": stay.struck,
    }


def _stay(stay: Stay) -> Document:
    return {
        "machine": stay.machine,
        "happening": stay.code,
        "from": _instant(stay.start),
        "until": _instant(stay.until),
        "ended_entry": stay.ended.seq if stay.ended else None,
        "places": list(stay.places),
        "retired": stay.retired,
    }


def effect(seen: Effect, written: Sequence[Entry], places: Sequence[PlaceEffect]) -> Document:
    """What the entries just written changed for their machine; of the places that stand otherwise
    those that it can concern."""
    made: Document = {
        "machine": seen.after.machine,
        "entries": [entry.seq for entry in written],
        "before": seen.before.standing.value,
        "standing": seen.after.standing.value,
        "until": _instant(seen.until),
        "limits": list(seen.after.limits),
        "ended": [_not_ready(state, seen.after) for state in seen.ended],
        "readied": [_check(state) for state in seen.readied],
        "to_clear": _work(seen.to_clear),
        "places": [_place(one) for one in places if seen.after.machine in one.machines],
        "written": [_written(entry) for entry in written],
    }
    repeated = [one.debt for one in seen.remarks if isinstance(one, Repeated)]
    if repeated:
        made["exceptions_in_a_row"] = [entry.seq for entry in repeated[-1].exceptions]
    return made


def _written(entry: Entry) -> Document:
    """An entry as it was taken: whose it is, what is doubtful about that, what a PIN stands for."""
    return {
        "entry": entry.seq,
        "what": entry.what,
        "at": _instant(entry.at),
        "by": entry.by,
        "flag": entry.flag if isinstance(entry, Result) else None,
        "signed": entry.signed,
    }


def _place(seen: PlaceEffect) -> Document:
    return {
        "place": seen.after.asked,
        "before": seen.before.value,
        "standing": seen.after.standing.value,
        "until": _instant(seen.after.until),
        "limits": [text for _, text in seen.after.limits],
    }


def _instant(instant: Instant | None) -> str | None:
    return None if instant is None or instant >= FOREVER else iso(instant)


def _number(number: Number) -> int | float:
    return int(number) if number == int(number) else float(number)


def _doubted(document: Document, doubts: tuple[str, ...]) -> Document:
    return {**document, "doubts": list(doubts)} if doubts else document


def _because(reason: Because, machines: tuple[MachineStanding, ...]) -> Document:
    if reason.check is not None:
        machine = next(one for one in machines if one.machine == reason.machine)
        return _not_ready(reason.check, machine)
    forbids = reason.forbids
    return {
        "machine": reason.machine,
        "check": None,
        "state": "withdrawn" if isinstance(forbids, Withdrawn) else "fault",
        "since": _instant(forbids.at) if forbids else None,
        "entry": forbids.seq if forbids else None,
        "what": forbids.what if forbids else None,
    }


def _not_ready(state: CheckState, machine: MachineStanding) -> Document:
    behind = cause(state, machine)
    return {
        "machine": machine.machine,
        "check": state.check.code,
        "state": state.state.value,
        "since": _instant(state.since),
        "entry": behind.entry.seq if behind.entry else None,
        "what": behind.what,
    }


def _work(work: Work) -> Document:
    return {
        "checks": [{"machine": tag, "check": check.code} for tag, check in work.checks],
        "attended_minutes": _number(work.attended),
        "total_minutes": _number(work.total),
        "others_must": list(work.others_must),
    }


def _placed(placed: Placed) -> Document:
    machine = placed.machine
    return {
        "machine": machine.machine,
        "kind": machine.log.enrolled.kind if machine.log.enrolled else None,
        "place": machine.log.place,
        "standing": machine.standing.value,
        "until": _instant(placed.until),
        "limits": list(machine.limits),
        "checks": [_check(state) for state in machine.checks],
    }


def _check(state: CheckState) -> Document:
    """`until` is the window's end by time, also where something else has ended it since."""
    window = state.window
    return {
        "check": state.check.code,
        "gate": state.check.gate,
        "state": state.state.value,
        "since": _instant(state.since),
        "due_from": _instant(window.due_from) if window else None,
        "due": _instant(window.due) if window else None,
        "until": _instant(window.expiry) if window else None,
        "entry": state.attempt.seq if state.attempt else None,
    }


def _owed(one: Owed) -> Document:
    return {
        "machine": one.machine.machine,
        "place": one.machine.log.place,
        "check": one.state.check.code,
        "gate": one.state.check.gate,
        "state": one.state.state.value,
        "since": _instant(one.state.since),
        "excused_until": _instant(one.excused_until),
        "exception": one.exception.seq if one.exception else None,
    }


def _window(check: Check, window: Window) -> Document:
    return {
        "check": check.code,
        "from": _instant(window.start),
        "due_from": _instant(window.due_from),
        "due": _instant(window.due),
        "until": None if window.ended_by is Ending.OPEN else _instant(window.until),
        "outcome": window.attempt.outcome.value,
        "entry": window.attempt.seq,
        "ended_by": window.ended_by.value,
        "ended_entry": window.ended_entry,
    }
