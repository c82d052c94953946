"""The questions: cleared, why, which, overdue, windows, board."""

from __future__ import annotations

from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.cleared import Cleared
from checkwatch.answers.cleared import cleared as is_cleared
from checkwatch.answers.overdue import overdue as what_is_overdue
from checkwatch.answers.which import which as which_are
from checkwatch.answers.windows import windows as windows_of
from checkwatch.cli.options import Asking, At, Db, Json, KnownAt, Span, asking
from checkwatch.cli.quick import CODES, from_outlook
from checkwatch.cli.show import show
from checkwatch.core.instant import Instant
from checkwatch.core.period import later, parse_period
from checkwatch.errors import CannotTell, Problem
from checkwatch.rules.words import rule_in_words
from checkwatch.run import clock
from checkwatch.run.world import Asked, Concerns, ask, everything
from checkwatch.views import answer, document, lists
from checkwatch.views import why as reasoning

What = Annotated[str, typer.Argument(help="A machine's tag or a place.", metavar="WHAT")]


def _ask(asked_with: Asking, concerns: Concerns = everything) -> Asked:
    return ask(asked_with.db, clock.now(), concerns, asked_with.at, asked_with.known_at)


def _span(text: str | None, asked: Asked, name: str) -> Instant | None:
    """The end of a time from the question's instant on."""
    if text is None:
        return None
    period = parse_period(text, name)
    if not period:
        raise errors.WrongUse(Problem(name, "no time at all", "write a duration like PT8H"))
    return later(asked.question.at, period, asked.zone)


def _answer(what: str, asked_with: Asking, span: str | None) -> tuple[Cleared, Asked]:
    asked = _ask(asked_with, lambda names: names.concerned(names.resolve(what)))
    name = asked.names.resolve(what)
    end = _span(span, asked, "--for")
    return is_cleared(name, asked.book, asked.question, end), asked


def cleared(
    ctx: typer.Context,
    what: What,
    span: Span = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """Is this machine or place cleared, until when, which limits, what would clear it?

    Exit code: 0 yes, 4 with limits, 5 in use by exception, 1 no, 6 cannot tell.
    """
    asked_with = asking(ctx, db, at, known_at, json)
    if asked_with == Asking(asked_with.db) and span is None:
        code = from_outlook(what, asked_with.db)
        if code is not None:
            raise typer.Exit(code)
    found, asked = _answer(what, asked_with, span)
    if asked_with.json:
        print(document.to_text(document.cleared(found)))
    else:
        show(answer.cleared(found, asked.here), asked.banner)
    raise typer.Exit(CODES[found.decides])


def why(
    ctx: typer.Context,
    what: What,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """The reasoning: each check, its state, the entry or clause behind it, the rule in force."""
    asked_with = asking(ctx, db, at, known_at, json)
    found, asked = _answer(what, asked_with, None)
    if asked_with.json:
        print(document.to_text(document.cleared(found)))
    else:
        rulebook = asked.book.rulebook(asked.question)
        checks = rulebook.checks.values() if rulebook else ()
        sayings = {check.code: rule_in_words(check, rulebook) for check in checks if rulebook}
        show(reasoning.why(found, sayings, asked.here), asked.banner)
    raise typer.Exit(CODES[found.decides])


def which(
    ctx: typer.Context,
    kind: Annotated[str | None, typer.Option("--kind", help="Machines of this kind.")] = None,
    span: Span = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """Which places, or machines of a kind, are cleared; then those nearest to it.

    Exit code: 0 if any is cleared, else 1.
    """
    asked_with = asking(ctx, db, at, known_at, json)
    asked = _ask(asked_with)
    if kind is not None:
        _refuse_unknown_kind(kind, asked)
    end = _span(span, asked, "--for")
    found = which_are(asked.book, asked.question, kind, end)
    if asked_with.json:
        print(document.to_text(document.which(found)))
    else:
        show(lists.which(found, asked.here), asked.banner)
    if asked.book.doubts:
        raise typer.Exit(errors.CANNOT_TELL)
    raise typer.Exit(errors.YES if found.any_yes else errors.NO)


def _refuse_unknown_kind(kind: str, asked: Asked) -> None:
    fleet = asked.book.fleet(asked.question)
    kinds = sorted({machine.log.enrolled.kind for machine in fleet if machine.log.enrolled})
    if kind not in kinds:
        remedy = f"the fleet has: {', '.join(kinds) or 'nothing'}"
        raise CannotTell(Problem("--kind", f"there is no {kind!r} in the fleet", remedy))


def overdue(
    ctx: typer.Context,
    within: Annotated[
        str | None, typer.Option("--within", help="Also what will be owed in a time.", metavar="D")
    ] = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """What is overdue, or will be within a time.

    Exit code: 0 nothing, 1 something is overdue or unknown.
    """
    asked_with = asking(ctx, db, at, known_at, json)
    asked = _ask(asked_with)
    found = what_is_overdue(asked.book, asked.question, _span(within, asked, "--within"))
    if asked_with.json:
        print(document.to_text(document.overdue(found)))
    else:
        show(lists.overdue(found, asked.here), asked.banner)
    if found.doubts:
        raise typer.Exit(errors.CANNOT_TELL)
    raise typer.Exit(errors.YES if found.nothing else errors.NO)


def windows(
    ctx: typer.Context,
    machine: Annotated[str, typer.Argument(help="A machine's tag.", metavar="MACHINE")],
    check: Annotated[str | None, typer.Option("--check", help="Only this check's.")] = None,
    db: Db = None,
    at: At = None,
    known_at: KnownAt = None,
    json: Json = False,
) -> None:
    """Every window of a machine's checks: from when, until when, and what ended it."""
    asked_with = asking(ctx, db, at, known_at, json)
    asked = _ask(asked_with, lambda names: names.concerned(names.resolve(machine)))
    tag = asked.names.resolve(machine)
    if tag not in asked.names.tags:
        raise CannotTell(Problem(tag, "is a place", "ask for one of its machines"))
    rulebook = asked.book.rulebook(asked.question)
    if check is not None and (rulebook is None or check not in rulebook.checks):
        known = ", ".join(rulebook.checks) if rulebook else "none"
        raise errors.WrongUse(Problem("--check", f"no check {check!r}", f"there are: {known}"))
    found = windows_of(tag, asked.book, asked.question, check)
    if asked_with.json:
        print(document.to_text(document.windows(found)))
    else:
        show(lists.windows(found, asked.here), asked.banner)
    raise typer.Exit(errors.CANNOT_TELL if found.doubts else errors.YES)


def add_to(app: typer.Typer) -> None:
    """Adds the commands under their names."""
    for question in (cleared, why, which, overdue, windows):
        app.command()(question)
