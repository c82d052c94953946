"""Words of sentences that rules and views share: numbers with nouns, lists, codes, titles.

This file imports next to nothing, because the shortest question passes through it.
"""

import re
from collections.abc import Iterable

#: The reserved words that can void a check, as nouns.
NOUNS = {
    "moved": "a move",
    "returned": "a return to use",
    "fault": "a fault",
    "fault-closed": "the closing of a fault",
    "case-start": "the start of a case",
    "case-end": "the end of a case",
    "restored": "the book being put back from a backup",
}

#: Monday first; cut to three letters where there is little room.
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def plural(number: object, noun: str, several: str = "") -> str:
    """A number with its noun: "1 check", "2.5 minutes", "0 entries"."""
    return f"{number} {noun if number == 1 else several or noun + 's'}"


def listed(items: Iterable[str], last: str = "and") -> str:
    """A list in words: "a, b and c"."""
    *head, tail = [*items] or [""]
    return f"{', '.join(head)} {last} {tail}" if head else tail


def inside(title: str) -> str:
    """A title as it stands inside a sentence: its first letter small unless it heads an acronym
    or a formula."""
    rest = title.split(" ")[0][1:]
    ordinary = rest == rest.lower() and not any(letter.isdigit() for letter in rest)
    return title[:1].lower() + title[1:] if ordinary else title


def spoken(code: str) -> str:
    """A code as a noun: "absorbent change"; one like "power-on" keeps its hyphen."""
    return re.sub(r"-(?!(?:on|off|in|out|up|down)\b)", " ", code)
