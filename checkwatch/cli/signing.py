"""Asking for a PIN, which no screen shows, and writing with it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from getpass import getpass
from typing import Annotated, TypeVar

import typer

from checkwatch.cli.show import tell, tell_problems
from checkwatch.errors import Problem, WrongUse
from checkwatch.run import clock, pin
from checkwatch.run.pin import NeedsPin, Signature, WrongPin
from checkwatch.views.words import harmless

PinStdin = Annotated[
    bool,
    typer.Option("--pin-stdin", help="Read the PIN, where one is asked for, from standard input."),
]

Found = TypeVar("Found")

#: No PIN is so long; what is longer on a line of a pipe is no PIN.
_LONGEST = 1_000


def signing(url: str, from_stdin: bool, act: Callable[[Signature | None], Found]) -> Found:
    """Does what may need a PIN. Where it does, the writer is asked, and it is done again with what
    that came to: while somebody types, nobody else waits to write."""
    try:
        return act(None)
    except NeedsPin as needed:
        if not (from_stdin or sys.stdin.isatty()):
            raise
        if not pin.has_pin(url, needed.code):
            raise pin.no_pin(needed.code) from None
        tell(f'{harmless(needed.code, 60)} signs: "{harmless(needed.meaning, 1000)}"')
        return act(signed(url, needed.code))


def signed(url: str, code: str, prompt: str = "PIN: ") -> Signature:
    """The PIN of somebody. At a terminal a wrong one is asked for again until that costs a pause:
    whoever tries again must not type it in clear, at the question behind this one."""
    while True:
        typed = asked(prompt)
        try:
            return pin.sign(url, clock.now(), code, typed)
        except WrongPin as wrong:
            if not sys.stdin.isatty():
                raise
            tell_problems(wrong.problems)


def asked(prompt: str) -> str:
    """What somebody types at a terminal, unseen; else the next line of standard input.

    Raises KeyboardInterrupt at its end.
    """
    try:
        if sys.stdin.isatty():
            return getpass(prompt, sys.stderr)
        line = sys.stdin.readline(_LONGEST)
        if not line:
            raise WrongUse(Problem("PIN", "standard input has ended", "give the PIN on a line"))
        return line.rstrip("\r\n")
    except EOFError:
        raise KeyboardInterrupt from None
    except UnicodeDecodeError:
        remedy = "type letters and digits"
        raise WrongUse(Problem("PIN", "holds what is no letter", remedy)) from None
