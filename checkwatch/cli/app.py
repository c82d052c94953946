"""The command line: all commands under one name."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

import typer

from checkwatch.cli.options import At, Db, Json, KnownAt, refuse_untaken

#: Which file beside this one has which commands. A command line loads only the files that it
#: names: a result that is written at a machine does not wait for the rest.
FILES: dict[str, tuple[str, ...]] = {
    "questions": ("cleared", "why", "which", "overdue", "windows"),
    "coverage": ("coverage",),
    "screen": ("board", "demo"),
    "matters": ("open", "handover"),
    "setup": ("begin", "enrol", "retire", "upgrade"),
    "book": ("verify", "book"),
    "log": ("log",),
    "steps": ("steps",),
    "desk": ("desk",),
    "paper": ("labels", "cards", "sheet"),
    "plan": ("calendar",),
    "entries": ("done",),
    "several": ("happened", "fault", "withdraw"),
    "fit": ("fit", "lot"),
    "changes": ("fault-closed", "return", "except", "move", "reading", "note", "strike"),
    "exchange": ("import", "export"),
    "rulebooks": ("rules",),
    "people": ("people",),
    "notices": ("send", "watch", "heard"),
}


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


def app_for(words: Sequence[str]) -> typer.Typer:
    """The program with the commands that a command line may name; with all of them where it names
    none, so that help and the message for a misspelt one know them."""
    app = typer.Typer(
        name="checkwatch",
        help="Which machines have a check that still counts, until when and with which limits.",
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.callback()(before)
    named = [file for file, commands in FILES.items() if not {*words}.isdisjoint(commands)]
    known = {command for commands in FILES.values() for command in commands}
    if words and not words[0].startswith("-") and words[0] not in known:
        named = []
    for file in named or FILES:
        import_module(f"checkwatch.cli.{file}").add_to(app)
    return app
