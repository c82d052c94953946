"""Items that are fitted: fit one by its label, and ask which machines have or had a lot."""

from __future__ import annotations

import sys
from functools import cache
from typing import Annotated, Any

import typer

from checkwatch import errors
from checkwatch.answers.fitted import lot as lot_in
from checkwatch.cli.entries import Common, Machine, write_one
from checkwatch.cli.options import At, Db, Json, KnownAt, Yes, asking, confirm
from checkwatch.cli.show import show, tell
from checkwatch.cli.spread import spread
from checkwatch.core.entry import Entry, Happening
from checkwatch.core.instant import wall
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.gs1 import AS_PRINTED, LONGEST
from checkwatch.run import clock
from checkwatch.run.fitting import Typed, elsewhere, fitted_already, read_fit
from checkwatch.run.world import Asked, ask
from checkwatch.views import document
from checkwatch.views import fitted as words


class _Already(Exception):
    """The same item is on the machine already by the book; whether it is meant is to be asked."""


@spread()
def fit(
    common: Common,
    machine: Machine,
    scan: Annotated[
        str | None,
        typer.Argument(help="The item's GS1 label; - waits for a scanner.", metavar="SCAN"),
    ] = None,
    happening: Annotated[
        str, typer.Option(help="What its fitting is, if no label says so.", metavar="CODE")
    ] = "",
    lot: Annotated[str, typer.Option(help="Its lot, if no label says it.", metavar="LOT")] = "",
    serial: Annotated[
        str, typer.Option(help="Its serial number, if no label says it.", metavar="TEXT")
    ] = "",
    expiry: Annotated[
        str, typer.Option(help="The last day on which it is good: 2027-12-31.", metavar="DAY")
    ] = "",
    yes: Yes = False,
) -> None:
    """Write that an item was fitted, by its label: the happening that the rulebook ties to it.

    A label that cannot be read is refused, and so is an item that has expired. One that is on the
    machine already by the book is asked about; --yes says beforehand that it is fitted once more.
    """
    scanned = _scanned() if scan == "-" else scan
    fits: list[Happening] = []
    tells = cache(tell)  # An entry that is drafted again says nothing twice.

    def make(asked: Asked, fields: dict[str, Any]) -> Entry:
        version = asked.book.versions.in_force(fields["at"])
        assert version is not None, "a book without rules is refused before"
        rulebook = version.rulebook
        today = wall(fields["at"], rulebook.zone).date()
        typed = Typed(happening, lot, serial, expiry)
        found = read_fit(scanned, typed, rulebook, today, fields["machine"])
        entry = Happening(**fields, code=found.code, **found.says)
        tells(f"{entry.machine}: {words.item(entry, rulebook)}")
        for warning in found.warnings:
            tells(f"look: {warning}")
        stay = None if again else fitted_already(entry, asked)
        if stay is not None and not common.what_if:
            raise _Already(f"{entry.machine}: {words.already(stay, asked.here)}. Write it again?")
        if stay is not None:
            tell(f"look: {words.already(stay, asked.here)}")
        fits.append(entry)
        return entry

    again = yes
    try:
        write_one(common, machine, make)
    except _Already as already:
        # It is asked outside the transaction: while somebody reads it, no other writer waits.
        confirm(str(already), yes=False)
        again = True
        write_one(common, machine, make)
    for entry in (one for one in fits if one.serial):
        others, here = elsewhere(common.asking.db, entry, clock.now())
        if others:
            tell(f"look: {words.also_on(others, here)}")


def _scanned() -> str:
    """The line that a scanner sends, or somebody types."""
    typing = sys.stdin.isatty()
    if typing:
        print("Scan the label: ", end="", file=sys.stderr, flush=True)
    try:
        line = sys.stdin.readline(LONGEST + 2)
    except UnicodeDecodeError:
        what = "what came from standard input is no text"
        raise WrongUse(Problem("label", what, "scan it again")) from None
    if not line and typing:
        raise KeyboardInterrupt
    if not line:
        raise WrongUse(Problem("label", "nothing came from standard input", AS_PRINTED))
    return line


def lot(
    ctx: typer.Context,
    name: Annotated[str, typer.Argument(help="The lot, as the recall names it.", metavar="LOT")],
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """Which machines have or had an item of a lot, and of which the book does not know it.

    Exit code: 0 a machine has or had it, 1 none, 6 cannot tell.
    """
    if not name.strip():
        raise WrongUse(Problem("LOT", "says nothing", "type the lot as the recall names it"))
    asked_with = asking(ctx, db, at, known_at, json)
    asked = ask(asked_with.db, clock.now(), at=asked_with.at, known_at=asked_with.known_at)
    found = lot_in(name.strip(), asked.book, asked.question)
    if asked_with.json:
        print(document.to_text(document.lot(found)))
    else:
        show(words.lot(found, asked.here), asked.banner)
    if found.doubts or not (found.stays or found.certain):
        raise typer.Exit(errors.CANNOT_TELL)
    raise typer.Exit(errors.YES if found.stays else errors.NO)


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    app.command()(fit)
    app.command()(lot)
