"""The commands that write about one machine what is neither a result nor a happening."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from checkwatch.cli.entries import (
    Common,
    Machine,
    Reason,
    Ref,
    When,
    draft,
    end_of_exception,
    pair,
    show_written,
    write_one,
)
from checkwatch.cli.options import By, Db, Json, NoteText, WhatIf, asking
from checkwatch.core import entry as e
from checkwatch.errors import CannotTell, Problem
from checkwatch.run import clock
from checkwatch.run.world import Asked
from checkwatch.run.write import write_about

#: A database counts in 64 bits.
LARGEST = 2**63 - 1


def fault_closed(
    ctx: typer.Context,
    machine: Machine,
    of: Annotated[
        int | None, typer.Argument(help="The fault's entry number.", min=1, max=LARGEST)
    ] = None,
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write that a fault is over. Without its number it counts as one that forbade use."""
    common = Common(ctx, db, at, by, note, ref, json, what_if)
    write_one(common, machine, lambda _, fields: draft(e.FaultClosed, **fields, of=of))


def give_back(
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
    """Return a machine to use; its gates are owed anew."""
    common = Common(ctx, db, at, by, note, ref, json, what_if)
    write_one(common, machine, lambda _, fields: draft(e.Returned, **fields))


def exception(
    ctx: typer.Context,
    machine: Machine,
    reason: Reason,
    decided: Annotated[str, typer.Option("--decided", help="Who decided; a code.")],
    until: Annotated[str, typer.Option("--until", help="Until when, or for how long (PT2H).")],
    db: Db = None,
    at: When = None,
    by: By = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write an exception: emergency use without the check. It is no clearance, and stays owed."""

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        end = end_of_exception(until, fields["at"], asked)
        return draft(e.EmergencyUse, **fields, until=end, decided=decided)

    write_one(Common(ctx, db, at, by, reason, ref, json, what_if), machine, make)


def move(
    ctx: typer.Context,
    machine: Machine,
    place: Annotated[str, typer.Argument(help="Where it stands now.", metavar="PLACE")],
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write that a machine was moved; its gates are owed anew unless they survive that."""

    def make(asked: Asked, fields: dict[str, Any]) -> e.Entry:
        name = asked.names.resolve(place)
        if name not in asked.names.places:
            raise CannotTell(Problem(name, "is a machine", "name the place to which it moved"))
        return draft(e.Moved, **fields, place=name)

    write_one(Common(ctx, db, at, by, note, ref, json, what_if), machine, make)


def reading(
    ctx: typer.Context,
    machine: Machine,
    meter: Annotated[str, typer.Argument(help="METER=NUMBER, such as hours=1234.5.")],
    db: Db = None,
    at: When = None,
    by: By = "",
    note: NoteText = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write what a meter of the machine shows."""
    name, value = pair(meter, "METER")
    common = Common(ctx, db, at, by, note, ref, json, what_if)
    write_one(common, machine, lambda _, f: draft(e.Reading, **f, meter=name, value=value))


def note(
    ctx: typer.Context,
    machine: Machine,
    text: Annotated[str, typer.Argument(help="The words; nothing about patients.")],
    db: Db = None,
    at: When = None,
    by: By = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Write words beside a machine; they change nothing."""
    common = Common(ctx, db, at, by, text, ref, json, what_if)
    write_one(common, machine, lambda _, fields: draft(e.Note, **fields))


def strike(
    ctx: typer.Context,
    number: Annotated[
        int, typer.Argument(help="The entry's number.", metavar="N", min=1, max=LARGEST)
    ],
    reason: Reason,
    restores: Annotated[
        bool, typer.Option("--restores", help="Also take away what the entry cost.")
    ] = False,
    db: Db = None,
    by: By = "",
    ref: Ref = "",
    json: Json = False,
    what_if: WhatIf = False,
) -> None:
    """Strike an entry that was written in error. It stays readable.

    Plain, this takes away what the entry gave and never clears a machine. With --restores the
    entry counts for nothing at all, as if it had never been written.
    """
    asked_with = asking(ctx, db, json=json)
    common = Common(ctx, db, None, by, reason, ref, json, what_if)

    def make(asked: Asked, struck: e.Entry) -> e.Entry:
        fields = common.fields(asked, struck.machine)
        return draft(e.Struck, **fields, of=number, restores=restores)

    wrote = write_about(asked_with.db, clock.now(), number, make, what_if)
    show_written(wrote, asked_with.json, what_if)


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command("fault-closed")(fault_closed)
    app.command("return")(give_back)
    app.command("except")(exception)
    app.command()(move)
    app.command()(reading)
    app.command()(note)
    app.command()(strike)
