"""What was written about a machine or in a place, as it is read afterwards: with what was made of
it since.

Nothing is left out. A struck entry stands where it was written, beside its striking; a late one
says how late it came; a pass that came after a fail says after which.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.core.attempt import Attempt
from checkwatch.core.entry import Adopted, Enrolled, Entry, Key, Moved, Outcome, PlaceKnown, Struck
from checkwatch.core.instant import BEGINNING, Instant
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.window import Track

_SAID_GOOD = (Outcome.PASS, Outcome.LIMITED)


class Line(NamedTuple):
    """One entry with what is odd about it.

    `late` is how many microseconds after its time it was written. `after` is the number of the
    fail that a pass came after, None for none; `counts` what a result comes to by the rules, None
    where that is what was said, or where no rule speaks of it; `idle` are the titles of the checks
    for which a good result counts for nothing all the same: a fail came under the test, or
    something voided the check after it began.
    """

    entry: Entry
    strikings: tuple[Struck, ...] = ()
    after: int | None = None
    counts: Outcome | None = None
    idle: tuple[str, ...] = ()

    @property
    def late(self) -> int:
        """Negative for what was to come when it was written; an enrolment is never late."""
        return 0 if isinstance(self.entry, Enrolled) else self.entry.recorded - self.entry.at


class Log(NamedTuple):
    """The lines in order of (at, seq); `earlier` counts those before `since`.

    `machine` is empty for what concerns the whole book, and where `place` is set: that has the
    lines of all machines while they stood there, and its own. `titles` are those of the rulebooks
    by the number of their adoption; `rulebook` is the one in force, by which results are judged.
    """

    machine: str
    question: Question
    since: Instant
    lines: tuple[Line, ...]
    earlier: int
    rulebook: Rulebook | None
    titles: Mapping[int, str]
    doubts: tuple[str, ...] = ()
    place: str = ""


def log(machine: str, book: Book, question: Question, since: Instant = BEGINNING) -> Log:
    """What was written about a machine, as of an instant, as known at another."""
    return _log(machine, book.entries.get(machine, ()), book, question, since)


def book_log(
    entries: Iterable[Entry], book: Book, question: Question, since: Instant = BEGINNING
) -> Log:
    """The same of the entries about the whole book; rules that are to come stand in it too."""
    return _log("", tuple(entries), book, question, since)


def place_log(
    place: str,
    told: Iterable[PlaceKnown],
    book: Book,
    question: Question,
    since: Instant = BEGINNING,
) -> Log:
    """What was written about each machine while it stood in a place, how it came there and left,
    and of what was told of places what concerns this one; rooms that belong to it have their own.
    """
    own = _log("", [one for one in told if one.place == place], book, question, BEGINNING)
    lines = [*own.lines]
    for machine in book.entries:
        lines += _there(place, log(machine, book, question).lines)
    lines.sort(key=lambda line: _order(line.entry))
    shown = tuple(line for line in lines if since <= stands_at(line.entry))
    earlier = len(lines) - len(shown)
    return own._replace(since=since, lines=shown, earlier=earlier, place=place)


def _there(place: str, lines: Iterable[Line]) -> Iterable[Line]:
    """The lines of a machine from when it came to a place until it left; a move that counts for
    nothing is shown where it says that it went."""
    stands = False
    for line in lines:
        stood, goes = stands, False
        if isinstance(line.entry, Enrolled | Moved):
            goes = line.entry.place == place
            if not any(striking.restores for striking in line.strikings):
                stands = goes
        if stood or stands or goes:
            yield line


def _log(
    machine: str, entries: Sequence[Entry], book: Book, question: Question, since: Instant
) -> Log:
    known = sorted((e for e in entries if e.recorded <= question.known), key=_order)
    strikings: dict[int, list[Struck]] = defaultdict(list)
    for entry in known:
        if isinstance(entry, Struck):
            strikings[entry.of].append(entry)
    attempts = _attempts(machine, book, question)
    lines = tuple(
        Line(entry, tuple(strikings[entry.seq]), *attempts.get(entry.seq, ()))
        for entry in known
        if since <= stands_at(entry) <= question.at
    )
    earlier = sum(stands_at(entry) < since for entry in known)
    titles = {version.seq: version.rulebook.title for version in book.versions.adopted}
    rulebook = book.rulebook(question)
    return Log(machine, question, since, lines, earlier, rulebook, titles, book.doubts)


def stands_at(entry: Entry) -> Instant:
    """Where an entry stands in the log; rules that judge later stand where they were adopted."""
    return min(entry.at, entry.recorded) if isinstance(entry, Adopted) else entry.at


def _order(entry: Entry) -> Key:
    return (stands_at(entry), entry.seq)


def _attempts(
    machine: str, book: Book, question: Question
) -> dict[int, tuple[int | None, Outcome | None, tuple[str, ...]]]:
    """By the number of a result: the fail that it came after, what it counts as, and the checks for
    which it counts for nothing."""
    judge = book.judge(machine, question)
    version = judge.versions.in_force(question.at)
    tracks = judge.judged(version).tracks if version else ()
    after: dict[int, int] = {}
    counts: dict[int, Outcome] = {}
    idle: dict[int, list[str]] = defaultdict(list)
    for track in tracks:
        for attempt in _idle(track):
            idle[attempt.seq].append(track.check.title)
        after.update(_after_fails(track))
        counts.update(
            (attempt.seq, attempt.outcome)
            for attempt in track.attempts
            if attempt.result.check == track.check.code and _differs(attempt)
        )
    return {
        seq: (after.get(seq), counts.get(seq), tuple(idle.get(seq, ())))
        for seq in after.keys() | counts.keys() | idle.keys()
    }


def _idle(track: Track) -> Iterable[Attempt]:
    """The good results that ready the check at no instant, but for what its own outcome tells."""
    for attempt, window in zip(track.attempts, track.windows, strict=True):
        said_good = attempt.result.outcome in _SAID_GOOD and not attempt.struck
        is_told = attempt.result.check == track.check.code and _differs(attempt)
        if said_good and not is_told and (window is None or window.until == window.start):
            yield attempt


def _after_fails(track: Track) -> Iterable[tuple[int, int]]:
    """The good results since a fail, up to the first that counts, each with the fail's number."""
    fail: int | None = None
    for attempt in track.attempts:
        if attempt.outcome is Outcome.FAIL:
            fail = attempt.seq
        elif fail is not None and attempt.result.outcome in _SAID_GOOD:
            yield attempt.seq, fail
            if attempt.good:
                fail = None


def _differs(attempt: Attempt) -> bool:
    return attempt.outcome is not attempt.result.outcome and not attempt.struck
