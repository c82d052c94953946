"""Writing an entry about one machine: what its commands share, and the result of a check."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Annotated, Any, NamedTuple

import typer

from checkwatch.answers.machine_clock import clock_offset
from checkwatch.answers.measured import read_measures
from checkwatch.answers.under_way import begun as begun_in
from checkwatch.cli.options import Asking, By, Db, Json, NoteText, WhatIf, asking
from checkwatch.cli.show import show, tell
from checkwatch.cli.signing import PinStdin, signing
from checkwatch.cli.spread import spread
from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.core.period import later, parse_period
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.pin import Signature
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked
from checkwatch.run.write import Written, write
from checkwatch.views import document, effect
from checkwatch.views.words import begun as begun_words

Machine = Annotated[str, typer.Argument(help="The machine's tag.", metavar="MACHINE")]
When = Annotated[str | None, typer.Option("--at", help="When it was, if not now.", metavar="T")]
Ref = Annotated[str, typer.Option("--ref", help="Your own key for the entry.")]


def _said(reason: str) -> str:
    if not reason.strip():
        raise WrongUse(Problem("--reason", "says nothing", "say why"))
    return reason


Reason = Annotated[str, typer.Option("--reason", help="Why.", metavar="WHY", callback=_said)]

MachineClock = Annotated[
    str | None,
    typer.Option("--machine-clock", help="What the machine's own clock showed then.", metavar="T"),
]

#: Makes the draft about a machine from the fields that every draft has.
Make = Callable[[Asked, dict[str, Any]], e.Entry]

#: The same where one act is several entries, in their order.
MakeAll = Callable[[Asked, dict[str, Any]], list[e.Entry]]


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
    pin_stdin: PinStdin = False

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
    write_all(common, machine, lambda asked, fields: [make(asked, fields)])


def write_all(common: Common, machine: str, make: MakeAll, instead: str = "") -> None:
    """As `write_one`, of what is several entries: all of them, or none.

    `instead` is the remedy for who names a place, where there is one beside naming a machine.
    """

    def made(asked: Asked) -> list[e.Entry]:
        fields = common.fields(asked, asked.tag(machine, instead), common.moment(asked))
        return make(asked, fields)

    def act(signature: Signature | None) -> Written:
        url = common.asking.db
        return write(
            url,
            clock.now(),
            lambda names: names.meant(machine),
            made,
            common.what_if,
            signature,
        )

    show_written(signing(common.asking.db, common.pin_stdin, act), common)


def compared(shown: str | None, asked: Asked, fields: dict[str, Any]) -> dict[str, Any]:
    """The fields, with by how much the machine's clock was ahead where somebody read it."""
    if shown is None:
        return fields
    ahead = clock_offset(shown, fields["at"], asked.zone, "--machine-clock")
    return {**fields, "clock_offset": ahead}


def show_written(wrote: Written, common: Common) -> None:
    """Shows the entries' numbers, for each machine what they came to, and then the places."""
    if common.asking.json:
        documents = [
            document.effect(seen, entries, wrote.places) for seen, entries in wrote.by_machine
        ]
        print(document.to_text(documents[0] if len(documents) == 1 else documents))
        return
    here = wrote.asked.here
    show(effect.effects(wrote.by_machine, wrote.places, here, common.what_if), wrote.asked.banner)


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
    machine_clock: MachineClock = None,
) -> None:
    """Write the result of a check.

    Without --started it began when it was written as begun, if that is the newest that the book
    knows of the check.
    """
    if not all(one.strip() for one in measure or ()):
        raise WrongUse(Problem("--measure", "says nothing", "write it like leak=60"))

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        version = asked.book.versions.in_force(fields["at"])
        known = version is not None and check in version.rulebook.checks
        takes = version.rulebook.taking[check] if version and known else {}
        return draft(
            e.Result,
            **compared(machine_clock, asked, fields),
            check=check,
            outcome=outcome,
            started=began(asked, fields),
            measures=read_measures(";".join(measure or ()), takes, "--measure"),
            limits=tuple(limit or ()),
        )

    def began(asked: Asked, fields: dict[str, Any]) -> Instant | None:
        if started is not None:
            return _typed(started, asked, "--started")
        if outcome is e.Outcome.BEGUN:
            return None
        begin = begun(asked, fields, check)
        if begin is None:
            return None
        tell(f"{begun_words(begin, asked.here)}; say --started if that was another test")
        return begin.at

    write_one(common, machine, make)


def begun(asked: Asked, fields: dict[str, Any], check: str) -> e.Result | None:
    """The entry with which the test began whose result is written, if that stands in the book."""
    question = asked.question._replace(at=fields["at"])
    return begun_in(fields["machine"], check, asked.book, question)


def pair(text: str, where: str) -> tuple[str, Decimal]:
    """`hours=1234.5`."""
    found = read_measures(text, {}, where)
    if len(found) != 1:
        raise WrongUse(Problem(where, "one reading at a time", "write it like hours=1234.5"))
    return found[0]


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(done)


def end_of_exception(text: str, at: Instant, asked: Asked) -> Instant:
    """`--until` as an instant, or as a duration from the exception's beginning."""
    if text.startswith("P"):
        return later(at, parse_period(text, "--until"), asked.zone)
    return _typed(text, asked, "--until")
