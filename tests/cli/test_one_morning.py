"""The guide's morning is that of the program: each command at the time of its heading. A line of
three dots stands for what the page leaves out."""

from __future__ import annotations

import io
import os
import re
import shlex
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from unittest import mock

from freezegun import freeze_time
from freezegun.api import FrozenDateTimeFactory

from checkwatch.__main__ import main
from checkwatch.run import clock, demo
from checkwatch.views.report import EXAMPLE
from tests.test_readme import steps

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "one-morning.md"

#: What is typed in the leak test, one line every four minutes.
TYPED = [*["yes"] * 4, "60", "na: no vaporiser was changed", *["yes"] * 3]


class Typist(io.StringIO):
    """Somebody who takes four minutes for each line."""

    def __init__(self, frozen: FrozenDateTimeFactory) -> None:
        super().__init__("".join(f"{line}\n" for line in TYPED))
        self._frozen = frozen

    def readline(self, size: int | None = -1, /) -> str:
        self._frozen.tick(240)
        return super().readline(-1 if size is None else size)


def said(command: str, frozen: FrozenDateTimeFactory, folder: Path) -> str:
    """What a terminal would show, on one line."""
    shown = io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True)
    streams = {"stdin": Typist(frozen), "stdout": shown, "stderr": shown}
    env = {"CHECKWATCH_DB": str(folder / "book.db"), "XDG_STATE_HOME": str(folder)}
    with (
        mock.patch.multiple(sys, argv=shlex.split(command), **streams),
        mock.patch.dict(os.environ, {**env, "COLUMNS": "80"}),
        suppress(SystemExit),
    ):
        main()
    text: str = shown.buffer.getvalue().decode("utf-8")  # type: ignore[attr-defined]
    return " ".join(text.replace(f"{EXAMPLE}\n", "").split())


def morning(page: str) -> Iterator[tuple[str, str, str]]:
    """Time, command and output."""
    for part in re.split(r"^## (?=\d\d:\d\d)", page, flags=re.MULTILINE)[1:]:
        for command, shown in steps(part):
            yield part[:5], command, shown


def test_the_morning_goes_as_the_guide_tells_it(tmp_path: Path) -> None:
    with freeze_time("2026-11-25T07:00:00Z") as frozen:
        demo.build(str(tmp_path / "book.db"), clock.now())
        told = [*morning(PAGE.read_text(encoding="utf-8"))]
        assert len(told) > 8
        for time, command, shown in told:
            frozen.move_to(f"2026-11-25T{time}:00Z")
            left = said(command, frozen, tmp_path)
            for piece in filter(str.strip, re.split(r"^…$", shown, flags=re.MULTILINE)):
                before, folded, left = left.partition(" ".join(piece.split()))
                assert folded, (command, before)
