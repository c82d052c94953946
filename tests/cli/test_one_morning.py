"""The guide's morning is that of the program: each command at the time of its heading. A line of
three dots stands for what the page leaves out."""

from __future__ import annotations

import io
import json
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


def test_the_four_answers_tell_the_same(tmp_path: Path) -> None:
    """After the last hour of the guide: numbers, times and codes."""
    with freeze_time("2026-11-25T07:00:00Z") as frozen:
        demo.build(str(tmp_path / "book.db"), clock.now())
        for time, command, _ in morning(PAGE.read_text(encoding="utf-8")):
            frozen.move_to(f"2026-11-25T{time}:00Z")
            said(command, frozen, tmp_path)
        log, handover = (
            json.loads(said(f"checkwatch {asked} --since 07:00 --json", frozen, tmp_path))
            for asked in ("log AM-08", "handover")
        )
        why = said("checkwatch why AM-08", frozen, tmp_path)
        verified = said("checkwatch book verify", frozen, tmp_path)
    written = {one["entry"]: one for one in log["entries"]}
    assert [*written] == [*range(4560, 4572)]
    assert verified == f"Every entry up to {max(written)} is as it was written."
    for number in (4568, 4569, 4570, 4571):
        one = written[number]
        assert re.search(
            rf"entry {number}, {one['what']} pass,[^,]*,? ?10:20 GMT, 10 min ago, by {one['by']}",
            why,
        )
        assert one["at"] == "2026-11-25T10:20:00Z"
    (paid,) = (one for one in handover["exceptions"] if one["machine"] == "AM-08")
    (closed,) = handover["faults_closed"]
    for told, number in ((paid, 4563), (closed, 4566)):
        assert (told["entry"], told["at"]) == (number, written[number]["at"])
    assert (paid["decided"], paid["owed"]) == (written[4563]["details"]["decided"], [])
    assert (closed["fault"], closed["since"]) == (4564, written[4564]["at"])
    assert sum(handover["written"].values()) == len(written)
    assert {one["by"] for one in written.values()} == {"kd", "hv"}
