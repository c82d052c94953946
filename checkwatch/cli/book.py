"""`book`: verify it, seal it, back it up, put a backup in its place, look whether it is usable."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.cli.files import text_of
from checkwatch.cli.options import By, Db, Yes, asking, confirm, refuse_untaken
from checkwatch.cli.show import show, tell
from checkwatch.core.instant import Instant, iso
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import checking, clock, keeping, restoring
from checkwatch.run.checking import Finding, Verdict
from checkwatch.run.restoring import Held, Put
from checkwatch.store import seals
from checkwatch.store.seals import Seal
from checkwatch.views.report import Table
from checkwatch.views.words import Here, listed, plural

book = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

Against = Annotated[
    str | None,
    typer.Option(
        "--against",
        help="A seal taken earlier: its text, or a file of one or more.",
        metavar="SEAL",
    ),
]


@book.callback()
def before(ctx: typer.Context) -> None:
    """Verify the book, seal it, back it up, put a backup in its place, look whether it is sound."""
    refuse_untaken(ctx)


@book.command()
def verify(ctx: typer.Context, against: Against = None, db: Db = None) -> None:
    """Walk every machine's chain of entries, and name the first that is not as written.

    With --against it also finds a book that was cut short, or replaced, since a seal was taken.
    Exit code 1 for each of these, and where the book is not believed: its guards are missing, or
    the clock is behind it.
    """
    given = [] if against is None else _seals(against)
    found = keeping.look(asking(ctx, db).db, clock.now(), given)
    if found.broken is None:
        print(f"Every entry up to {found.newest} is as it was written.")
    else:
        where = found.broken.machine or "the book"
        print(f"Entry {found.broken.seq} of {where}: {found.broken.why}.")
    if found.doubts:
        print(f"The book is not believed: {listed(found.doubts)}.")
    for seal, differs in found.against:
        print(f"Sealed {iso(seal.taken)}: {differs or _kept(seal, found.newest)}.")
    raise typer.Exit(errors.NO if found.reasons else errors.YES)


def _seals(given: str) -> list[Seal]:
    """The seals of an option: as text, or from a file."""
    text = given if "seal of book" in " ".join(given.lower().split()) else text_of(Path(given))
    return seals.read_seals(text, "--against")


def _kept(seal: Seal, newest: int) -> str:
    since = f"; now it goes on to {newest}" if newest > seal.newest else ""
    return f"every entry up to {seal.newest} is still there as it was{since}"


@book.command("seal")
def seal_book(ctx: typer.Context, db: Db = None) -> None:
    """Print a seal of the book: two lines to keep elsewhere, for `verify --against`."""
    print(keeping.seal(asking(ctx, db).db, clock.now()).text)


@book.command()
def backup(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(help="A new file; never one that is there.")],
    db: Db = None,
) -> None:
    """Copy the book into a new file while it is in use, verify the copy, and print its seal."""
    kept = keeping.backup(asking(ctx, db).db, file, clock.now())
    if kept is None:
        tell(f"{file} is written; it is of an older version, and its entries were not walked")
        return
    tell(f"{file} is written and verified; keep its seal elsewhere:")
    print(kept.text)


@book.command()
def restore(
    ctx: typer.Context,
    file: Annotated[
        Path | None,
        typer.Argument(help="A backup; without one the book was put back by other means."),
    ] = None,
    by: By = "",
    yes: Yes = False,
    db: Db = None,
) -> None:
    """Put a backup in the book's place, and void every gate: what came since nobody knows.

    What was there is kept under another name. The backup is verified first.
    """
    if not by:
        remedy = "add --by WHO"
        raise WrongUse(Problem("book restore", "who restores a book is kept with it", remedy))
    url = asking(ctx, db).db
    put = restoring.restore(url, file, by, partial(_agree, yes)) if file else _mark(url, by, yes)
    if put.aside is not None:
        print(f"What was there is kept in {put.aside}.")
    print(f"The book that was put back {_says(put.backup)}.")
    print(f"Every gate of {plural(put.marked, 'machine')} is void, and owed anew.")
    print("Before you test them, write what happened since, from paper and memory: faults, limits")
    print("and machines out of use may be missing too.")


def _mark(url: str, by: str, yes: bool) -> Put:
    """For a book that was put back by other means."""
    held = restoring.held_by(url, by)
    tell(f"The book {_says(held)}.")
    confirm(f"Void every gate of {plural(held.machines, 'machine')}?", yes)
    return Put(held, None, restoring.mark(url, clock.now(), by))


def _agree(yes: bool, backup: Held, there: Held | None) -> Instant:
    """Asks before a book is replaced; where there is none, nothing is lost. When the yes came."""
    if there is not None:
        tell(f"The backup {_says(backup)}.")
        tell(f"The book that is there {_says(there)}.")
        confirm("Put the backup in its place?", yes)
    return clock.now()


def _says(held: Held) -> str:
    """What a book holds, as a predicate."""
    if held.written is None:
        return f"cannot be read: {held.trouble}" if held.trouble else "has no entry"
    written = Here(held.zone, clock.now()).dated(held.written)
    ends = f"ends with entry {held.newest}, written {written}"
    return f"{ends}; but {held.trouble}" if held.trouble else ends


@book.command()
def check(ctx: typer.Context, db: Db = None) -> None:
    """Is the book sound and usable? One line for each thing that was looked at, with its remedy.

    Exit code 1 where something is wrong, 6 where the book cannot be opened.
    """
    found = list(checking.check(asking(ctx, db).db, clock.now()))
    show([Table(("", "part", "what was found"), tuple(_row(one) for one in found))])
    wrong = any(one.verdict is Verdict.WRONG for one in found)
    if wrong and len(found) == 1:
        raise typer.Exit(errors.CANNOT_TELL)
    raise typer.Exit(errors.NO if wrong else errors.YES)


def _row(one: Finding) -> tuple[str, ...]:
    what = f"{one.what}; {one.remedy}" if one.remedy else one.what
    return (one.verdict.value, one.part, what)


def add_to(app: typer.Typer) -> None:
    """Adds `book` with its commands, and `verify` also by itself."""
    app.command()(verify)
    app.add_typer(book, name="book")
