"""How a mistake is told: what was written, printable and not too long, and what may be meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def cut(text: str, limit: int = 60) -> str:
    """Text for a message: on one line, printable, and not longer than `limit`."""
    short = text if len(text) <= limit else text[: limit - 1] + "…"
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in short)


def quoted(text: str) -> str:
    """Text as it stands between quotation marks in a message."""
    return f"'{cut(text)}'"


def nearest(word: str, known: Iterable[str], otherwise: str = "") -> str:
    """The remedy for a misspelt word: the known one that looks most like it."""
    close = get_close_matches(cut(word), list(known), n=1)
    return f'did you mean "{close[0]}"?' if close else otherwise
