"""The board, live or printed once, and the demo, which shows it."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checkwatch import errors
from checkwatch.answers.board import Board
from checkwatch.answers.board import board as board_of
from checkwatch.answers.cleared import cleared
from checkwatch.answers.overdue import overdue
from checkwatch.cli.options import Asking, At, Db, Json, KnownAt, asking
from checkwatch.cli.show import on_screen, show, tell
from checkwatch.run import clock
from checkwatch.run.watcher.status import last_look
from checkwatch.run.world import Asked, ask
from checkwatch.views import answer, document, lists

if TYPE_CHECKING:
    # rich is imported where a board is shown: no other command needs it.
    from checkwatch.views.board import Frame


def board(
    ctx: typer.Context,
    once: Annotated[bool, typer.Option("--once", help="Print it and leave.")] = False,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """The fleet: what to do now, then every place; live on a terminal, q leaves it."""
    asked_with = asking(ctx, db, at, known_at, json)
    if asked_with == Asking(asked_with.db) and not once and on_screen():
        _live(asked_with.db)
        return
    asked = ask(asked_with.db, clock.now(), at=asked_with.at, known_at=asked_with.known_at)
    found = board_of(asked.book, asked.question)
    if asked_with.json:
        looked = last_look(asked_with.db)
        print(document.to_text(document.board(found, looked)))
    else:
        _print(asked, asked_with.db)
    raise typer.Exit(errors.CANNOT_TELL if found.doubts else errors.YES)


def _frame(asked: Asked, url: str) -> Frame:
    from checkwatch.views.board import Frame

    title = asked.title.removeprefix("EXAMPLE, ")
    return Frame(title, asked.zone, bool(asked.banner), last_look(url))


def _print(asked: Asked, url: str) -> None:
    from checkwatch.views.board import Screen, plain
    from checkwatch.views.todo import tasks

    found = board_of(asked.book, asked.question)
    todo, frame = tasks(found), _frame(asked, url)
    if not on_screen():
        print(plain(found, todo, frame))
        return
    from rich.console import Console

    Console(highlight=False).print(Screen(found, todo, frame, asked.question.now))


def _live(url: str) -> None:
    from rich.console import Console

    from checkwatch.run.following import Following
    from checkwatch.run.live import live

    following = Following(url)

    def load() -> tuple[Board, Frame]:
        asked = following.ask(clock.now())
        return board_of(asked.book, asked.question), _frame(asked, url)

    live(load, clock.now, Console(highlight=False))


def demo() -> None:
    """Build the example book in a scratch folder, around now, and show what it answers."""
    from checkwatch.run.demo import build

    path = Path(tempfile.mkdtemp(prefix="checkwatch-demo-")) / "example.db"
    tell("building the example: three weeks of an invented theatre suite ...")
    count = build(str(path), clock.now())
    asked = ask(str(path), clock.now())
    _print(asked, str(path))
    for name in ("Theatre 4", "Theatre 2"):
        _heading(f"checkwatch cleared '{name}'")
        found = cleared(name, asked.book, asked.question)
        show(answer.cleared(found, asked.here), asked.banner)
    _heading("checkwatch overdue")
    show(lists.overdue(overdue(asked.book, asked.question), asked.here), asked.banner)
    _heading("and now you")
    print(f"EXAMPLE: {count} invented entries are in {path}. To ask it yourself:")
    print(f"  export CHECKWATCH_DB={path}")
    print("  checkwatch board")
    print("  checkwatch why AM-04")


def _heading(text: str) -> None:
    print(f"\n--- {text} ---\n")


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(board)
    app.command()(demo)
