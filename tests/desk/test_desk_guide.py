"""The guide's conversations at the desk are those of the program, in order, on one morning."""

from __future__ import annotations

import io
import os
import re
import sys
from contextlib import suppress
from pathlib import Path
from unittest import mock

from freezegun import freeze_time

from checkwatch.__main__ import main
from checkwatch.run import clock, demo
from tests.test_readme import steps

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "desk.md"


def talk(command: str, typed: list[str], book: str) -> str:
    """What a terminal would show: questions, lines and answers in their order."""
    shown = io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True)
    streams = {"stdin": io.StringIO("".join(f"{line}\n" for line in typed))}
    with (
        mock.patch.multiple(sys, argv=command.split(), stdout=shown, stderr=shown, **streams),
        mock.patch.dict(os.environ, {"CHECKWATCH_DB": book, "COLUMNS": "80"}),
        suppress(SystemExit),
    ):
        main()
    return shown.buffer.getvalue().decode("utf-8")  # type: ignore[attr-defined, no-any-return]


def test_the_guide_shows_what_is_said_at_the_desk(tmp_path: Path) -> None:
    book = str(tmp_path / "book.db")
    with freeze_time("2026-11-25T07:10:00Z"):
        demo.build(book, clock.now())
        talks = list(steps(PAGE.read_text(encoding="utf-8")))
        assert len(talks) > 2
        for command, shown in talks:
            said = talk(command, re.findall(r" > (.+)$", shown, re.MULTILINE), book)
            assert said.split() == shown.split()
