"""Answers to standard output, in colour only on a terminal; messages and questions elsewhere."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable

import typer

from checkwatch.errors import Problem, WrongUse
from checkwatch.run.world import Asked
from checkwatch.views import document
from checkwatch.views.report import Report, plain
from checkwatch.views.words import Here, harmless

EXAMPLE = "EXAMPLE: everything in this book is invented."


def here(asked: Asked) -> Here:
    """The zone and the moment by which an answer is read."""
    return Here(asked.zone, asked.question.now)


def show(report: Report, title: str = "") -> None:
    """Prints a report; one about an example book says so first."""
    if is_example(title):
        report = [EXAMPLE, "", *report]
    if not colourful():
        print(plain(report))
        return
    from rich.console import Console

    from checkwatch.views.terminal import rendered

    Console(highlight=False).print(rendered(report))


def is_example(title: str) -> bool:
    """Whether a book's rules say that everything in it is invented."""
    return title.startswith("EXAMPLE")


def show_json(found: document.Document) -> None:
    """Prints one JSON document."""
    print(document.to_text(found))


def colourful() -> bool:
    """Whether standard output is a terminal that wants colour and a live screen."""
    plain_terminal = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return sys.stdout.isatty() and not plain_terminal


def tell(text: str) -> None:
    """A message beside the answer, on standard error."""
    print(text, file=sys.stderr)


def tell_problems(problems: Iterable[Problem], prefix: str = "") -> None:
    """One line for each, with place, fault and remedy."""
    for problem in problems:
        tell(f"{prefix}{harmless(str(problem), 1000)}")


def confirm(question: str, yes: bool) -> None:
    """Goes on only with a yes; where nobody can answer, --yes must have been given."""
    if yes:
        return
    if not sys.stdin.isatty():
        raise WrongUse(Problem("", f"{question} nobody is there to answer", "add --yes"))
    if not typer.confirm(question, err=True):
        raise WrongUse(Problem("", "nothing was written", "run it again to write it"))
