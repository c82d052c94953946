"""The options that commands share; some may stand before the command's name as well."""

from __future__ import annotations

import sys
from typing import Annotated, NamedTuple

import typer
from typer.core import TyperGroup

from checkwatch.answers.people import mistakes_in_code
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.settings import book_url

Db = Annotated[
    str | None,
    typer.Option("--db", help="The book: a path (SQLite) or a database URL.", metavar="URL"),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at", help="As of another instant: ISO 8601, 06:50, yesterday 06:50.", metavar="T"
    ),
]
KnownAt = Annotated[
    str | None,
    typer.Option("--known-at", help="As the book was known at an instant.", metavar="K"),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Span = Annotated[
    str | None,
    typer.Option("--for", help="For all of a time from then on, such as PT8H.", metavar="D"),
]


def _code(by: str) -> str:
    """A code as it is kept; WrongUse for what is none, whether the book knows people or not."""
    if by.strip() and (wrong := mistakes_in_code(by.strip(), "--by")):
        raise WrongUse(*wrong)
    return by.strip()


By = Annotated[str, typer.Option("--by", help="Your code; no name.", metavar="WHO", callback=_code)]
NoteText = Annotated[
    str, typer.Option("--note", help="Words to keep with it; nothing about patients.")
]
Yes = Annotated[bool, typer.Option("--yes", help="Do not ask before writing.")]
WhatIf = Annotated[
    bool, typer.Option("--what-if", help="Say what it would change, and write nothing.")
]


class Asking(NamedTuple):
    """What a question was asked with."""

    db: str
    at: str | None = None
    known_at: str | None = None
    json: bool = False


def asking(
    ctx: typer.Context,
    db: str | None,
    at: str | None = None,
    known_at: str | None = None,
    json: bool = False,
) -> Asking:
    """What stands after the command's name, or else before it."""
    before: dict[str, str | bool | None] = ctx.obj or {}

    def either(after: str | None, name: str) -> str | None:
        given = before.get(name)
        return after if after is not None else (str(given) if given is not None else None)

    return Asking(
        book_url(either(db, "db")),
        either(at, "at"),
        either(known_at, "known_at"),
        json or bool(before.get("json")),
    )


def refuse_untaken(ctx: typer.Context) -> None:
    """Refuses what stands before a command that does not take it.

    Passed over in silence, an --at would leave an entry at another time than was meant.
    """
    assert isinstance(ctx.command, TyperGroup)
    assert ctx.invoked_subcommand is not None
    command = ctx.command.commands[ctx.invoked_subcommand]
    if isinstance(command, TyperGroup):
        return  # Which of its commands is meant is not read yet; it asks here again.
    takes = {word for param in command.params for word in param.opts}
    given = [name for name, value in ctx.obj.items() if value not in (None, False)]
    called = f"{ctx.info_name} {command.name}" if ctx.parent else command.name
    wrong = [
        Problem(option, f"`{called}` does not take it", "leave it out")
        for option in (f"--{name.replace('_', '-')}" for name in given)
        if option not in takes
    ]
    if wrong:
        raise WrongUse(*wrong)


def confirm(question: str, yes: bool) -> None:
    """Goes on only with a yes; where nobody can answer, --yes must have been given."""
    if yes:
        return
    if not sys.stdin.isatty():
        raise WrongUse(Problem("", f"{question} nobody is there to answer", "add --yes"))
    # The library's own question leaves a blank on standard output, and ends with 1 if broken off.
    print(f"{question} [y/N]: ", end="", file=sys.stderr, flush=True)
    answer = sys.stdin.readline()
    if not answer:
        raise KeyboardInterrupt
    if answer.strip().lower() not in ("y", "yes"):
        raise WrongUse(Problem("", "nothing was written", "run it again to write it"))
