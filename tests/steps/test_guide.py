"""The guide's conversations are those of the program: what stands there behind `>` is typed."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

from checkwatch.run import clock, demo
from tests.cli.line import PROGRAM
from tests.test_readme import steps, timeless

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "at-the-machine.md"


def said(text: str) -> str:
    """Without what hangs on the day and on how many entries the example has."""
    return re.sub(r"TIME \d+ min", "TIME", re.sub(r"ntry \d+", "ntry N", timeless(text)))


def test_the_guide_shows_what_is_said(tmp_path: Path) -> None:
    demo.build(str(tmp_path / "book.db"), clock.now())
    more = {"CHECKWATCH_DB": str(tmp_path / "book.db"), "XDG_STATE_HOME": str(tmp_path)}
    talks = list(steps(PAGE.read_text(encoding="utf-8")))
    assert len(talks) > 3
    for command, shown in talks:
        typed = re.findall(r" > (.+)$", shown, re.MULTILINE)
        done = subprocess.run(
            [*PROGRAM, *command.split()[1:]],
            input="".join(f"{line}\n" for line in typed),
            env={**os.environ, **more, "COLUMNS": "60"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
            timeout=60,
        )
        assert said(done.stdout) == said(shown)
