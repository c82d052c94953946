"""How watching goes, in words and as JSON."""

from __future__ import annotations

from typing import Any

from checkwatch.answers.notice.watching import Handed, Watching
from checkwatch.core.instant import Instant, iso
from checkwatch.views.report import Report, Table
from checkwatch.views.words import Here, listed, plural


def watching(answer: Watching, here: Here) -> Report:
    """Whether anybody watches, then what nobody took, then what was told last."""
    report: Report = [sentence(answer.looked, here, watches=answer.somebody_watches)]
    if answer.started is not None and answer.somebody_watches:
        report.append(f"It began {here.dated(answer.started)}.")
    if answer.undelivered:
        many = plural(len(answer.undelivered), "message")
        report += ["", f"Undelivered: {many}. Tell these people by another way."]
        rows = tuple(_undelivered(one, here) for one in answer.undelivered)
        report.append(Table(("message", "to", "made", "next try", "what, and why not"), rows))
    elif not answer.on_their_way:
        report.append("Nothing is undelivered.")
    if answer.on_their_way:
        whom = listed(one.recipient for one in answer.on_their_way)
        report.append(f"Just decided, and not taken yet: for {whom}.")
    sent = [one for one in answer.newest if one.sent is not None]
    if sent:
        rows = tuple(
            (str(one.number), one.recipient, here.local(one.sent or one.created), one.title)
            for one in sent
        )
        report += ["", "Told last", Table(("message", "to", "handed over", "what"), rows)]
    return report


def sentence(looked: Instant | None, here: Here, *, watches: bool) -> str:
    """Whether anybody watches, in one sentence."""
    if looked is None:
        return "No watcher has ever looked at this book."
    if watches:
        return f"The watcher last looked {here.dated(looked)}."
    return (
        f"NOBODY WATCHES: the watcher last looked {here.dated(looked)}. Nobody is told of anything "
        "until `checkwatch watch` runs again."
    )


def _undelivered(one: Handed, here: Here) -> tuple[str, ...]:
    why = f"{one.title}: {one.trouble}" if one.trouble else f"{one.title}: nobody tried"
    return str(one.number), one.recipient, here.local(one.created), here.local(one.next_try), why


def document(answer: Watching) -> dict[str, Any]:
    """Of `watch --status --json`."""
    return {
        "at": iso(answer.now),
        "watching": answer.somebody_watches,
        "looked": _instant(answer.looked),
        "started": _instant(answer.started),
        "undelivered": [_handed(one) for one in answer.undelivered],
        "on_their_way": [_handed(one) for one in answer.on_their_way],
        "newest": [_handed(one) for one in answer.newest],
    }


def _handed(one: Handed) -> dict[str, Any]:
    return {
        "message": one.number,
        "recipient": one.recipient,
        "title": one.title,
        "created": iso(one.created),
        "sent": _instant(one.sent),
        "tries": one.tries,
        "next_try": _instant(None if one.sent else one.next_try),
        "trouble": one.trouble,
    }


def _instant(instant: Instant | None) -> str | None:
    return None if instant is None else iso(instant)
