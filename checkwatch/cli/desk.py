"""A shared screen with a scanner, where one line after the other becomes entries."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from checkwatch import errors
from checkwatch.answers.desk.line import TooLate, take
from checkwatch.answers.desk.said import Contradiction
from checkwatch.answers.desk.slip import Asks, Slip, asks, under_way
from checkwatch.answers.steps.typed import Refused
from checkwatch.cli import ask
from checkwatch.cli.options import Db, asking
from checkwatch.cli.show import show
from checkwatch.cli.signing import signing
from checkwatch.core.entry import Entry, Happening
from checkwatch.core.instant import Instant
from checkwatch.core.wording import plural
from checkwatch.errors import CheckwatchError
from checkwatch.run import clock
from checkwatch.run.desk import LEFT, Desk
from checkwatch.run.fitting import elsewhere
from checkwatch.run.pin import NeedsPin
from checkwatch.store import committed
from checkwatch.views import desk as words
from checkwatch.views import fitted as fitted_words
from checkwatch.views.report import Report


def desk(
    ctx: typer.Context,
    typing_in: Annotated[
        bool, typer.Option("--typing-in", help="Type in cards: each has a time of its own.")
    ] = False,
    db: Db = None,
) -> None:
    """Write entries one after the other at a shared screen, with a scanner or by typing.

    A machine, what it is about, and who, a line each and in any order; an entry is written as soon
    as all is said. Ctrl-D ends. Exit code: 0; from a pipe 2 if a line was not taken.
    """
    session = _Session(Desk(asking(ctx, db).db, typing_in))
    committed.go_on()
    try:
        session.open()
        while True:
            session.one_line()
    except ask.Ended:
        session.end()
        if session.refused and not sys.stdin.isatty():
            raise typer.Exit(errors.WRONG_USE) from None
    except KeyboardInterrupt:
        ask.say()
        session.end()
        raise


class _Session:
    """What goes on at the desk: the slip that is filled in, and how many entries were written.

    The line of a pipe that follows a refused entry `may_be_pin`, and is never shown.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk, self.slip = desk, Slip()
        self.written, self.refused = 0, False
        self.known, self.asked = desk.look(self.slip, "")
        self.since = Instant(0)
        self.may_be_pin = False

    def open(self) -> None:
        if self.asked.banner:
            ask.say(self.asked.banner)
        for text in words.opening(self.asked.title, self.desk.typing_in):
            ask.say(text)

    def end(self) -> None:
        """What was written, and that what is half said is not."""
        left = "; what was half said is not" if self.slip != Slip() else ""
        ask.say(f"{plural(self.written, 'entry', 'entries')} written at this desk{left}.")
        self.refused |= self.slip != Slip()

    def one_line(self) -> None:
        """Asks, and does what the line says."""
        question = asks(self.slip, self.known)
        assert question is not None, "what is complete is written"
        self.since = clock.now()
        hidden, self.may_be_pin = self.may_be_pin, False
        prompt = words.prompt(question, self.slip, self.known, self.desk.day)
        text = ask.line(prompt, ahead=True, shown=not hidden)
        self._forget_what_was_left()
        try:
            self.known, self.asked = self.desk.look(self.slip, text)
            if text == "?":
                self._help()
            else:
                self._taken(take(self.slip, text, self.known))
        except TooLate as refused:
            self.slip = Slip()
            self._refuse(f"{refused}:")
            ask.command(f"checkwatch strike {refused.number} --reason WHY --by WHO")
        except Contradiction as refused:
            self._refuse(f"{refused}.")
            self.slip = Slip()
            self._taken(refused.slip)
        except (Refused, CheckwatchError) as refused:
            self._refused(refused, hidden)

    def _refused(self, refused: Refused | CheckwatchError, hidden: bool) -> None:
        """Says why a line was not taken; of one that may be a PIN nothing is repeated."""
        if hidden and not self.may_be_pin:
            self._refuse("The line behind that was not taken either, and is not shown.")
        elif isinstance(refused, CheckwatchError):
            # Where it is about something, that stands first as somebody typed it.
            for problem in refused.problems:
                self._refuse(f"{problem}", as_it_is=bool(problem.where))
        else:
            self._refuse(f"{refused}" if f"{refused}".endswith("?") else f"{refused}.")

    def _help(self) -> None:
        question = asks(self.slip, self.known) or Asks.WHO
        for text in words.helping(question, self.slip, self.known):
            ask.say(text)

    def _forget_what_was_left(self) -> None:
        """Whoever comes to a slip that somebody else left must not put their code to it."""
        if self.slip != Slip() and clock.now() - self.since > LEFT and not self.desk.typing_in:
            ask.say("Left for too long: what was half said is forgotten.")
            self.slip = Slip()

    def _refuse(self, line: str, as_it_is: bool = False) -> None:
        self.refused = True
        ask.say(line if as_it_is else f"{line[:1].upper()}{line[1:]}")

    def _taken(self, slip: Slip) -> None:
        """Goes on with a slip: it is asked for more, or written."""
        before, self.slip = self.slip, slip
        if slip == Slip() != before:
            ask.say("Begun anew; nothing of it was written.")
        question = asks(slip, self.known)
        same = ""
        if question is None and not slip.again and not slip.undo:
            # If that is refused, the next person says anew who they are.
            self.slip = slip._replace(by="", at=None)
            number, same = self.desk.same(slip)
            self.slip = slip._replace(same=number)
            question = asks(self.slip, self.known)
        if question is None:
            self._write()
        elif question is Asks.AGAIN:
            ask.say(words.again(same))
        elif (begun := under_way(slip, self.known)) and question is Asks.BEGUN:
            ask.say(words.this_test(begun, self.asked.here))
        elif question is Asks.OFFERED and before.offered != slip.offered:
            for line in words.offers(slip, self.known):
                ask.say(line)
        elif question is Asks.WHO:
            ask.say(f"{words.summary(slip, self.known, self.asked.here)}.")

    def _write(self) -> None:
        slip, url = self.slip, self.desk.url
        # Whatever comes of it, the next person says anew who they are.
        self.slip = slip._replace(by="", at=None, same=0, again=False)
        self.may_be_pin = not sys.stdin.isatty()
        try:
            wrote, looks = signing(url, False, lambda signature: self.desk.write(slip, signature))
        except NeedsPin as needed:
            (problem,) = needed.problems
            self._refuse(f"{problem.where}: {problem.what}; write it at a terminal", as_it_is=True)
            return
        self.may_be_pin = False
        said = words.summary(slip, self.known, self.asked.here)
        self.slip, self.written = Slip(), self.written + 1
        here = wrote.asked.here
        ((seen, entries),) = wrote.by_machine
        if slip.undo:
            _show(words.undone(seen, entries, wrote.places, here))
            return
        (entry,) = entries
        _show(words.echo(said, seen, entry, wrote.places, here))
        self._look(entry, looks)

    def _look(self, entry: Entry, looks: tuple[str, ...]) -> None:
        """What a person should look at of an item that was fitted."""
        for look in looks:
            ask.say(f"Look: {look}.")
        if isinstance(entry, Happening) and entry.serial:
            others, there = elsewhere(self.desk.url, entry, clock.now())
            if others:
                ask.say(f"Look: {fitted_words.also_on(others, there)}.")


def _show(report: Report) -> None:
    """Shows what came of an entry at once: behind a pipe, too, somebody waits for it."""
    show(report)
    sys.stdout.flush()


def add_to(app: typer.Typer) -> None:
    """Adds the commands."""
    app.command()(desk)
