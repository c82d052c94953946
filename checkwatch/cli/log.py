"""`log`: what was written about a machine or in a place, page by page."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.log import Log, book_log, place_log
from checkwatch.answers.log import log as log_of
from checkwatch.cli.options import At, Db, Json, KnownAt, asking
from checkwatch.cli.show import on_screen
from checkwatch.core.instant import BEGINNING
from checkwatch.run import clock
from checkwatch.run.typed import typed_since
from checkwatch.run.world import Asked, Names, ask_on
from checkwatch.store import engine, read
from checkwatch.views import document
from checkwatch.views import log as views


def log(
    ctx: typer.Context,
    what: Annotated[
        str | None,
        typer.Argument(
            help="A machine's tag or a place; else the book's own entries.", metavar="WHAT"
        ),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option("--since", help="Only entries of this time and later.", metavar="T"),
    ] = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """Every entry about a machine in order of time; what was struck, and what came late, says so.

    Of a place: the entries of all machines while they stood there, and its own. Without either: the
    rulebooks that the book adopted, and what it was told of places. On a terminal what does not fit
    goes through a pager, which begins at the newest.
    """
    asked_with = asking(ctx, db, at, known_at, json)

    def concerned(names: Names) -> frozenset[str]:
        return frozenset() if what is None else names.concerned(names.resolve(what))

    with engine.reading(asked_with.db) as conn:
        asked = ask_on(conn, clock.now(), concerned, asked_with.at, asked_with.known_at)
        own = [*read.adoptions(conn), *read.places(conn)] if what is None else []
    now = asked.question.now
    start = BEGINNING if since is None else typed_since(since, asked.zone, now)
    name = "" if what is None else asked.names.resolve(what)
    if not name:
        found = book_log(own, asked.book, asked.question, start)
    elif name in asked.names.tags:
        found = log_of(name, asked.book, asked.question, start)
    else:
        found = place_log(name, asked.names.told, asked.book, asked.question, start)
    if asked_with.json:
        print(document.to_text(views.document(found)))
    else:
        _show(found, asked)
    raise typer.Exit(errors.CANNOT_TELL if found.doubts else errors.YES)


def _show(found: Log, asked: Asked) -> None:
    banner = f"{asked.banner}\n\n" if asked.banner else ""
    if not on_screen():
        print(f"{banner}{views.plain(found, asked.here)}")
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False)
    text = Text(banner) + views.styled(found, asked.here, console.width)
    if text.plain.count("\n") < console.height - 1:
        console.print(text)
        return
    from pydoc import pager

    # So that the pager shows what is crossed out, and begins where the newest stands. Who has set
    # it otherwise keeps it so.
    os.environ.setdefault("LESS", "R +G")
    with console.capture() as printed:
        console.print(text)
    pager(printed.get())


def add_to(app: typer.Typer) -> None:
    """Adds the command."""
    app.command()(log)
