"""Making a book and changing the fleet: begin, enrol, retire; and the care of the book's file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import tzinfo
from pathlib import Path
from typing import Annotated

import typer

from checkwatch.answers.acceptance import mistakes_in_name
from checkwatch.cli.entries import Common, Machine, Ref, When, draft, write_one
from checkwatch.cli.files import opened, text_of
from checkwatch.cli.options import By, Db, Json, NoteText, WhatIf, asking
from checkwatch.cli.rulebooks import rulebook_of
from checkwatch.cli.show import show, tell, tell_problems
from checkwatch.cli.signing import PinStdin
from checkwatch.core.entry import Enrolled, PlaceKnown, Retired
from checkwatch.core.instant import CLOCK_TOLERANCE, Instant, parse_day_or_instant
from checkwatch.core.mistake import quoted
from checkwatch.core.person import Person
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.fleet import FleetRow, read_fleet
from checkwatch.exchange.people import doubts_about, read_people
from checkwatch.exchange.places import Files, added, read_places
from checkwatch.run import clock, setup
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, ask
from checkwatch.views import effect
from checkwatch.views.words import listed, plural

Fleet = Annotated[Path, typer.Option("--fleet", help="The machines (CSV).", metavar="FILE")]
Places = Annotated[
    Path | None, typer.Option("--places", help="The places (CSV); else from the fleet file.")
]


def begin(
    ctx: typer.Context,
    rules: Annotated[Path, typer.Option("--rules", help="The rulebook (TOML).", metavar="FILE")],
    fleet: Fleet,
    places: Places = None,
    people: Annotated[
        Path | None, typer.Option("--people", help="The people (CSV); else nobody is known.")
    ] = None,
    by: By = "",
    db: Db = None,
) -> None:
    """Make the book: adopt the rulebook, enrol the fleet."""
    rulebook = rulebook_of(rules)
    files = _read(fleet, places, rulebook.zone)
    known, problems = added(files, ())
    persons, wrong = _read_people(people)
    if problems or wrong:
        raise WrongUse(*problems, *wrong)
    machines = [row.enrolled for row in files.rows]
    url = asking(ctx, db).db
    setup.begin(url, clock.now(), text_of(rules), machines, known, by, persons)
    _warn(machines, known, rulebook)
    tell_problems(doubts_about(persons, rulebook), "warning: ")
    what = f"{plural(len(machines), 'machine')} in {plural(len(known), 'place')}"
    print(f"The book is made: {what}, by the rules of {rulebook.title}.")
    if people is not None:
        print(f"It knows {plural(len(persons), 'person', 'people')}.")
    print("Every check is owed until its first result is written.")


def _read_people(path: Path | None) -> tuple[list[Person], list[Problem]]:
    if path is None:
        return [], []
    with opened(path) as stream:
        return read_people(stream, path.name)


def _read(fleet: Path | None, places: Path | None, zone: tzinfo) -> Files:
    """Both files, with every mistake in either."""
    problems: list[Problem] = []
    rows: list[FleetRow] = []
    known: list[PlaceKnown] | None = None
    if fleet is not None:
        with opened(fleet) as stream:
            rows, found = read_fleet(stream, fleet.name, zone)
            problems += found
    if places is not None:
        with opened(places) as stream:
            known, found = read_places(stream, places.name)
            problems += found
    where = next((path.name for path in (fleet, places) if path is not None), "")
    return Files(rows, known, where, problems)


def _warn(machines: Iterable[Enrolled], places: Iterable[PlaceKnown], rulebook: Rulebook) -> None:
    """Tells of what the rulebook says nothing, so that it will be unknown."""
    for kind in sorted({place.place_kind for place in places} - rulebook.place_kinds.keys()):
        tell(f"warning: the rulebook does not know the place kind {kind!r}: its places are unknown")
    ungated: dict[str, list[str]] = defaultdict(list)
    for machine in machines:
        if not _is_gated(machine, rulebook):
            ungated[machine.kind].append(machine.machine)
    for kind, tags in sorted(ungated.items()):
        are = "it is" if len(tags) == 1 else "they are"
        tell(f"warning: no gate of the rulebook applies to {listed(tags)} ({kind}): {are} unknown")


def _is_gated(machine: Enrolled, rulebook: Rulebook) -> bool:
    return any(check.gate for check in rulebook.applying(machine.kind, machine.model))


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
    yes: Annotated[bool, typer.Option("--yes", help="Also say other things of places.")] = False,
    by: By = "",
    db: Db = None,
    what_if: WhatIf = False,
) -> None:
    """Add one machine, or those of a fleet file, or places.

    What a file says otherwise of a known place is shown and refused, unless --yes is there.
    """
    url, now = asking(ctx, db).db, clock.now()
    asked = ask(url, now, lambda _: ())
    rulebook = asked.book.rulebook(asked.question)
    assert rulebook is not None, "a book without rules is refused before"
    one = []
    if tag is not None:
        wrong = [*mistakes_in_name(tag, "tag", "enrol"), *mistakes_in_name(kind, "kind", "--kind")]
        if wrong:
            raise WrongUse(*wrong)
        at = now if commissioned is None else _commissioned(commissioned, asked)
        one = [
            Enrolled(
                seq=0,
                machine=tag,
                at=at,
                recorded=now,
                kind=kind,
                model=model,
                serial=serial,
                place=place,
            )
        ]
    files = _read(fleet, places, asked.zone)
    if not (one or files.rows or files.places or files.problems):
        remedy = "name a machine with --kind, or --fleet FILE, or --places FILE"
        raise WrongUse(Problem("enrol", "nothing to add", remedy))
    wrote = setup.enrol(url, now, files, one, by, yes, what_if)
    _warn(wrote.machines, wrote.places, rulebook)
    owing = {machine.machine: _is_gated(machine, rulebook) for machine in wrote.machines}
    known = wrote.asked.names.places
    new = [place.place for place in wrote.places if place.place not in known]
    here = wrote.asked.here
    report = effect.enrolment(wrote.entries, owing, new, wrote.effects, here, what_if)
    show(report, wrote.asked.banner)


def _commissioned(text: str, asked: Asked) -> Instant:
    """From when a machine counts, as typed; WrongUse for a time that is still to come."""
    now, option = asked.question.now, "--commissioned"
    at = typed_instant(text, asked.zone, now, option, parse_day_or_instant)
    if at > now + CLOCK_TOLERANCE:
        what = f"{quoted(text)} is still to come"
        raise WrongUse(Problem(option, what, "enrol it when it has come, or name an earlier time"))
    return at


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
    pin_stdin: PinStdin = False,
) -> None:
    """Take a machine out of the fleet for good."""
    common = Common(ctx, db, at, by, note, ref, json, what_if, pin_stdin)
    write_one(common, machine, lambda _, fields: draft(Retired, **fields))


def upgrade(ctx: typer.Context, db: Db = None) -> None:
    """Bring an older book to this program's version, and set its guards up anew."""
    names = setup.upgrade(asking(ctx, db).db, clock.now())
    print("The book is up to date, and its guards stand.")
    if names:
        print(f"Its answers are made ready for {plural(names, 'name')}.")


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    for command in (begin, enrol, retire, upgrade):
        app.command()(command)
