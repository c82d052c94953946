"""`people`: whom the book knows, and their PINs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from checkwatch.answers.roster import roster
from checkwatch.cli.files import opened
from checkwatch.cli.options import Db, Json, WhatIf, Yes, asking, confirm
from checkwatch.cli.show import show, tell, tell_problems
from checkwatch.cli.signing import asked as asked_unseen
from checkwatch.cli.signing import signed
from checkwatch.core.instant import wall
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.people import doubts_about, read_people
from checkwatch.run import clock, pin
from checkwatch.run import people as known
from checkwatch.run.world import ask_on
from checkwatch.store import engine
from checkwatch.store.people import everybody, with_pin
from checkwatch.views import document
from checkwatch.views import people as views
from checkwatch.views.words import harmless


def people(
    ctx: typer.Context,
    words: Annotated[
        list[str] | None,
        typer.Argument(help="A people file (CSV), or pin CODE.", metavar="[FILE|pin CODE]"),
    ] = None,
    erase: Annotated[
        str | None, typer.Option("--erase", help="Take somebody out.", metavar="CODE")
    ] = None,
    yes: Yes = False,
    what_if: WhatIf = False,
    json: Json = False,
    db: Db = None,
) -> None:
    """Whom the book knows, their roles and training; take in a people file, set a PIN.

    With FILE: adds its people, or says otherwise of those whom the book knows, and shows first
    whom. Nobody is taken out because a file lacks them: --erase does that, name, roles and PIN.
    The code stays in the entries.

    With pin CODE: sets their PIN, which is typed unseen, twice. Whoever has one types that first.
    Without a terminal the lines of standard input are read: the old one, if there is one, the new.
    """
    given = asking(ctx, db, json=json)
    named = words or []
    is_pin = named[:1] == ["pin"]
    if given.json and (named or erase is not None):
        raise WrongUse(Problem("--json", "goes with the list of people only", "leave it out"))
    if what_if and (is_pin or not (named or erase is not None)):
        raise WrongUse(Problem("--what-if", "goes with FILE and --erase only", "leave it out"))
    if erase is not None and not named:
        _erase(given.db, erase, yes, what_if)
    elif is_pin and erase is None:
        _set_pin(given.db, named[1:])
    elif len(named) == 1 and erase is None:
        _take_in(given.db, Path(named[0]), yes, what_if)
    elif named:
        what = "takes one file, or pin and one code, or --erase"
        raise WrongUse(Problem("people", what, "see `checkwatch people --help`"))
    else:
        _list(given.db, given.json)


def _list(url: str, as_json: bool) -> None:
    with engine.reading(url) as conn:
        asked = ask_on(conn, clock.now(), lambda _: ())
        rulebook = asked.book.rulebook(asked.question)
        assert rulebook is not None, "a book without rules is refused before"
        today = wall(asked.question.now, rulebook.zone).date()
        found = roster(everybody(conn), with_pin(conn), rulebook, today)
    if as_json:
        print(document.to_text(views.document(found)))
    else:
        show(views.roster(found), asked.banner)


def _take_in(url: str, file: Path, yes: bool, what_if: bool) -> None:
    with opened(file) as stream:
        told, problems = read_people(stream, file.name)
    if problems:
        raise WrongUse(*problems)
    with engine.reading(url) as conn:
        rulebook = ask_on(conn, clock.now(), lambda _: ()).book.versions.adopted[-1].rulebook
        there = everybody(conn)
    tell_problems(doubts_about(told, rulebook), "warning: ")
    found = known.changes(there, told)
    in_file = {person.code for person in told}
    others = sorted(person.code for person in there if person.code not in in_file)
    show(views.changes(found, others, what_if))
    if what_if or all(change.before == change.after for change in found):
        return
    confirm("Take that in?", yes)
    known.take_in(url, told)
    tell("the people are known")


def _erase(url: str, code: str, yes: bool, what_if: bool) -> None:
    with engine.reading(url) as conn:
        person = known.known_person(everybody(conn), code)
    called = f"{person.code} ({harmless(person.name, 60)})" if person.name else person.code
    if what_if:
        print(f"Nothing is written; if it were: {called} would not be known any more.")
        return
    tell(f"{called}: name, roles, training and PIN go; the code stays in the entries")
    confirm("Erase that?", yes)
    known.erase(url, person.code)
    print(f"The book does not know {person.code} any more. Backups made before still do.")


def _set_pin(url: str, words: list[str]) -> None:
    if len(words) != 1:
        raise WrongUse(Problem("pin", "whose PIN is not said", "write it like people pin EB"))
    (code,) = words
    has_one = pin.has_pin(url, code)
    signature = signed(url, code, "The PIN until now: ") if has_one else None
    new = _chosen()
    pin.set_pin(url, code, new, signature)
    print(f"The PIN of {code} is set.")


def _chosen() -> str:
    """A new PIN. At a terminal it is asked for again where it is none: whoever types the next one
    must not type it in clear, at a command that has ended."""
    while True:
        try:
            return _typed_twice()
        except WrongUse as refusal:
            if not sys.stdin.isatty():
                raise
            tell_problems(refusal.problems)


def _typed_twice() -> str:
    new = asked_unseen("The new PIN: ")
    pin.refuse_pin(new)
    # Without a terminal nobody mistypes what they do not see.
    if sys.stdin.isatty() and asked_unseen("The same again: ") != new:
        raise WrongUse(Problem("PIN", "the two are not the same", "type it twice alike"))
    return new


def add_to(app: typer.Typer) -> None:
    """Adds the command under its name."""
    app.command()(people)
