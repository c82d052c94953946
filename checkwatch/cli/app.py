"""The command line: all commands under one name."""

from __future__ import annotations

import typer

from checkwatch.cli import (
    changes,
    entries,
    exchange,
    questions,
    rulebooks,
    screen,
    setup,
    several,
)
from checkwatch.cli.options import At, Db, Json, KnownAt, refuse_untaken

app = typer.Typer(
    name="checkwatch",
    help="Which machines have a check that still counts, until when and with which limits.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback()
def before(
    ctx: typer.Context,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """Which machines have a check that still counts, until when and with which limits."""
    ctx.obj = {"db": db, "at": at, "known_at": known_at, "json": json}
    refuse_untaken(ctx)


for question in (questions.cleared, questions.why, questions.which, questions.overdue):
    app.command()(question)
app.command()(questions.windows)
screen.add_to(app)
setup.add_to(app)
entries.add_to(app)
several.add_to(app)
changes.add_to(app)
exchange.add_to(app)
rulebooks.add_to(app)
