"""Answers to standard output, with looks only on a terminal; messages to standard error.

The shortest question comes through here: what is heavy is loaded where it is used.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import TextIO
from weakref import WeakKeyDictionary

from checkwatch.errors import Problem
from checkwatch.views.report import WIDTH, Report, message, plain
from checkwatch.views.words import harmless

#: What stands already above what was printed, by the stream that it was printed to.
_above: WeakKeyDictionary[TextIO, str] = WeakKeyDictionary()


def show(report: Report, banner: str = "") -> None:
    """Prints a report below what must stand above it, once above all that one command prints."""
    if banner and _above.get(sys.stdout) != banner:
        _above[sys.stdout] = banner
        report = [banner, "", *report]
    if not on_screen():
        print(plain(report))
        return
    from rich.console import Console

    from checkwatch.views.terminal import rendered

    console = Console(highlight=False)
    # A word of a command that is wider than the screen is not cut: somebody copies it.
    console.print(rendered(report, console.width), crop=False)


def on_screen() -> bool:
    """Whether standard output is a terminal that can do more than print line after line.

    Whether it wants colour is left to the library, which knows NO_COLOR.
    """
    return sys.stdout.isatty() and os.environ.get("TERM") != "dumb"


def tell(text: str) -> None:
    """A message beside the answer, on standard error."""
    print(text, file=sys.stderr)


def tell_problems(problems: Iterable[Problem], prefix: str = "") -> None:
    """One line for each, with place, fault and remedy; on a terminal a paragraph that fits it."""
    for problem in problems:
        text = f"{prefix}{harmless(str(problem), 1000)}"
        tell("\n".join(message(text, _columns())) if sys.stderr.isatty() else text)


def _columns() -> int:
    """The width of the terminal at standard error."""
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns
    except (OSError, ValueError):
        return WIDTH
