"""Making a book and changing the fleet: begin, enrol, retire; and the care of the book's file."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from pathlib import Path
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.acceptance import mistakes_in_name
from checkwatch.cli.entries import Common, Machine, Ref, When, draft, write_one
from checkwatch.cli.files import opened, text_of
from checkwatch.cli.options import By, Db, Json, NoteText, WhatIf, asking
from checkwatch.cli.rulebooks import rulebook_of
from checkwatch.cli.show import tell
from checkwatch.core.entry import Enrolled, PlaceKnown, Retired
from checkwatch.core.instant import parse_day_or_instant
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.fleet import FleetRow, read_fleet
from checkwatch.exchange.places import agree, places_of, read_places
from checkwatch.run import clock, setup
from checkwatch.run.world import ask
from checkwatch.store import engine, read
from checkwatch.views.words import plural

Fleet = Annotated[Path, typer.Option("--fleet", help="The machines (CSV).")]
Places = Annotated[
    Path | None, typer.Option("--places", help="The places (CSV); else from the fleet file.")
]


def begin(
    ctx: typer.Context,
    rules: Annotated[Path, typer.Option("--rules", help="The rulebook (TOML).")],
    fleet: Fleet,
    places: Places = None,
    by: By = "",
    db: Db = None,
) -> None:
    """Make the book: adopt the rulebook, enrol the fleet."""
    rulebook = rulebook_of(rules)
    machines, known = _files(fleet, places, rulebook.zone)
    unknown = {place.place_kind for place in known} - rulebook.place_kinds.keys()
    for kind in sorted(unknown):
        tell(f"warning: the rulebook does not know the place kind {kind!r}: it needs nothing")
    url = asking(ctx, db).db
    setup.begin(url, clock.now(), text_of(rules), machines, known, by)
    what = f"{plural(len(machines), 'machine')} in {plural(len(known), 'place')}"
    print(f"The book is made: {what}, by the rules of {rulebook.title}.")
    print("Every check is owed until its first result is written.")


def _files(
    fleet: Path | None, places: Path | None, zone: tzinfo
) -> tuple[list[Enrolled], list[PlaceKnown]]:
    """The machines and places of both files, or every mistake in either."""
    problems: list[Problem] = []
    rows: list[FleetRow] = []
    known: list[PlaceKnown] = []
    if fleet is not None:
        with opened(fleet) as stream:
            rows, found = read_fleet(stream, fleet.name, zone)
            problems += found
    if places is not None:
        with opened(places) as stream:
            known, found = read_places(stream, places.name)
            problems += found
        problems += agree(rows, known, fleet.name if fleet else places.name)
    elif fleet is not None:
        known, found = places_of(rows, fleet.name)
        problems += found
    if problems:
        raise WrongUse(*problems)
    return [row.enrolled for row in rows], known


def enrol(
    ctx: typer.Context,
    tag: Annotated[str | None, typer.Argument(help="One machine's tag.")] = None,
    kind: Annotated[str, typer.Option(help="Its kind.")] = "",
    model: Annotated[str, typer.Option(help="Its model.")] = "",
    serial: Annotated[str, typer.Option(help="Its serial number.")] = "",
    place: Annotated[str, typer.Option(help="Its place.")] = "",
    commissioned: Annotated[
        str | None, typer.Option(help="From when it counts, if not now.", metavar="T")
    ] = None,
    fleet: Annotated[Path | None, typer.Option("--fleet", help="A fleet file (CSV).")] = None,
    places: Places = None,
    by: By = "",
    db: Db = None,
) -> None:
    """Add one machine, or those of a fleet file, or places."""
    url, now = asking(ctx, db).db, clock.now()
    asked = ask(url, now, lambda _: ())
    machines, known = _enrolled(fleet, places, asked.zone)
    if tag is not None:
        wrong = [*mistakes_in_name(tag, "tag", "enrol"), *mistakes_in_name(kind, "kind", "--kind")]
        if wrong:
            raise WrongUse(*wrong)
        at = now if commissioned is None else parse_day_or_instant(commissioned, asked.zone)
        one = {"kind": kind, "model": model, "serial": serial, "place": place}
        machines = [*machines, Enrolled(seq=0, machine=tag, at=at, recorded=now, **one)]
    if not machines and not known:
        remedy = "name a machine with --kind, or --fleet FILE, or --places FILE"
        raise WrongUse(Problem("enrol", "nothing to add", remedy))
    wrote = setup.enrol(url, now, machines, known, by)
    tell(f"{plural(len(wrote), 'entry', 'entries')} written")
    for machine in machines:
        print(f"{machine.machine} is enrolled; every check of it is owed.")


def _enrolled(
    fleet: Path | None, places: Path | None, zone: tzinfo
) -> tuple[Sequence[Enrolled], Sequence[PlaceKnown]]:
    if fleet is None and places is None:
        return (), ()
    return _files(fleet, places, zone)


def retire(
    ctx: typer.Context,
    machine: Machine,
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Take a machine out of the fleet for good."""
    common = Common(ctx, db, at, by, note, ref, json, what_if)
    write_one(common, machine, lambda _, fields: draft(Retired, **fields))


def upgrade(ctx: typer.Context, db: Db = None) -> None:
    """Bring an older book to this program's version, and set its guards up anew."""
    from checkwatch.store import migrate

    migrate.upgrade(asking(ctx, db).db)
    print("The book is up to date, and its guards stand.")


def verify(ctx: typer.Context, db: Db = None) -> None:
    """Walk every machine's chain of entries; exit code 1 at the first that is not as written."""
    with engine.reading(asking(ctx, db).db) as conn:
        broken = read.verify(conn)
        newest = read.newest_seq(conn)
    if broken is None:
        print(f"Every entry up to {newest} is as it was written.")
        raise typer.Exit(errors.YES)
    print(f"Entry {broken.seq} of {broken.machine or 'the book'}: {broken.why}.")
    raise typer.Exit(errors.NO)


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    for command in (begin, enrol, retire, upgrade, verify):
        app.command()(command)
