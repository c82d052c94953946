"""`rules`: find mistakes, run the worked cases, adopt a version, print it in words."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.adoption import Course
from checkwatch.cli.files import text_of
from checkwatch.cli.options import By, Db, Yes, asking, confirm, refuse_untaken
from checkwatch.cli.show import show, tell, tell_problems
from checkwatch.cli.signing import PinStdin, signing
from checkwatch.core.entry import Entry
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.cases import read_cases
from checkwatch.rules.read import read
from checkwatch.rules.run_cases import run_case
from checkwatch.rules.words import in_words
from checkwatch.run import clock
from checkwatch.run.adopt import adopt as write_adoption
from checkwatch.run.adopt import preview, refuse_adopter, rules_of
from checkwatch.run.pin import Signature
from checkwatch.views import adoption
from checkwatch.views.words import Here, plural

rules = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

File = Annotated[Path, typer.Argument(help="A rulebook (TOML).", metavar="FILE")]


@rules.callback()
def before(ctx: typer.Context) -> None:
    """Find mistakes in a rulebook, run its worked cases, adopt it, print it in words."""
    refuse_untaken(ctx)


def rulebook_of(path: Path, adopting: bool = True) -> Rulebook:
    """The rulebook of a file; its warnings are told, its mistakes refuse it.

    One that is only looked at (not `adopting`) may be an old one, with a check whose time is over.
    """
    reading = read(text_of(path), path.name, clock.now() if adopting else None)
    tell_problems(reading.warnings, "warning: ")
    if reading.rulebook is None:
        raise WrongUse(*reading.mistakes)
    return reading.rulebook


@rules.command()
def check(file: File) -> None:
    """Find every mistake of a rulebook, and what is allowed but seldom meant."""
    rulebook = rulebook_of(file)
    kinds = plural(len(rulebook.place_kinds), "place kind")
    print(f"{file.name} has no mistakes: {plural(len(rulebook.checks), 'check')}, {kinds}.")


@rules.command()
def cases(
    file: File,
    given: Annotated[
        Path | None,
        typer.Option("--cases", help="The cases, if not RULES.cases.toml beside it."),
    ] = None,
) -> None:
    """Run the worked cases that stand beside a rulebook; exit code 1 if one differs."""
    path = given or file.with_suffix(".cases.toml")
    rulebook = rulebook_of(file, adopting=False)
    found, problems = read_cases(text_of(path), path.name, rulebook)
    if problems:
        raise WrongUse(*problems)
    failed = 0
    for case in found:
        differences = run_case(case, rulebook)
        failed += bool(differences)
        print(f"{'differs' if differences else 'agrees '}  {case.name}")
        for difference in differences:
            print(f"{difference}\n")
    print(f"{plural(len(found), 'case')}: {len(found) - failed} agree, {failed} differ.")
    raise typer.Exit(errors.NO if failed else errors.YES)


@rules.command("show")
def show_rules(
    ctx: typer.Context,
    file: Annotated[Path | None, typer.Argument(help="A rulebook; else the one in force.")] = None,
    db: Db = None,
) -> None:
    """Print a rulebook as plain sentences that a clinician can check."""
    if file is not None:
        print(in_words(rulebook_of(file, adopting=False)))
        return
    asked, known = rules_of(asking(ctx, db).db, clock.now())
    rulebook = asked.book.rulebook(asked.question)
    assert rulebook is not None, "a book without rules is refused before"
    show([*adoption.in_force(known, asked.here), ""], asked.banner)
    print(in_words(rulebook))
    _tell_of(known, asked.here)


@rules.command()
def adopt(
    ctx: typer.Context,
    file: File,
    start: Annotated[
        str | None, typer.Option("--from", help="From when it judges, if not now.", metavar="T")
    ] = None,
    by: By = "",
    why: Annotated[str, typer.Option("--why", help="Why it is adopted.")] = "",
    yes: Yes = False,
    pin_stdin: PinStdin = False,
    db: Db = None,
) -> None:
    """Adopt a version of the rulebook from an instant on; shows first what it would change."""
    text = text_of(file)
    rulebook = rulebook_of(file)
    if not by or not why:
        remedy = "add --by WHO and --why TEXT"
        raise WrongUse(Problem("adopt", "who adopts it and why is kept with it", remedy))
    url = asking(ctx, db).db
    refuse_adopter(url, clock.now(), by)
    asked, found, known, already = preview(url, clock.now(), text, rulebook, start)
    # Until it begins to judge, a recurrence of it may be over.
    if mistakes := read(text, file.name, found.start).mistakes:
        raise WrongUse(*mistakes)
    if already is not None:
        show(adoption.already(already, known, asked.here), asked.banner)
        return
    show(adoption.preview(found, known, asked.here), asked.banner)
    confirm("Adopt it?", yes)
    moment = None if start is None else found.start

    def act(signature: Signature | None) -> Entry:
        return write_adoption(url, clock.now(), text, moment, by, why, signature)

    entry = signing(url, pin_stdin, act)
    tell(f"entry {entry.seq}: the rulebook {rulebook.title!r} is adopted")
    asked, known = rules_of(url, clock.now())
    _tell_of(known, asked.here)


def _tell_of(known: Course, here: Here) -> None:
    """Prints which rules are still to come, if any are."""
    if known.to_come:
        show(adoption.to_come(known, here))


def add_to(app: typer.Typer) -> None:
    """Adds `rules` with its commands."""
    app.add_typer(rules, name="rules")
