"""The commands that write one entry, or one for each of several machines."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Annotated, Any, NamedTuple

import typer

from checkwatch.answers.measured import read_measures
from checkwatch.cli.options import Asking, By, Db, Json, NoteText, WhatIf, Yes, asking, confirm
from checkwatch.cli.show import show, tell
from checkwatch.cli.spread import spread
from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.core.period import later, parse_period
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, Names, everything
from checkwatch.run.write import Written, write
from checkwatch.views import document, effect
from checkwatch.views.report import Report
from checkwatch.views.words import plural

Machine = Annotated[str, typer.Argument(help="The machine's tag.", metavar="MACHINE")]
When = Annotated[str | None, typer.Option("--at", help="When it was, if not now.", metavar="T")]
Ref = Annotated[str, typer.Option("--ref", help="Your own key for the entry.")]
Place = Annotated[str | None, typer.Option("--place", help="Every machine in a place.")]
Area = Annotated[str | None, typer.Option("--area", help="Every machine in an area.")]
Kind = Annotated[str | None, typer.Option("--kind", help="Every machine of a kind.")]
Reason = Annotated[str, typer.Option("--reason", help="Why.")]

#: Makes the draft about a machine from the fields that every draft has.
Make = Callable[[Asked, dict[str, Any]], e.Entry]


class Common(NamedTuple):
    """The options of every entry."""

    ctx: typer.Context
    db: Db = None
    at: When = None
    by: By = ""
    note: NoteText = ""
    ref: Ref = ""
    json: Json = False
    what_if: WhatIf = False

    @property
    def asking(self) -> Asking:
        """The options that may stand before the command's name, from there or from behind it."""
        return asking(self.ctx, self.db, self.at, json=self.json)

    def moment(self, asked: Asked) -> Instant | None:
        """When it was, as typed; None for now."""
        at = self.asking.at
        return None if at is None else _typed(at, asked, "--at")

    def fields(self, asked: Asked, machine: str, at: Instant | None) -> dict[str, Any]:
        """The fields that every draft has; without `at` it is of now."""
        now = asked.question.now
        return {
            "seq": 0,
            "machine": machine,
            "at": now if at is None else at,
            "recorded": now,
            "by": self.by,
            "note": self.note,
            "ref": self.ref,
        }


def _typed(text: str, asked: Asked, where: str) -> Instant:
    return typed_instant(text, asked.zone, asked.question.now, where)


def draft(make: Callable[..., e.Entry], **fields: Any) -> e.Entry:
    """An entry, or the refusal of an impossible one."""
    try:
        return make(**fields)
    except ValueError as error:
        raise WrongUse(Problem(fields["machine"], str(error), "correct the times")) from None


def write_one(common: Common, machine: str, make: Make) -> None:
    """Writes one entry about one machine, and shows what came of it."""
    wrote = write(
        common.asking.db,
        clock.now(),
        lambda names: (_tag(names, machine),),
        lambda asked: [
            make(asked, common.fields(asked, _tag(asked.names, machine), common.moment(asked)))
        ],
        common.what_if,
    )
    show_written(wrote, common)


def _tag(names: Names, machine: str) -> str:
    tag = names.resolve(machine)
    if tag not in names.tags:
        raise CannotTell(Problem(tag, "is a place", "name a machine, or use --place"))
    return tag


def show_written(wrote: Written, common: Common) -> None:
    """Shows the entries' numbers, and for each machine what they came to."""
    if common.asking.json:
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
            *effect.effect(seen, entries, wrote.asked.here, common.what_if),
        ]
    show(report, wrote.asked.banner)


def _about(wrote: Written, machine: str) -> list[e.Entry]:
    return [entry for entry in wrote.entries if entry.machine == machine]


class Several(NamedTuple):
    """Instead of one machine: all of a place, an area or a kind."""

    place: Place = None
    area: Area = None
    kind: Kind = None
    yes: Yes = False

    @property
    def meant(self) -> bool:
        """Whether any of them was given."""
        return any(one is not None for one in (self.place, self.area, self.kind))

    def tags(self, asked: Asked, at: Instant | None) -> list[str]:
        """The machines of which it was true at an instant, or is now; WrongUse for none."""
        question = asked.question if at is None else asked.question._replace(at=at)
        areas = {p.place: p.area for p in asked.book.places_known(question).values()}
        place = None if self.place is None else asked.names.resolve(self.place)
        found = [
            machine.machine
            for machine in asked.book.fleet(question)
            if place in (None, machine.log.place)
            and self.area in (None, areas.get(machine.log.place))
            and self.kind in (None, machine.log.enrolled and machine.log.enrolled.kind)
        ]
        if not found:
            raise WrongUse(Problem("", "no machine is meant", "see `checkwatch board --once`"))
        return found


def _write(common: Common, machine: str | None, several: Several, make: Make) -> None:
    """Writes an entry about one machine, or one for each of several."""
    if (machine is not None) == several.meant:
        remedy = "name one machine, or use --place, --area or --kind"
        raise WrongUse(Problem("", "which machine is meant", remedy))
    if machine is None:
        _write_several(common, several, make)
    else:
        write_one(common, machine, make)


def _write_several(common: Common, several: Several, make: Make) -> None:
    """Shows the list and asks, then writes by the clock of then.

    While somebody reads the list, no other writer waits: it is looked at once more when written.
    """

    def drafts(asked: Asked, at: Instant | None) -> list[e.Entry]:
        tags = several.tags(asked, at)
        return [make(asked, common.fields(asked, tag, at)) for tag in tags]

    def foreseen(asked: Asked) -> list[e.Entry]:
        return drafts(asked, common.moment(asked))

    url = common.asking.db
    seen = write(url, clock.now(), everything, foreseen, what_if=True)
    at = common.moment(seen.asked)
    tags = [entry.machine for entry in seen.entries]
    tell(f"{plural(len(tags), 'machine')}: {', '.join(tags)}")

    def confirmed(asked: Asked) -> list[e.Entry]:
        found = drafts(asked, at)
        if [entry.machine for entry in found] != tags:
            what = f"the list has changed: {', '.join(entry.machine for entry in found)}"
            raise WrongUse(Problem("", f"{what}; nothing was written", "run it again"))
        return found

    if not common.what_if:
        confirm(f"Write {plural(len(tags), 'entry', 'entries')}, one for each?", several.yes)
        seen = write(url, clock.now(), everything, confirmed, what_if=False)
    show_written(seen, common)


@spread()
def done(
    common: Common,
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
) -> None:
    """Write the result of a check."""
    if not all(one.strip() for one in measure or ()):
        raise WrongUse(Problem("--measure", "says nothing", "write it like leak=60"))

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        version = asked.book.versions.in_force(fields["at"])
        known = version is not None and check in version.rulebook.checks
        takes = version.rulebook.taking[check] if version and known else {}
        return draft(
            e.Result,
            **fields,
            check=check,
            outcome=outcome,
            started=None if started is None else _typed(started, asked, "--started"),
            measures=read_measures(";".join(measure or ()), takes, "--measure"),
            limits=tuple(limit or ()),
        )

    write_one(common, machine, make)


def pair(text: str, where: str) -> tuple[str, Decimal]:
    """`hours=1234.5`."""
    found = read_measures(text, {}, where)
    if len(found) != 1:
        raise WrongUse(Problem(where, "one reading at a time", "write it like hours=1234.5"))
    return found[0]


@spread()
def happened(
    several: Several,
    common: Common,
    words: Annotated[list[str], typer.Argument(help="MACHINE CODE, or CODE with --place …")],
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

    _write(common, machine, several, make)


@spread()
def fault(
    several: Several,
    common: Common,
    words: Annotated[
        list[str], typer.Argument(help="MACHINE stop-use|limit, or stop-use|limit with --place …")
    ],
) -> None:
    """Write a fault: one that forbids use, or one that limits it. The note says what is wrong."""
    severity = words[-1]
    if severity not in list(e.Severity) or len(words) > 2:
        remedy = "say stop-use or limit, after the machine"
        raise WrongUse(Problem(" ".join(words), "how bad the fault is is not said", remedy))
    machine = words[0] if len(words) == 2 else None

    def make(_: Asked, fields: dict[str, Any]) -> e.Entry:
        return draft(e.Fault, **fields, severity=e.Severity(severity))

    _write(common, machine, several, make)


@spread()
def withdraw(
    several: Several,
    common: Common,
    machine: Annotated[str | None, typer.Argument(metavar="[MACHINE]")] = None,
) -> None:
    """Take a machine out of use until it is returned."""
    _write(common, machine, several, lambda _, fields: draft(e.Withdrawn, **fields))


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
    return _typed(text, asked, "--until")
