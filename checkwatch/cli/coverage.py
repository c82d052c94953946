"""`coverage`: how much of the use of machines in a period was covered."""

from __future__ import annotations

from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.coverage import Coverage
from checkwatch.answers.coverage import coverage as coverage_of
from checkwatch.cli.options import At, Db, Json, KnownAt, asking
from checkwatch.cli.show import show
from checkwatch.core.instant import Instant, parse_day_or_instant
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, Names, ask
from checkwatch.views.coverage import coverage as in_words
from checkwatch.views.coverage_document import document
from checkwatch.views.document import to_text


def coverage(
    ctx: typer.Context,
    start: Annotated[
        str,
        typer.Option(
            "--from", help="The period's start; a date alone is its midnight.", metavar="T"
        ),
    ],
    what: Annotated[
        str | None,
        typer.Argument(help="A machine's tag or a place; else the fleet.", metavar="WHAT"),
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", help="Its end, if not now.", metavar="T")
    ] = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """How much of the use of machines was covered, from the starts and ends of cases.

    As the book knows now, and as it was known at each instant. Exit code: 0 nothing was uncovered,
    1 something was, by either, 6 cannot tell: no use in this time.
    """
    asked_with = asking(ctx, db, at, known_at, json)

    def concerned(names: Names) -> frozenset[str] | None:
        return None if what is None else names.concerned(names.resolve(what))

    asked = ask(asked_with.db, clock.now(), concerned, asked_with.at, asked_with.known_at)
    name = "" if what is None else asked.names.resolve(what)
    found = coverage_of(name, asked.book, asked.question, *_period(start, until, asked))
    if asked_with.json:
        print(to_text(document(found)))
    else:
        show(in_words(found, asked.here), asked.banner)
    raise typer.Exit(_code(found))


def _period(start: str, until: str | None, asked: Asked) -> tuple[Instant, Instant]:
    def typed(text: str, name: str) -> Instant:
        return typed_instant(text, asked.zone, asked.question.now, name, parse_day_or_instant)

    begin = typed(start, "--from")
    end = asked.question.at if until is None else typed(until, "--until")
    if begin >= asked.question.at:
        what = "nothing of the period lies before the instant asked about"
        raise WrongUse(Problem("--from", what, "name an earlier time"))
    if end <= begin:
        raise WrongUse(Problem("--until", "is not after --from", "name a later time"))
    return begin, end


def _code(found: Coverage) -> int:
    if found.doubts:
        return errors.CANNOT_TELL
    if found.uncovered:
        return errors.NO
    return errors.YES if found.now.use else errors.CANNOT_TELL


def add_to(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(coverage)
