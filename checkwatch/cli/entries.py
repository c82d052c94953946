"""The commands that write one entry, or one for each of several machines."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Annotated, Any, NamedTuple

import typer

from checkwatch.answers.acceptance import measures_taken
from checkwatch.cli.options import By, Db, Json, NoteText, WhatIf, Yes, asking, confirm
from checkwatch.cli.show import show, tell
from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.core.period import later, parse_period
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.exchange.measured import read_measures
from checkwatch.run import clock
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, Names
from checkwatch.run.write import Written, write
from checkwatch.views import document, effect
from checkwatch.views.report import Report

Machine = Annotated[str, typer.Argument(help="The machine's tag.", metavar="MACHINE")]
When = Annotated[str | None, typer.Option("--at", help="When it was, if not now.", metavar="T")]
Ref = Annotated[str, typer.Option("--ref", help="Your own key for the entry.")]
Place = Annotated[str | None, typer.Option("--place", help="Every machine in a place.")]
Area = Annotated[str | None, typer.Option("--area", help="Every machine in an area.")]
Kind = Annotated[str | None, typer.Option("--kind", help="Every machine of a kind.")]
Reason = Annotated[str, typer.Option("--reason", help="Why.")]


class Common(NamedTuple):
    """What every writing command takes."""

    ctx: typer.Context
    db: str | None
    at: str | None
    by: str
    note: str
    ref: str
    json: bool
    what_if: bool

    def fields(self, asked: Asked, machine: str) -> dict[str, Any]:
        """The fields that every draft has."""
        now = asked.question.now
        at = typed_instant(self.at, asked.zone, now, "--at") if self.at else now
        return {
            "seq": 0,
            "machine": machine,
            "at": at,
            "recorded": now,
            "by": self.by,
            "note": self.note,
            "ref": self.ref,
        }


def draft(make: Callable[..., e.Entry], **fields: Any) -> e.Entry:
    """An entry, or the refusal of an impossible one."""
    try:
        return make(**fields)
    except ValueError as error:
        raise WrongUse(Problem(fields["machine"], str(error), "correct the times")) from None


def write_one(
    common: Common, machine: str, make: Callable[[Asked, dict[str, Any]], e.Entry]
) -> None:
    """Writes one entry about one machine, and shows what came of it."""
    asked_with = asking(common.ctx, common.db, json=common.json)
    wrote = write(
        asked_with.db,
        clock.now(),
        lambda names: (_tag(names, machine),),
        lambda asked: [make(asked, common.fields(asked, _tag(asked.names, machine)))],
        common.what_if,
    )
    show_written(wrote, asked_with.json, common.what_if)


def _tag(names: Names, machine: str) -> str:
    tag = names.resolve(machine)
    if tag not in names.tags:
        raise CannotTell(Problem(tag, "is a place", "name a machine, or use --place"))
    return tag


def show_written(wrote: Written, as_json: bool, what_if: bool) -> None:
    """Shows the entries' numbers, and for each machine what they came to."""
    if as_json:
        documents = [
            document.effect(seen, _about(wrote, seen.after.machine)) for seen in wrote.effects
        ]
        print(document.to_text(documents[0] if len(documents) == 1 else documents))
        return
    report: Report = []
    for seen in wrote.effects:
        entries = _about(wrote, seen.after.machine)
        report += [
            *([""] if report else []),
            *effect.effect(seen, entries, wrote.asked.here, what_if),
        ]
    show(report, wrote.asked.title)


def _about(wrote: Written, machine: str) -> list[e.Entry]:
    return [entry for entry in wrote.entries if entry.machine == machine]


class Several(NamedTuple):
    """Which machines an entry is written about: one, or all of a place, an area or a kind."""

    machine: str | None
    place: str | None
    area: str | None
    kind: str | None

    @property
    def is_one(self) -> bool:
        """Whether a single machine was named."""
        return self.machine is not None

    def tags(self, asked: Asked) -> list[str]:
        """The machines in order; WrongUse for none."""
        if self.machine is not None:
            return [_tag(asked.names, self.machine)]
        places = asked.names.places
        place = asked.names.resolve(self.place) if self.place else None
        found = [
            machine.machine
            for machine in asked.book.fleet(asked.question)
            if machine.log.enrolled
            and (place is None or machine.log.place == place)
            and (self.kind is None or machine.log.enrolled.kind == self.kind)
            and (
                self.area is None
                or (machine.log.place in places and places[machine.log.place].area == self.area)
            )
        ]
        if not found:
            raise WrongUse(Problem("", "no machine is meant", "see `checkwatch board --once`"))
        return found


def _write_several(
    common: Common,
    several: Several,
    yes: bool,
    make: Callable[[Asked, dict[str, Any]], e.Entry],
) -> None:
    if several.is_one == any((several.place, several.area, several.kind)):
        remedy = "name one machine, or use --place, --area or --kind"
        raise WrongUse(Problem("", "which machine is meant", remedy))

    def drafts(asked: Asked) -> list[e.Entry]:
        tags = several.tags(asked)
        if not several.is_one:
            tell(f"{len(tags)} machines: {', '.join(tags)}")
        if not several.is_one and not common.what_if:
            confirm(f"Write one entry for each of these {len(tags)} machines?", yes)
        return [make(asked, common.fields(asked, tag)) for tag in tags]

    asked_with = asking(common.ctx, common.db, json=common.json)
    name = several.machine
    wrote = write(
        asked_with.db,
        clock.now(),
        lambda names: None if name is None else (_tag(names, name),),
        drafts,
        common.what_if,
    )
    show_written(wrote, asked_with.json, common.what_if)


def done(
    ctx: typer.Context,
    machine: Machine,
    check: Annotated[str, typer.Argument(help="The check's code.", metavar="CHECK")],
    outcome: Annotated[e.Outcome, typer.Argument(help="What it came to.")],
    started: Annotated[str | None, typer.Option(help="When it began.", metavar="T")] = None,
    measure: Annotated[
        list[str] | None, typer.Option(help="CODE=NUMBER; again for each.", metavar="CODE=NUMBER")
    ] = None,
    limit: Annotated[
        list[str] | None, typer.Option(help="What the clinician must know; again for each.")
    ] = None,
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write the result of a check."""

    if not all(one.strip() for one in measure or ()):
        raise WrongUse(Problem("--measure", "says nothing", "write it like leak=60"))

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        version = asked.book.versions.in_force(fields["at"])
        known = version is not None and check in version.rulebook.checks
        takes = measures_taken(version.rulebook, check) if version and known else {}
        return draft(
            e.Result,
            **fields,
            check=check,
            outcome=outcome,
            started=typed_instant(started, asked.zone, asked.question.now, "--started")
            if started
            else None,
            measures=read_measures(";".join(measure or ()), takes, "--measure"),
            limits=tuple(limit or ()),
        )

    write_one(Common(ctx, db, at, by, note, ref, json, what_if), machine, make)


def pair(text: str, where: str) -> tuple[str, Decimal]:
    """`hours=1234.5`."""
    found = read_measures(text, {}, where)
    if len(found) != 1:
        raise WrongUse(Problem(where, "one reading at a time", "write it like hours=1234.5"))
    return found[0]


def happened(
    ctx: typer.Context,
    words: Annotated[list[str], typer.Argument(help="MACHINE CODE, or CODE with --place …")],
    place: Place = None,
    area: Area = None,
    kind: Kind = None,
    yes: Yes = False,
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write that something happened to a machine: a code of the rulebook, case-start, case-end."""
    if len(words) > 2:
        raise WrongUse(Problem(" ".join(words[2:]), "too many words", "MACHINE and CODE"))
    machine, code = (words[0], words[1]) if len(words) == 2 else (None, words[0])
    plain: dict[str, type[e.Entry]] = {"case-start": e.CaseStart, "case-end": e.CaseEnd}

    def make(_: Asked, fields: dict[str, Any]) -> e.Entry:
        if code in plain:
            return draft(plain[code], **fields)
        if code in e.RESERVED:
            remedy = "it has a command of its own; see `checkwatch --help`"
            raise WrongUse(Problem(code, "is no happening", remedy))
        return draft(e.Happening, **fields, code=code)

    common = Common(ctx, db, at, by, note, ref, json, what_if)
    _write_several(common, Several(machine, place, area, kind), yes, make)


def fault(
    ctx: typer.Context,
    words: Annotated[
        list[str], typer.Argument(help="MACHINE stop-use|limit, or stop-use|limit with --place …")
    ],
    place: Place = None,
    area: Area = None,
    kind: Kind = None,
    yes: Yes = False,
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write a fault: one that forbids use, or one that limits it. The note says what is wrong."""
    severity = words[-1]
    if severity not in list(e.Severity) or len(words) > 2:
        remedy = "say stop-use or limit, after the machine"
        raise WrongUse(Problem(" ".join(words), "how bad the fault is is not said", remedy))
    machine = words[0] if len(words) == 2 else None

    def make(_: Asked, fields: dict[str, Any]) -> e.Entry:
        return draft(e.Fault, **fields, severity=e.Severity(severity))

    common = Common(ctx, db, at, by, note, ref, json, what_if)
    _write_several(common, Several(machine, place, area, kind), yes, make)


def withdraw(
    ctx: typer.Context,
    machine: Annotated[str | None, typer.Argument(metavar="[MACHINE]")] = None,
    place: Place = None,
    area: Area = None,
    kind: Kind = None,
    yes: Yes = False,
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Take a machine out of use until it is returned."""
    common = Common(ctx, db, at, by, note, ref, json, what_if)
    several = Several(machine, place, area, kind)
    _write_several(common, several, yes, lambda _, fields: draft(e.Withdrawn, **fields))


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(done)
    app.command()(happened)
    app.command()(fault)
    app.command()(withdraw)


def end_of_exception(text: str, at: Instant, asked: Asked) -> Instant:
    """`--until` as an instant, or as a duration from the exception's beginning."""
    if text.startswith("P"):
        return later(at, parse_period(text, "--until"), asked.zone)
    return typed_instant(text, asked.zone, asked.question.now, "--until")
