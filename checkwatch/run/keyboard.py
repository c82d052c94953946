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


def _no_key() -> str:
    time.sleep(_TICK)
    return ""


def _key(keyboard: int) -> str:
    ready, _, _ = select.select([keyboard], [], [], _TICK)
    return os.read(keyboard, 1).decode("latin-1") if ready else ""


def _never_sleep(keyboard: int) -> None:
    """Ctrl-Z does nothing: a screen that sleeps would go on showing what is over."""
    settings = termios.tcgetattr(keyboard)
    settings[6][termios.VSUSP] = b"\0"
    termios.tcsetattr(keyboard, termios.TCSADRAIN, settings)
