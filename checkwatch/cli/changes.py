"""The commands that write about one machine what is neither a result nor a happening."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Annotated, Any

import typer

from checkwatch.answers.wrong_machine import about
from checkwatch.cli.entries import (
    Common,
    Machine,
    Reason,
    draft,
    end_of_exception,
    pair,
    show_written,
    write_all,
    write_one,
)
from checkwatch.cli.signing import signing
from checkwatch.cli.spread import spread
from checkwatch.core import entry as e
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.run import clock
from checkwatch.run.pin import Signature
from checkwatch.run.world import Asked, Names
from checkwatch.run.write import Written, write_about

#: A database counts in 64 bits.
LARGEST = 2**63 - 1


@spread()
def fault_closed(
    common: Common,
    machine: Machine,
    of: Annotated[
        int | None,
        typer.Argument(help="The fault's entry number.", min=1, max=LARGEST, metavar="[N]"),
    ] = None,
    *,
    how: Annotated[e.Closing, typer.Option(help="How it came to its end.")],
    limit: Annotated[
        str, typer.Option(help="With accepted: what the clinician must know.", metavar="TEXT")
    ] = "",
) -> None:
    """Write that a fault is over. Without its number, if none is open, as one that forbade use.

    A fault that is accepted stays, with a limit: the closing and the limit, which is a fault of its
    own, are both written, or none.
    """
    limit = limit.strip()
    accepted = how is e.Closing.ACCEPTED
    if accepted and not limit:
        what = "a fault that is accepted limits the machine"
        raise WrongUse(Problem("--limit", what, "say what the clinician must know"))
    if limit and not accepted:
        raise WrongUse(Problem("--limit", "goes with --how accepted only", "leave it out"))
    if accepted and of is None:
        remedy = "add its number; see `checkwatch open`"
        raise WrongUse(Problem("--how", "which fault is accepted is not said", remedy))

    def make(_: Asked, fields: dict[str, Any]) -> list[e.Entry]:
        closing = draft(e.FaultClosed, **fields, of=of, how=how)
        if not accepted:
            return [closing]
        fields = {**fields, "ref": "", "note": limit}
        return [closing, draft(e.Fault, **fields, severity=e.Severity.LIMIT)]

    write_all(common, machine, make)


@spread()
def give_back(common: Common, machine: Machine) -> None:
    """Return a machine to use; its gates are owed anew."""
    write_one(common, machine, lambda _, fields: draft(e.Returned, **fields))


@spread(without=("note",))
def exception(
    common: Common,
    machine: Machine,
    reason: Reason,
    decided: Annotated[str, typer.Option("--decided", help="Who decided; a code.", metavar="WHO")],
    until: Annotated[
        str,
        typer.Option("--until", help="Until when, or for how long.", metavar="PT2H"),
    ],
) -> None:
    """Write an exception: emergency use without the check. It is no clearance, and stays owed.

    One that excuses nothing is written all the same, and says why.
    """

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        end = end_of_exception(until, fields["at"], asked)
        if end <= fields["at"] and re.fullmatch(r"\d\d?:\d\d(:\d\d)?", until):
            what = f"{until} of today is not after its beginning"
            raise WrongUse(Problem("--until", what, f'say --until "tomorrow {until}"'))
        return draft(e.EmergencyUse, **fields, until=end, decided=decided)

    write_one(common._replace(note=reason), machine, make)


@spread()
def move(
    common: Common,
    machine: Machine,
    place: Annotated[str, typer.Argument(help="Where it stands now.", metavar="PLACE")],
) -> None:
    """Write that a machine was moved; its gates are owed anew unless they survive that."""

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        name = asked.names.resolve(place)
        if name not in asked.names.places:
            raise CannotTell(Problem(name, "is a machine", "name the place to which it moved"))
        return draft(e.Moved, **fields, place=name)

    write_one(common, machine, make)


@spread()
def reading(
    common: Common,
    machine: Machine,
    meter: Annotated[str, typer.Argument(help="Such as hours=1234.5.", metavar="METER=NUMBER")],
) -> None:
    """Write what a meter of the machine shows."""
    name, value = pair(meter, "METER")
    write_one(common, machine, lambda _, f: draft(e.Reading, **f, meter=name, value=value))


@spread(without=("note",))
def note(
    common: Common,
    machine: Machine,
    text: Annotated[str, typer.Argument(help="The words; nothing about patients.", metavar="TEXT")],
) -> None:
    """Write words beside a machine; they change nothing."""
    write_one(common._replace(note=text), machine, lambda _, fields: draft(e.Note, **fields))


@spread(without=("at", "note"))
def strike(
    common: Common,
    number: Annotated[
        int, typer.Argument(help="The entry's number.", metavar="N", min=1, max=LARGEST)
    ],
    reason: Reason,
    restores: Annotated[
        bool, typer.Option("--restores", help="Also take away what the entry cost.")
    ] = False,
    was: Annotated[
        str | None,
        typer.Option("--was", help="The machine that it belongs to.", metavar="MACHINE"),
    ] = None,
) -> None:
    """Strike an entry that was written in error. It stays readable.

    The first line says which entry that is; look at it with --what-if. Plain, this takes away what
    the entry gave and never clears a machine. With --restores the entry counts for nothing at all,
    as if it had never been written.

    With --was it is also written about the machine that was meant, as of its own time: both
    entries, or none.
    """

    def make(asked: Asked, struck: e.Entry) -> list[e.Entry]:
        # Its own log tells where it went; the other machine's, whence it came.
        note = reason if was is None else f"{reason}; said of {asked.tag(was)} instead"
        fields = common._replace(note=note).fields(asked, struck.machine, None)
        striking = draft(e.Struck, **fields, of=number, restores=restores)
        if was is None:
            return [striking]
        known = asked.book.entries[struck.machine]
        return [striking, about(asked.tag(was), struck, known, common.by, fields["recorded"])]

    def also(names: Names) -> Iterable[str]:
        return () if was is None else names.meant(was)

    def act(signature: Signature | None) -> Written:
        url = common.asking.db
        return write_about(url, clock.now(), number, make, common.what_if, signature, also)

    show_written(signing(common.asking.db, common.pin_stdin, act), common)


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command("fault-closed")(fault_closed)
    app.command("return")(give_back)
    app.command("except")(exception)
    app.command()(move)
    app.command()(reading)
    app.command()(note)
    app.command()(strike)
