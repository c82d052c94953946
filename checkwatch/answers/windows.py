"""Every window of a machine's checks, with how it began and how it ended."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.core.rulebook import Check
from checkwatch.core.window import Window


class Windows(NamedTuple):
    """The windows in order of the rulebook's checks, then of time; empty ones too."""

    machine: str
    question: Question
    windows: tuple[tuple[Check, Window], ...]
    doubts: tuple[str, ...] = ()


def windows(machine: str, book: Book, question: Question, check: str | None = None) -> Windows:
    """By the version in force at the question's instant; `check` narrows to one code."""
    judge = book.judge(machine, question)
    version = judge.versions.in_force(question.at)
    tracks = judge.judged(version).tracks if version else ()
    found = tuple(
        (track.check, window)
        for track in tracks
        if check is None or track.check.code == check
        for window in track.windows
        if window is not None
    )
    return Windows(machine, question, found, book.doubts)
