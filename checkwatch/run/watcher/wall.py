"""The pages in their folder: each written beside its place and put there whole, so that no reader
meets half a page."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC
from pathlib import Path

from checkwatch.answers.board import board
from checkwatch.core.instant import Instant
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.world import Asked
from checkwatch.views import page
from checkwatch.views.page import Page
from checkwatch.views.words import Here


class Wall:
    """Keeps a folder of pages up to date."""

    def __init__(self, folder: str) -> None:
        self._folder = Path(folder)
        self._pages: dict[str, Page] = {}
        self._asked: Asked | None = None
        self._doubted: Instant | None = None
        self._blind: Instant | None = None
        _refuse_no_folder(self._folder)
        _sweep(self._folder)

    def refresh(self, asked: Asked, now: Instant) -> None:
        """Writes every page anew; what is on it is made anew where it may have changed.

        Raises OSError where the folder cannot be written.
        """
        self._blind = None
        doubts = asked.book.doubts
        self._doubted = (self._doubted or now) if doubts else None
        same = self._asked is not None and self._asked.book is asked.book
        if not same or not all(one.holds(now) for one in self._pages.values()):
            found = board(asked.book, asked.question)
            title = asked.title.removeprefix("EXAMPLE, ") if asked.banner else asked.title
            made = page.pages(found, asked.here, title, asked.banner, self._doubted)
            self._put_away(made)
            self._pages, self._asked = made, asked
        self._write(now)

    def blank(self, why: str, now: Instant) -> None:
        """Writes pages without any standing: the book cannot be read.

        Raises OSError where the folder cannot be written.
        """
        self._blind = self._blind or now
        asked = self._asked
        here = Here(asked.zone, now) if asked else Here(UTC, now)
        title, banner = (asked.title, asked.banner) if asked else ("", "")
        names = {name: one.area for name, one in self._pages.items() if name != page.INDEX}
        names |= dict.fromkeys(self._left_over(self._pages), "")
        self._pages = page.dead(names, why, self._blind, here, title, banner)
        self._asked = None
        self._write(now)

    def _write(self, now: Instant) -> None:
        for name, one in self._pages.items():
            _put(self._folder / name, one.render(now))

    def _put_away(self, made: Mapping[str, Page]) -> None:
        """Takes the pages of areas away that are no longer there: what is on them is old."""
        for name in self._left_over(made):
            with suppress(FileNotFoundError):
                (self._folder / name).unlink()

    def _left_over(self, made: Mapping[str, Page]) -> list[str]:
        return [path.name for path in self._folder.glob("area-*.html") if path.name not in made]


def _put(path: Path, text: str) -> None:
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        # Pages are read over and over and made anew in seconds: they need not survive a power cut.
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _sweep(folder: Path) -> None:
    """Takes away what a watcher left that was killed while it wrote; one that writes just now
    begins anew with its next refresh."""
    for left in folder.glob(".*.html.*"):
        with suppress(OSError):
            left.unlink()


def _refuse_no_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f".checkwatch.{os.getpid()}"
        probe.write_text("")
        probe.unlink()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        problem = Problem(str(folder), reason, "name a folder that can be written with --page")
        raise WrongUse(problem) from None
