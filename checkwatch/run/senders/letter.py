"""What is handed over, and what is said where nobody took it."""

from __future__ import annotations

import re
from typing import NamedTuple

from checkwatch.core.instant import Instant
from checkwatch.views.words import harmless

#: What may stand in other programs' answers and is not for everybody's eyes. Any word with "://"
#: or "@" in it goes: rather too much than a password.
_PRIVATE = re.compile(r"\S*(?:://|@)\S*")


class Letter(NamedTuple):
    """One message for one recipient.

    `message_id` stands in angle brackets (RFC 5322, part 3.6.4) and is the same each time the
    message is handed over; `date` is when it was decided on; `recipient` is a code, no address.
    """

    message_id: str
    subject: str
    text: str
    html: str
    date: Instant
    recipient: str


class Undelivered(Exception):
    """Nobody took the letter. `reason` is one line that anybody may read; `lasting` tells that
    trying again as it is cannot help."""

    def __init__(self, reason: str, *, lasting: bool = False) -> None:
        super().__init__(reason)
        self.reason, self.lasting = reason, lasting


def one_line(text: str) -> str:
    """A text with a blank for each run of blanks, line ends and what cannot be printed."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def told(text: str, *secrets: str) -> str:
    """What another program said, without addresses, URLs and these secrets, on one short line."""
    for secret in filter(None, secrets):
        text = text.replace(secret, "…")
    return harmless(_PRIVATE.sub("…", one_line(text)), 160)
