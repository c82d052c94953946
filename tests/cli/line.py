"""The command line as a person meets it: words in, two streams and an exit code out.

`run` calls the program's entry point in this process, which is fast; `start` starts a process of
its own, where a test is about one. Neither has a terminal, but `run` may have somebody who answers.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock

from checkwatch.__main__ import main

PROGRAM = [sys.executable, "-m", "checkwatch"]


class Said(NamedTuple):
    """What one command came to."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """The JSON document that is all there is on standard output."""
        return json.loads(self.out)


class Keyboard(io.StringIO):
    """Standard input with somebody at it, who types a line whenever one is read."""

    def __init__(self, typed: Callable[[], str]) -> None:
        super().__init__()
        self._typed = typed

    def isatty(self) -> bool:
        return True

    def readline(self, size: int | None = -1, /) -> str:
        del size
        return self._typed()


def run(*words: str | Path, typed: Callable[[], str] | None = None, piped: str = "") -> Said:
    """Runs one command in this process; `typed` gives what is typed where it asks, `piped` is what
    stands on standard input without a terminal."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    given = Keyboard(typed) if typed else io.StringIO(piped)
    with (
        mock.patch.multiple(sys, argv=["checkwatch", *map(str, words)]),
        mock.patch.multiple(sys, stdin=given, stdout=out, stderr=err),
    ):
        try:
            main()
        except SystemExit as left:
            code = left.code
    assert isinstance(code, int)
    said = Said(code, *(s.buffer.getvalue().decode("utf-8") for s in (out, err)))  # type: ignore[attr-defined]
    assert "Traceback" not in said.err
    assert "checkwatch failed" not in said.err, said.err
    return said


def start(*words: str | Path, **more: Any) -> Said:
    """Runs one command in a process of its own."""
    done = subprocess.run(
        [*PROGRAM, *map(str, words)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "COLUMNS": "100", **more.pop("env", {})},
        timeout=60,
        check=False,
        **more,
    )
    assert "Traceback" not in done.stderr
    return Said(done.returncode, done.stdout, done.stderr)
