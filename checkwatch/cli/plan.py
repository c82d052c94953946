"""What is due when, for the calendars of other programs."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated
from uuid import uuid5

import typer

from checkwatch import errors
from checkwatch.answers.calendar import NAMES, Calendar
from checkwatch.answers.calendar import calendar as calendar_of
from checkwatch.cli.files import put, refuse_to_overwrite
from checkwatch.cli.options import Db, asking
from checkwatch.cli.several import Several
from checkwatch.cli.show import tell
from checkwatch.exchange import icalendar
from checkwatch.exchange.icalendar import Event
from checkwatch.run import clock
from checkwatch.run.world import Asked, ask
from checkwatch.store import engine
from checkwatch.views import calendar as words


def calendar(
    ctx: typer.Context,
    out: Annotated[
        Path | None, typer.Option("--out", help="Else to standard output.", metavar="FILE.ics")
    ] = None,
    area: Annotated[
        str | None, typer.Option("--area", help="Only the machines in an area.", metavar="AREA")
    ] = None,
    db: Db = None,
) -> None:
    """Write a calendar of the checks of a week and longer, when each is due, for calendar programs
    (iCalendar, RFC 5545).

    Exit code: 0 it is written, 6 cannot tell; a book that is not believed is told in it.
    """
    url = asking(ctx, db).db
    refuse_to_overwrite((engine.sqlite_path(url),), (out,))
    asked = ask(url, clock.now())
    tags = None if area is None else Several(area=area).tags(asked, None)
    found = calendar_of(asked.book, asked.question, tags)
    name = words.name(asked.title, area or "", asked.banner)
    events = [*_events(found, asked)]
    text = icalendar.calendar(name, words.DESCRIPTION, events, asked.zone, found.today.year)
    if out is None:
        # Its lines end as the format says, and its letters are UTF-8, wherever it is printed.
        sys.stdout.buffer.write(text.encode())
    else:
        put(out, text)
        tell(f"{out} is written")
    if found.doubts:
        raise typer.Exit(errors.CANNOT_TELL)


def _events(found: Calendar, asked: Asked) -> Iterator[Event]:
    if found.doubts:
        uid = str(uuid5(NAMES, asked.title))
        yield Event(uid, found.question.now, found.today, *words.unbelieved(found.doubts))
    for one in found.dates:
        at = one.today if one.due is None else one.due
        yield Event(str(one.uid), one.revised, at, *words.words(one, asked.here))


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(calendar)
