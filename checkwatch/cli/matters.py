"""What is open, and the page for the next shift."""

from __future__ import annotations

from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.handover import SHIFT
from checkwatch.answers.handover import handover as page
from checkwatch.answers.open_matters import open_matters
from checkwatch.cli.options import At, Db, Json, KnownAt, asking
from checkwatch.cli.show import show
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import quoted
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.typed import typed_since
from checkwatch.run.world import Asked, ask
from checkwatch.views import document
from checkwatch.views import handover as pages
from checkwatch.views import open_matters as matters


def open_(
    ctx: typer.Context,
    role: Annotated[
        str, typer.Option("--role", help="Only what is the matter of a role.", metavar="ROLE")
    ] = "",
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """What someone must act on: exceptions that are not paid, faults, fails, machines out of use,
    limits, tests under way, first checks, flagged results; with whose it is and what to type.

    Exit code: 0 nothing, 1 something is open, 6 cannot tell.
    """
    asked_with = asking(ctx, db, at, known_at, json)
    asked = ask(asked_with.db, clock.now(), at=asked_with.at, known_at=asked_with.known_at)
    found = open_matters(asked.book, asked.question, role)
    if role and role not in found.roles:
        remedy = f"there are: {', '.join(found.roles)}"
        raise WrongUse(Problem("--role", f"there is no role {quoted(role)}", remedy))
    if asked_with.json:
        print(document.to_text(matters.document(found)))
    else:
        show(matters.open_matters(found, asked.here), asked.banner)
    if found.doubts:
        raise typer.Exit(errors.CANNOT_TELL)
    raise typer.Exit(errors.NO if found.matters or found.put_back else errors.YES)


def handover(
    ctx: typer.Context,
    since: Annotated[
        str | None,
        typer.Option("--since", help="When the shift began; else 12 hours ago.", metavar="T"),
    ] = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """The page for the next shift: what changed, what was written, what is open, what will lapse.

    A time of day that is still to come means that of yesterday: 19:00 in the morning.
    """
    asked_with = asking(ctx, db, at, known_at, json)
    asked = ask(asked_with.db, clock.now(), at=asked_with.at, known_at=asked_with.known_at)
    found = page(asked.book, asked.question, _beginning(since, asked))
    if asked_with.json:
        print(document.to_text(pages.document(found)))
    else:
        show(pages.handover(found, asked.here), asked.banner)
    raise typer.Exit(errors.CANNOT_TELL if found.doubts else errors.YES)


def _beginning(typed: str | None, asked: Asked) -> Instant:
    """When the shift began."""
    at = asked.question.at
    if typed is None:
        return Instant(at - SHIFT)
    found = typed_since(typed, asked.zone, at)
    if found >= at:
        what = f"{quoted(typed)} is not before the time that is asked about"
        raise WrongUse(Problem("--since", what, "name an earlier time"))
    return found


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command("open")(open_)
    app.command()(handover)
