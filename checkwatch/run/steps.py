"""A check gone through at the machine: its beginning and its end in the book, and its answers kept
in a small file meanwhile.

The answers lie in the user's state folder, not in the book: they are no entries, and nothing is
computed from them. A file that is lost, altered or unreadable costs the answers, and never more.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

from checkwatch.answers.people import flag_of, mistakes_in_code, mistakes_of, nobody
from checkwatch.answers.steps import half_done
from checkwatch.answers.steps.asked import Finding, Going, Said
from checkwatch.answers.steps.course import gone_on, still_open
from checkwatch.answers.steps.half_done import Kept
from checkwatch.answers.under_way import under_way
from checkwatch.core.attempt import RANK
from checkwatch.core.entry import Entry, Fault, Measures, Outcome, Result, Severity
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import nearest
from checkwatch.core.rulebook import Check
from checkwatch.core.wording import inside
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.pin import Signature
from checkwatch.run.world import Asked, ask
from checkwatch.run.write import Make, Written, write
from checkwatch.store import engine
from checkwatch.store.people import everybody

#: No file of answers is larger, in bytes; one that is was not written here.
_LARGEST = 1_000_000


class Seen(NamedTuple):
    """What who is about to begin a check was told: the test that is `under_way`, and that the
    machine is cleared until the check is begun."""

    under_way: Result | None
    ends: bool


class _Changed(Exception):
    """The book is no longer as it was seen."""


class AtMachine(NamedTuple):
    """A machine of a book, and who is at it."""

    url: str
    machine: str
    by: str

    def look(self) -> Asked:
        """The book as it is now, with this machine's entries."""
        return ask(self.url, clock.now(), lambda _: (self.machine,))

    def checks(self, asked: Asked) -> dict[str, Check]:
        """The machine's checks by code."""
        standing = asked.book.standing(self.machine, asked.question)
        return {state.check.code: state.check for state in standing.checks}

    def check(self, asked: Asked, code: str) -> Check:
        """One of them; raises WrongUse for a code that is none of them."""
        known = self.checks(asked)
        if code not in known:
            what = f"is no check of {self.machine}"
            remedy = nearest(code, known, f"its checks are {', '.join(known) or 'none'}")
            raise WrongUse(Problem(code, what, remedy))
        return known[code]

    def seen(self, asked: Asked, check: Check) -> Seen:
        """What is to be told before a check is begun."""
        other = under_way(self.machine, check.code, asked.book, asked.question)
        return Seen(other, self._would_end(asked, check))

    def _would_end(self, asked: Asked, check: Check) -> bool:
        """Whether a machine that is cleared is not any more once the check is begun."""
        standing = asked.book.standing(self.machine, asked.question)
        if not standing.usable or standing.rulebook is None:
            return False
        covering = standing.rulebook.covering
        return any(check.code in covering[gate.check.code] for gate in standing.gates)

    def forbids(self, asked: Asked, check: Check) -> tuple[Problem, ...]:
        """Why a pass by this person would not be taken, or would not count."""
        standing = asked.book.standing(self.machine, asked.question)
        if standing.rulebook is None or standing.log.enrolled is None:
            return ()
        with engine.reading(self.url) as conn:
            people = everybody(conn)
        rules, kind = standing.rulebook, standing.log.enrolled.kind
        good = Result(**self._draft(asked), check=check.code, outcome=Outcome.PASS)
        found = nobody(good, rules, people, "") or mistakes_of(good, rules, kind, people, "")
        flag = flag_of(good, rules, kind, people)
        if not found and flag is not None and rules.doubted(flag) == "stopped":
            what = f"a pass by somebody {flag} counts as broken off"
            return (Problem("", what, "let somebody who is trained on it do it"),)
        return found

    def forbids_fault(self, by: str) -> tuple[Problem, ...]:
        """Why a fault would not be taken of a code."""
        asked = self.look()
        rules = asked.book.rulebook(asked.question)
        assert rules is not None, "a book without rules has no checks"
        with engine.reading(self.url) as conn:
            people = everybody(conn)
        fault = Fault(**(self._draft(asked) | {"by": by}), severity=Severity.LIMIT)
        return mistakes_in_code(by, "") or nobody(fault, rules, people, "")

    def begin(self, check: Check, seen: Seen) -> tuple[Kept, Written] | None:
        """Writes that a test begins; None where that would not be told as it was `seen` any more,
        for somebody else was at it meanwhile."""

        def begun(asked: Asked) -> list[Entry]:
            if self.seen(asked, check) != seen:
                raise _Changed
            return [Result(**self._draft(asked), check=check.code, outcome=Outcome.BEGUN)]

        try:
            wrote = self._write(begun)
        except _Changed:
            return None
        (entry,) = wrote.entries
        kept = Kept(self.machine, check.code, self.by, entry.seq, entry.at, rule(check))
        return kept, wrote

    def end(
        self, check: Check, kept: Kept, finding: Finding, by: str, signature: Signature | None
    ) -> Written:
        """Writes what a test came to, and what it left open as faults by a code: all of it or
        nothing. Without a code the note of the result alone says what was left open.

        Raises WrongUse for a good result where something else was written of the check meanwhile.
        """

        def ended(asked: Asked) -> list[Entry]:
            newest = under_way(self.machine, check.code, asked.book, asked.question)
            ours = newest is not None and newest.seq == kept.begun
            if not ours and RANK[finding.outcome] < RANK[Outcome.STOPPED]:
                what = "something else was written of it meanwhile; nothing was written now"
                remedy = f"see `checkwatch why {self.machine}`, and begin anew"
                raise WrongUse(Problem(check.title, what, remedy))
            measures = finding.measures
            if finding.outcome is Outcome.STOPPED:
                measures = self._taken(asked, check, measures)
            result = Result(
                **self._draft(asked, finding.note),
                check=check.code,
                outcome=finding.outcome,
                started=kept.at,
                measures=measures,
                limits=finding.limits,
            )
            return [result, *self._left_open(asked, check, finding, by)]

        return self._write(ended, signature)

    def _taken(self, asked: Asked, check: Check, measures: Measures) -> Measures:
        """The numbers that the rules of now take: no other keeps anybody from breaking off."""
        rules = asked.book.rulebook(asked.question)
        takes = rules.taking.get(check.code, {}) if rules else {}
        return tuple((c, value) for c, value in measures if c in takes and takes[c].believes(value))

    def _left_open(self, asked: Asked, check: Check, finding: Finding, by: str) -> Iterator[Fault]:
        for note in open_notes(check, finding) if by else ():
            yield Fault(**(self._draft(asked, note) | {"by": by}), severity=Severity.LIMIT)

    def _write(self, make: Make, signature: Signature | None = None) -> Written:
        return write(self.url, clock.now(), lambda _: (self.machine,), make, False, signature)

    def _draft(self, asked: Asked, note: str = "") -> dict[str, Any]:
        now = asked.question.now
        return {
            "seq": 0,
            "machine": self.machine,
            "at": now,
            "recorded": now,
            "by": self.by,
            "note": note,
        }


def open_notes(check: Check, finding: Finding) -> list[str]:
    """What was not put right, as the notes of faults: only a limited result has limits of its
    own."""
    if finding.outcome is Outcome.LIMITED:
        return []
    return [f"left open by the {inside(check.title)}: {text}" for text in finding.not_put_back]


def at_machine(url: str, name: str, by: str) -> AtMachine:
    """The machine that a typed name means.

    Raises CannotTell for a place and for a name that nobody knows.
    """
    asked = ask(url, clock.now(), lambda names: names.meant(name))
    return AtMachine(url, asked.tag(name), by)


def rule(check: Check) -> str:
    """A mark of a check's text: another one asks other questions."""
    return sha256(repr(check).encode()).hexdigest()


class Drawer:
    """Where the answers of one book's half-done checks are kept, each person's for themselves.

    A file has a line for what was begun, and one for each line that was typed.
    """

    def __init__(self, url: str) -> None:
        self._book = str(engine.sqlite_path(url) or engine.shown(url))
        self._folder = _state_folder()

    def find(self, machine: str, check: str, by: str) -> Kept | None:
        """What was kept of a check for somebody; None also for what cannot be read."""
        try:
            with self._file(machine, check, by).open("rb") as file:
                kept = _read(file.read(_LARGEST + 1))
        except OSError:
            return None
        return kept if kept and kept[:3] == (machine, check, by) else None

    def keep(self, kept: Kept) -> bool:
        """Keeps the answers so far in place of those before, whole or not at all; whether that
        was possible."""
        path = self._file(*kept[:3])
        head = kept._asdict() | {"said": None}
        try:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle, name = tempfile.mkstemp(dir=self._folder, prefix=f"{path.stem}.")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.writelines(f"{json.dumps(line)}\n" for line in (head, *kept.said))
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, path)
        except OSError:
            return False
        return True

    def add(self, kept: Kept, line: Said) -> None:
        """Keeps one more line of a check; where nothing of it could be kept, nothing."""
        with suppress(OSError), self._file(*kept[:3]).open("r+b") as file:
            file.seek(0, os.SEEK_END)
            file.write(f"{json.dumps(line)}\n".encode())
            file.flush()
            os.fsync(file.fileno())

    def drop(self, kept: Kept) -> None:
        """Forgets the answers of a check, and what a lost terminal left of writing them."""
        with suppress(OSError):
            for file in self._folder.glob(f"{self._file(*kept[:3]).stem}.*"):
                file.unlink()

    def _file(self, machine: str, check: str, by: str) -> Path:
        name = sha256(json.dumps([self._book, machine, check, by]).encode()).hexdigest()[:32]
        return self._folder / f"{name}.json"


def _read(data: bytes) -> Kept | None:
    """What a file has; a last line that was not written to its end was not acknowledged."""
    if len(data) > _LARGEST:
        return None
    try:
        found, *said = map(json.loads, data.rpartition(b"\n")[0].split(b"\n"))
        return Kept(
            str(found["machine"]),
            str(found["check"]),
            str(found["by"]),
            int(found["begun"]),
            Instant(int(found["at"])),
            str(found["rule"]),
            tuple(Said(str(text), Instant(int(at))) for text, at in said),
        )
    except (ValueError, TypeError, KeyError, RecursionError):
        return None


class HalfDone(NamedTuple):
    """A check that was left: `going` as it was left, or `why` it begins anew; `opened` is what
    nobody said is right again."""

    kept: Kept
    going: Going | None
    why: str
    opened: tuple[str, ...]


def taken_up(kept: Kept, check: Check, asked: Asked) -> HalfDone:
    """What becomes of a check that was left."""
    going = gone_on(Going(check, kept.at), kept.said) if kept.rule == rule(check) else None
    why = half_done.anew(kept, check, rule(check), asked.book, asked.question)
    if not why and going is None:
        why = "its answers cannot be read"
    opened = check.put_backs if going is None else still_open(going)
    return HalfDone(kept, None if why else going, why, opened)


def _state_folder() -> Path:
    """Where programs keep what they may lose; on Linux by the rule of the XDG base directories."""
    if sys.platform == "linux":
        chosen = os.environ.get("XDG_STATE_HOME", "")
        folder = chosen if os.path.isabs(chosen) else os.path.expanduser("~/.local/state")
        return Path(folder, "checkwatch")
    from platformdirs import user_state_dir

    return Path(user_state_dir("checkwatch", appauthor=False))
