"""Asking a person line by line: on a terminal of any width, over ssh, or from a pipe.

Questions go to standard error, like all messages. The end of the input ends a question as Ctrl-C
does: nothing was answered.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from io import UnsupportedOperation

from checkwatch.views import report
from checkwatch.views.words import harmless

#: Lines are no wider than this, and the program does not break them for less than that.
_WIDEST, _NARROWEST = 80, 20

#: No line is longer; what stands behind that is read and thrown away.
_LONGEST = 1_000


class Ended(KeyboardInterrupt):
    """The input has ended: Ctrl-D, or a pipe that holds no more."""


def width() -> int:
    """The columns of the terminal at standard error, within reason."""
    columns = os.environ.get("COLUMNS", "")
    if columns.isdecimal():
        return _within(int(columns))
    try:
        return _within(os.get_terminal_size(sys.stderr.fileno()).columns)
    except (OSError, ValueError):
        return _WIDEST


def _within(columns: int) -> int:
    return min(max(columns, _NARROWEST), _WIDEST)


def on_terminal() -> bool:
    """Whether somebody at a terminal reads the questions and types the answers."""
    return somebody() and sys.stderr.isatty()


def somebody() -> bool:
    """Whether the answers come from a terminal; a program may be started without any input."""
    return sys.stdin is not None and sys.stdin.isatty()


def say(text: str = "", label: str = "") -> None:
    """A paragraph at the terminal's width; its lines stand behind the label. What is to be typed
    stands on lines of its own where the paragraph is longer than a line."""
    lines = report.message(text, width(), label, sys.stderr.isatty())
    print("\n".join(lines), file=sys.stderr)


def command(text: str) -> None:
    """What is to be typed: nothing that is copied is broken within a word."""
    columns = width() if sys.stderr.isatty() else sys.maxsize
    print("\n".join(report.command(text, columns)), file=sys.stderr)


def line(prompt: str, ahead: bool = False, shown: bool = True) -> str:
    """One line that somebody typed, without blanks around it.

    What was typed before the question stood there answers nothing, unless `ahead`: a scanner does
    not wait. What comes from a pipe stands behind the question where it may be `shown`. Raises
    KeyboardInterrupt, at the end of the input as Ended.
    """
    if not ahead:
        _forget_what_was_typed()
    print(prompt, end="", file=sys.stderr, flush=True)
    typed = _read()
    if not typed:
        print(file=sys.stderr)
        raise Ended
    if not on_terminal():
        print(harmless(typed.strip()) if shown else "", file=sys.stderr)
    return typed.strip()


def _read() -> str:
    """The next line, cut where it is too long; empty at the end of the input."""
    if sys.stdin is None:
        return ""
    with suppress(AttributeError, UnsupportedOperation):
        # A byte that is no letter is shown as one is written, and does not end the program.
        sys.stdin.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    typed = rest = sys.stdin.readline(_LONGEST)
    while rest and not rest.endswith("\n"):
        rest = sys.stdin.readline(_LONGEST)
    return typed


def _forget_what_was_typed() -> None:
    """Throws away what waits at a terminal: a key pressed twice must not answer a question that
    nobody has read."""
    if not on_terminal():
        return
    with suppress(ImportError, OSError, ValueError):
        import termios

        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)
