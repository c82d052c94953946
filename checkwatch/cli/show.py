"""Answers to standard output, with looks only on a terminal; messages to standard error.

The shortest question comes through here: what is heavy is loaded where it is used.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable

from checkwatch.errors import Problem
from checkwatch.views.report import Report, plain
from checkwatch.views.words import harmless

EXAMPLE = "EXAMPLE: everything in this book is invented."


def show(report: Report, title: str = "") -> None:
    """Prints a report; one about an example book says so first."""
    if is_example(title):
        report = [EXAMPLE, "", *report]
    if not on_screen():
        print(plain(report))
        return
    from rich.console import Console

    from checkwatch.views.terminal import rendered

    Console(highlight=False).print(rendered(report))


def is_example(title: str) -> bool:
    """Whether a book's rules say that everything in it is invented."""
    return title.startswith("EXAMPLE")


def on_screen() -> bool:
    """Whether standard output is a terminal that can do more than print line after line.

    Whether it wants colour is left to the library, which knows NO_COLOR.
    """
    return sys.stdout.isatty() and os.environ.get("TERM") != "dumb"


def tell(text: str) -> None:
    """A message beside the answer, on standard error."""
    print(text, file=sys.stderr)


def tell_problems(problems: Iterable[Problem], prefix: str = "") -> None:
    """One line for each, with place, fault and remedy."""
    for problem in problems:
        tell(f"{prefix}{harmless(str(problem), 1000)}")
