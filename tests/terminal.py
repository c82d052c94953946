"""The program on a terminal of its own: pyte is the terminal, an emulator outside the project."""

from __future__ import annotations

import os
import re
import sys
import time
from pathlib import Path

import pexpect
import pyte
import pytest

ROOT = Path(__file__).parents[1]
PATIENCE = 30.0


class Terminal:
    """A terminal with the program in it, and a person who reads before typing."""

    def __init__(self, columns: int, rows: int, *words: str, **environment: str) -> None:
        self.columns, self.sent = columns, ""
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        usual = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR")}
        self.program = pexpect.spawn(
            sys.executable,
            ["-m", "checkwatch", *words],
            dimensions=(rows, columns),
            env=usual | {"TERM": "xterm-256color"} | environment,
            cwd=str(ROOT),
        )

    def look(self, seconds: float = 0.2) -> str:
        """The screen after so long."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                came = self.program.read_nonblocking(100_000, timeout=0.05)
            except pexpect.TIMEOUT:
                continue
            except pexpect.EOF:
                break
            self.sent += came.decode("utf-8", "replace")
            self.stream.feed(came)
        return "\n".join(line.rstrip() for line in self.screen.display).strip()

    def wait(self, ending: str) -> str:
        """The screen as soon as its last line ends so."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            text = self.look()
            if text.endswith(ending):
                return text
        pytest.fail(f"no {ending!r} within {PATIENCE} s; the screen shows:\n{text}")

    def types(self, line: str, then: str = ">") -> str:
        """A line and the return key; the screen as soon as it ends as it should."""
        self.program.send(f"{line}\r")
        self.look(0.1)
        return self.wait(then)

    def ended(self) -> tuple[int | None, str]:
        """The exit code and the last screen."""
        end = time.monotonic() + PATIENCE
        while self.program.isalive() and time.monotonic() < end:
            self.look()
        text = self.look()
        self.program.close()
        return self.program.exitstatus, text

    @property
    def lines(self) -> list[str]:
        """All that was shown, line by line, without what moves or colours it."""
        return re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", self.sent).replace("\r", "\n").split("\n")
