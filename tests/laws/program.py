"""The program's answers in the oracle's shapes, and functions that answer as the oracle's do.

So the two can be compared, and the examples worked by hand in tests/oracle be put to the program.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.cleared import Cleared, cleared
from checkwatch.answers.coverage import Case, Coverage, Seen, total
from checkwatch.answers.coverage import coverage as coverage_of
from checkwatch.answers.least_work import least_work as work_of
from checkwatch.answers.overdue import owed_checks
from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.judge import Judge
from checkwatch.core.period import later, parse_period
from checkwatch.core.place import present
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.versions import Version, Versions
from checkwatch.rules.read import read_or_refuse
from checkwatch.run.world import by_machine

Entries = Sequence[dict[str, Any]]
Adopted = Sequence[tuple[int, int, Any]]


def finite(instant: Instant) -> int | None:
    """The oracle says None where the core says forever."""
    return None if instant == FOREVER else instant


def of_check(state: CheckState) -> dict[str, Any]:
    """A state as the oracle shows it."""
    window = state.window if state.ready else None
    return {
        "state": state.state.value,
        "since": state.since,
        "entry": state.attempt.seq if state.attempt else None,
        "due_from": finite(window.due_from) if window else None,
        "due": finite(window.due) if window else None,
        "until": finite(window.expiry) if window else None,
    }


def of_windows(judge: Judge, at: Instant, check: str) -> list[dict[str, Any]]:
    """The windows of one check as the oracle shows them."""
    version = judge.versions.in_force(at)
    tracks = judge.judged(version).tracks if version else ()
    return [
        {
            "from": window.start,
            "due_from": finite(window.due_from),
            "due": finite(window.due),
            "until": finite(window.until),
            "outcome": window.attempt.outcome.value,
            "entry": window.attempt.seq,
            "ended_by": window.ended_by.value,
            "ended_entry": window.ended_entry,
        }
        for track in tracks
        if track.check.code == check
        for window in track.windows
        if window
    ]


def of_answer(answer: Cleared) -> dict[str, Any]:
    """An answer as the oracle shows it."""
    return {
        "standing": answer.standing.value,
        "until": finite(answer.until),
        "limits": sorted({text for _, text in answer.limits}),
        "gap": (answer.gap.at, answer.gap.standing.value) if answer.gap else None,
        "throughout": answer.gap is None,
    }


def of_debts(standing: MachineStanding) -> list[dict[str, Any]]:
    """What a machine owes, as the oracle shows it: excused debts, gates, then the longest owed."""
    if not present(standing) or standing.log.withdrawn:
        return []
    debts = [
        {
            "check": debt.state.check.code,
            "gate": debt.state.check.gate,
            "state": debt.state.state.value,
            "since": debt.state.since,
            "excused_until": debt.excused_until,
        }
        for debt in owed_checks(standing)
    ]
    return sorted(debts, key=lambda d: (d["excused_until"] is None, not d["gate"], d["since"]))


def of_coverage(answer: Coverage) -> dict[str, Any]:
    """How one machine's use was covered, as the oracle shows it."""
    return {
        "now": _of_seen([(case, case.now) for case in answer.cases]),
        "then": _of_seen([(case, case.then) for case in answer.cases]),
    }


def _of_seen(cases: Sequence[tuple[Case, Seen]]) -> dict[str, Any]:
    times = total(seen.figures for _, seen in cases)
    words = ("cleared", "by-exception", "uncovered")
    return {
        "times": {word: time for word, time in zip(words, times, strict=True) if time},
        "began_uncovered": [
            case.use.began.seq
            for case, seen in cases
            if case.use.began and case.began_uncovered(seen)
        ],
        "lapses": sorted(
            (
                (
                    case.use.opened.seq if case.use.opened else None,
                    lapse.at,
                    lapse.reason.check.code,
                )
                for case, seen in cases
                for lapse in seen.lapses
                if lapse.reason.check
            ),
            key=str,
        ),
    }


class Asked(NamedTuple):
    """A book made of the oracle's dicts, and what is asked of it."""

    book: Book
    name: str
    question: Question

    @classmethod
    def of(
        cls, versions: Adopted, entries: Entries, name: str, at: int, known: int, told: Any = ()
    ) -> Asked:
        """The arguments of most of the oracle's functions."""
        adopted = (
            Version(Instant(start), seq, Instant(recorded), read_or_refuse(rules.text, "by hand"))
            for seq, (start, recorded, rules) in enumerate(versions)
        )
        tags = {entry["machine"] for entry in entries}
        kept = by_machine(map(as_entry, entries), tags)
        book = Book(Versions.of(*adopted), tuple(map(as_place, told)), kept)
        return cls(book, name, Question(Instant(at), Instant(at), Instant(known)))

    @property
    def standing(self) -> MachineStanding:
        """Where the machine stands."""
        return self.book.standing(self.name, self.question)

    def cleared(self, span: Instant | None = None) -> Cleared:
        """Whether the machine or place is cleared."""
        return cleared(self.name, self.book, self.question, span)


def check_at(versions: Adopted, entries: Entries, machine: str, check: str, *at: int) -> Any:
    standing = Asked.of(versions, entries, machine, *at).standing
    return next(of_check(state) for state in standing.checks if state.check.code == check)


def windows(versions: Adopted, entries: Entries, machine: str, check: str, *at: int) -> Any:
    asked = Asked.of(versions, entries, machine, *at)
    return of_windows(asked.book.judge(machine, asked.question), asked.question.at, check)


def standing_at(versions: Adopted, entries: Entries, machine: str, *at: int) -> Any:
    asked = Asked.of(versions, entries, machine, *at)
    found = asked.cleared()
    texts = [text for _, text in found.limits]
    return {**of_answer(found), "limits": texts, "excused": dict(asked.standing.excused)}


def cleared_for(
    versions: Adopted, entries: Entries, machine: str, at: int, known: int, span: str
) -> bool:
    asked = Asked.of(versions, entries, machine, at, known)
    rulebook = asked.book.rulebook(asked.question)
    assert rulebook is not None
    end = later(Instant(at), parse_period(span), rulebook.zone)
    return asked.cleared(end).throughout is True


def coverage(
    versions: Adopted, entries: Entries, machine: str, start: int, until: int, at: int, known: int
) -> dict[str, Any]:
    asked = Asked.of(versions, entries, machine, at, known)
    return of_coverage(
        coverage_of(machine, asked.book, asked.question, Instant(start), Instant(until))
    )


def least_work(versions: Adopted, entries: Entries, machine: str, *at: int) -> list[str]:
    standing = Asked.of(versions, entries, machine, *at).standing
    return [check.code for _, check in work_of(standing).checks]


def others_must(versions: Adopted, entries: Entries, machine: str, *at: int) -> list[str]:
    """The word that each sentence about others asks for."""
    standing = Asked.of(versions, entries, machine, *at).standing
    texts = work_of(standing).others_must
    return ["fault-closed" if "closes" in text else "returned" for text in texts]


def owed(versions: Adopted, entries: Entries, machine: str, *at: int) -> list[dict[str, Any]]:
    return of_debts(Asked.of(versions, entries, machine, *at).standing)


def place_at(
    versions: Adopted, entries: Entries, places: Entries, place: str, at: int, known: int
) -> dict[str, Any]:
    found = Asked.of(versions, entries, place, at, known, places).cleared()
    return {"standing": found.standing.value, "limits": [text for _, text in found.limits]}


def as_place(told: dict[str, Any]) -> e.PlaceKnown:
    """What was told of a place, from the oracle's dict."""
    common: dict[str, Any] = {"seq": 0, "machine": "", "place": told["place"]}
    common |= {name: Instant(told[name]) for name in ("at", "recorded")}
    return e.PlaceKnown(**common, place_kind=told["place_kind"], belongs=told["with"] or "")


def as_entry(line: dict[str, Any]) -> e.Entry:
    """An entry from the oracle's dict."""
    given = dict(line)
    what, outcome = given.pop("what"), given.pop("outcome", "")
    note = given.pop("text", "a reason")
    measures = given.pop("measures", None) or {}
    if what not in e.RESERVED and outcome:
        given["limits"] = tuple(given.get("limits", ()))
        of_result = {"check": what, "outcome": e.Outcome(outcome), "measures": (*measures.items(),)}
        return e.Result(**given, **of_result, note=note)
    if what not in e.RESERVED:
        return e.Happening(**given, code=what)
    if what == "fault":
        given["severity"] = e.Severity(outcome)
    elif what == "struck":
        given["restores"] = outcome == "restores"
    elif what == "reading":
        [(given["meter"], given["value"])] = measures.items()
    return e.RESERVED[what](**given, note=note)


ANSWERS = (
    check_at,
    cleared_for,
    coverage,
    least_work,
    others_must,
    owed,
    place_at,
    standing_at,
    windows,
)
