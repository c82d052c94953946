"""What is printed: the morning sheet, and for the desk labels for its scanner, and blank cards for
when it is down."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.desk.slip import Slip
from checkwatch.answers.sheet import sheet as sheet_of
from checkwatch.cli.files import made, refuse_to_overwrite
from checkwatch.cli.options import At, Db, KnownAt, asking
from checkwatch.cli.several import Kind, Place, Several
from checkwatch.cli.show import show
from checkwatch.core.mistake import nearest
from checkwatch.core.place import rooms
from checkwatch.core.spelling import alike, likeness, nearest_names
from checkwatch.core.versions import Version
from checkwatch.core.wording import plural
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.desk import Desk
from checkwatch.run.world import Asked, ask
from checkwatch.store import engine
from checkwatch.views import cards as card_words
from checkwatch.views import labels as label_words
from checkwatch.views import sheet as sheet_words

Out = Annotated[Path, typer.Option("--out", help="The HTML page to write.", metavar="FILE.html")]


def labels(
    ctx: typer.Context,
    out: Out,
    kind: Kind = None,
    place: Place = None,
    codes: Annotated[
        bool, typer.Option("--codes", help="Checks, happenings, outcomes and people instead.")
    ] = False,
    db: Db = None,
) -> None:
    """Make a sheet of labels for the desk's scanner: of all machines, or of those of a kind or
    place; with --codes of all else that the desk takes."""
    which = Several(place=place, kind=kind)
    if codes and which.meant:
        raise WrongUse(
            Problem("--codes", "is no sheet of machines", "leave --kind and --place out")
        )
    url = asking(ctx, db).db
    refuse_to_overwrite((engine.sqlite_path(url),), (out,))
    if codes:
        known, asked = Desk(url, typing_in=False).look(Slip(), "")
        parts = label_words.of_codes(known.rulebook, known.people)
    else:
        asked = ask(url, clock.now())
        fleet = asked.book.fleet(asked.question)
        tags = which.tags(asked, None) if which.meant else [one.machine for one in fleet]
        parts = label_words.of_machines(one for one in fleet if one.machine in tags)
    page = label_words.sheet(parts, asked.title, asked.here, asked.banner)
    _write(out, page, plural(sum(len(part.labels) for part in parts), "label"))


def cards(
    ctx: typer.Context,
    checks: Annotated[list[str], typer.Argument(help="The checks' codes.", metavar="CHECK…")],
    out: Out,
    db: Db = None,
) -> None:
    """Make blank cards of checks, to be filled in by hand and typed in later."""
    url = asking(ctx, db).db
    refuse_to_overwrite((engine.sqlite_path(url),), (out,))
    asked = ask(url, clock.now(), lambda _: ())
    version = _version(asked)
    known = version.rulebook.checks
    unknown = [code for code in checks if code not in known]
    if unknown:
        raise WrongUse(
            *(
                Problem(code, "is no check of the rulebook", nearest(code, known, _has(known)))
                for code in unknown
            )
        )
    wanted = [
        card_words.Card(known[code], version.rulebook.taking[code])
        for code in dict.fromkeys(checks)
    ]
    page = card_words.cards(wanted, version, asked.here, asked.banner)
    _write(out, page, plural(len(wanted), "card"))


def sheet(
    ctx: typer.Context,
    out: Out,
    where: Annotated[
        str | None, typer.Argument(help="A place or an area; else all.", metavar="[PLACE|AREA]")
    ] = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
) -> None:
    """Make the morning sheet: place by place what is owed, until when each test runs, limits and
    faults, and a line to sign.

    Exit code: 0 it is written, 6 cannot tell; a book that is not believed is told on the sheet.
    """
    given = asking(ctx, db, at, known_at)
    refuse_to_overwrite((engine.sqlite_path(given.db),), (out,))
    asked = ask(given.db, clock.now(), at=given.at, known_at=given.known_at)
    of, places = ("", None) if where is None else _meant(where, asked)
    found = sheet_of(asked.book, asked.question, places)
    page = sheet_words.sheet(found, of, asked.title, asked.here, asked.banner)
    _write(out, page, f"The sheet of {plural(len(found.lines), 'machine')}")
    if found.doubts:
        raise typer.Exit(errors.CANNOT_TELL)


def _meant(typed: str, asked: Asked) -> tuple[str, frozenset[str]]:
    """The place or area that is meant, and its places with the rooms that belong to them.

    Where several names fit, all are meant: a sheet with too much on it hides nothing.
    """
    places = asked.book.places_known(asked.question)
    known = {*places, *(place.area for place in places.values() if place.area)}
    fitting = [typed] if typed in known else alike(known).get(likeness(typed), [])
    if not fitting:
        tags = alike(asked.names.tags).get(likeness(typed))
        if tags:
            raise CannotTell(Problem(tags[0], "is a machine", "name its place or area"))
        near = nearest_names(typed, known)
        remedy = f"did you mean {' or '.join(near)}?" if near else "see `checkwatch board`"
        raise CannotTell(Problem(typed, "the book knows no place or area of this name", remedy))
    own = [name for name, place in places.items() if {name, place.area} & {*fitting}]
    return fitting[0], frozenset(room for name in own for room in rooms(name, places))


def _has(known: Iterable[str]) -> str:
    return f"it has {', '.join(known) or 'none'}"


def _version(asked: Asked) -> Version:
    version = asked.book.versions.in_force(asked.question.at)
    if version is None:
        raise CannotTell(Problem("the book", "has no rules", "`checkwatch rules adopt` some"))
    return version


def _write(out: Path, page: str, what: str) -> None:
    with made(out) as stream:
        stream.write(page)
    show([f"{what} written to {out}: open it in a browser and print it on A4."])


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(labels)
    app.command()(cards)
    app.command()(sheet)
