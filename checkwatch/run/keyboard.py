"""Single keys of a terminal, waited for a moment at a time."""

from __future__ import annotations

import os
import select
import sys
import termios
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: No line is longer, in bytes.
_LONGEST = 1_000

#: The key that ends the input; a keyboard that is gone gives it as well.
_END = "\x04"

#: How long to wait for a key, in seconds.
_TICK = 0.2


@contextmanager
def keys() -> Iterator[Callable[[], str]]:
    """What waits a tick and gives the key that was pressed meanwhile, or nothing."""
    if not sys.stdin.isatty():
        yield _no_key
        return
    keyboard = sys.stdin.fileno()
    before = termios.tcgetattr(keyboard)
    try:
        tty.setcbreak(keyboard)
        _never_sleep(keyboard)
        yield lambda: _key(keyboard)
    finally:
        termios.tcsetattr(keyboard, termios.TCSADRAIN, before)


def rest_of_line(key: str, pressed: Callable[[], str], prompt: str) -> str:
    """The line that a key began, shown behind the prompt as it is typed, without blanks around it.

    Raises KeyboardInterrupt where the input ends instead.
    """
    text = b""
    print(prompt, end="", file=sys.stderr, flush=True)
    while key not in ("\r", "\n"):
        if key == _END:
            raise KeyboardInterrupt
        if key in ("\x7f", "\b"):
            _show(b"\b \b" if text else b"")
            text = _letters(text)[:-1].encode()
        elif key and len(text) < _LONGEST:
            text += key.encode("latin-1")
            _show(b"?" if key < " " else text[-1:])
        key = pressed()
    print(file=sys.stderr)
    return _letters(text).strip()


def _letters(typed: bytes) -> str:
    return typed.decode(errors="backslashreplace")


def _show(data: bytes) -> None:
    sys.stderr.buffer.write(data)
    sys.stderr.buffer.flush()


def _no_key() -> str:
    time.sleep(_TICK)
    return ""


def _key(keyboard: int) -> str:
    ready, _, _ = select.select([keyboard], [], [], _TICK)
    return os.read(keyboard, 1).decode("latin-1") or _END if ready else ""


def _never_sleep(keyboard: int) -> None:
    """Ctrl-Z does nothing: a screen that sleeps would go on showing what is over."""
    settings = termios.tcgetattr(keyboard)
    settings[6][termios.VSUSP] = b"\0"
    termios.tcsetattr(keyboard, termios.TCSADRAIN, settings)
