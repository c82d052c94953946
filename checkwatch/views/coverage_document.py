"""The JSON document of coverage (docs/reference/json.md): it changes only by adding keys."""

from __future__ import annotations

from checkwatch.answers.coverage import Case, Coverage, Figures, Lapse, Reason, Seen
from checkwatch.core.instant import FOREVER, SECOND, Instant, iso
from checkwatch.views.document import Document


def document(answer: Coverage) -> Document:
    """Of `coverage --json`. Times are in seconds; a share is null where there is no use."""
    cases = answer.cases
    found: Document = {
        "asked": answer.asked or None,
        "from": _instant(answer.start),
        "until": _instant(answer.until),
        "at": _instant(answer.question.at),
        "known_at": _instant(answer.question.known_at),
        "known_now": _figures(answer.now),
        "known_then": _figures(answer.then),
        "machines": [
            {
                "machine": one.machine,
                "cases": sum(case.use.is_case for case in one.cases),
                "known_now": _figures(one.now),
                "known_then": _figures(one.then),
            }
            for one in answer.machines
        ],
        "uncovered": [_uncovered(case) for case in cases if case.uncovered],
        "ended": [_ended(case, lapse) for case in cases for lapse in case.lapses],
        "not_whole": [_use(case) for case in cases if not case.use.certain],
        "entries": answer.entries,
        "newest": _instant(answer.newest),
    }
    return {**found, "doubts": list(answer.doubts)} if answer.doubts else found


def _figures(figures: Figures) -> Document:
    seconds = {f"{word}_seconds": _seconds(time) for word, time in figures._asdict().items()}
    use = figures.use
    shares = {word: time / use if use else None for word, time in figures._asdict().items()}
    return {"use_seconds": _seconds(use), **seconds, **shares}


def _seconds(micros: int) -> int | float:
    return micros // SECOND if micros % SECOND == 0 else micros / SECOND


def _use(case: Case) -> Document:
    """`start_entry` and `end_entry` are null where nobody wrote them, or one is struck."""
    use = case.use
    return {
        "machine": case.machine,
        "written": use.written.value,
        "from": _instant(use.start),
        "until": _instant(use.until),
        "start_entry": use.began.seq if use.began else None,
        "end_entry": use.ended.seq if use.ended else None,
    }


def _uncovered(case: Case) -> Document:
    now, then = (_seen(case, seen) for seen in case.both)
    return {**_use(case), "known_now": now, "known_then": then}


def _seen(case: Case, seen: Seen) -> Document | None:
    if seen.uncovered_from is None:
        return None
    return {
        "seconds": _seconds(seen.figures.uncovered),
        "since": _instant(seen.uncovered_from),
        "began_uncovered": case.began_uncovered(seen),
        "because": [_why(reason) for reason in seen.reasons],
    }


def _why(reason: Reason) -> Document:
    return {
        "check": reason.check.code if reason.check else None,
        "state": reason.state,
        "since": _instant(reason.since),
        "entry": reason.entry.seq if reason.entry else None,
        "what": reason.what,
    }


def _ended(case: Case, lapse: Lapse) -> Document:
    known = [
        word for word, seen in zip(("now", "then"), case.both, strict=True) if lapse in seen.lapses
    ]
    return {**_use(case), "at": _instant(lapse.at), **_why(lapse.reason), "known": known}


def _instant(instant: Instant | None) -> str | None:
    return None if instant is None or instant >= FOREVER else iso(instant)
